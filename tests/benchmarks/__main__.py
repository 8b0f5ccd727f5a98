"""All benchmarks: ``python tests/benchmarks [--short] [--only NAME]`` prints their tables."""

from __future__ import annotations

import argparse
import importlib
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the oracle
sys.path.insert(0, str(Path(__file__).resolve().parent))
import peers
import ratios  # sets the thread counts before numpy loads

BENCHMARKS = ("closest", "superimpose", "check", "study", "fit")
LONG = ("cases", "stress")
"""Look for false alarms and for crashes, not at times; not in the short form."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="few rounds, small data")
    parser.add_argument("--only", choices=(*BENCHMARKS, *LONG), help="one benchmark")
    given = parser.parse_args()
    if given.only in LONG:
        return long_form(given.only)
    peers.check()
    count = 0
    for name in [given.only] if given.only else BENCHMARKS:
        print(f"\n== {name}", flush=True)
        rows = importlib.import_module(f"bench_{name}").run(given.short)
        print(ratios.table(rows), flush=True)
        count += len(rows)
    print(f"\n{count} rows measured; of ratios, above 1 we are faster. No limit is enforced here.")
    failed = 0 if given.only or given.short else max(long_form(name) for name in LONG)
    return failed if count else 1


def long_form(name: str) -> int:
    """Run many cases or the stress test; 0 if all went well."""
    print(f"\n== {name}", flush=True)
    if name == "cases":
        return int(importlib.import_module("long_cases").run())
    return int(set(importlib.import_module("stress_tree").run()) != {0})


if __name__ == "__main__":
    sys.exit(main())
