"""All benchmarks: ``python tests/benchmarks [--short] [--only NAME] [--rows NAME…] [--write]``.

Every row is measured in a process of its own, whose peak memory is told with it.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import asdict, replace
from math import isnan
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))  # the oracle
sys.path.insert(0, str(Path(__file__).resolve().parent))
import peers
import ratios  # sets the thread counts before numpy loads
import speed_page

BENCHMARKS = ("closest", "superimpose", "check", "study", "fit", "parts")
LONG = ("cases", "stress")
"""Look for false alarms and for crashes, not at times; not in the short form."""

Bench = Callable[[bool], list[ratios.Row]]


def main() -> int:
    given = arguments()
    if given.only in LONG:
        return long_form(given.only)
    if given.alone:
        return alone(given.alone, given.short, given.into)
    peers.check()
    rows: list[ratios.Row] = []
    for name in chosen(given):
        print(f"\n== {name}", flush=True)
        found = in_own_process(name, given.short)
        print(ratios.table(found), flush=True)
        rows += found
    print(
        f"\n{len(rows)} rows measured; of ratios, above 1 we are faster. No limit is enforced here."
    )
    if given.write:
        speed_page.write(rows)
    whole = not (given.only or given.short or given.rows)
    failed = max(long_form(name) for name in LONG) if whole else 0
    return failed if rows else 1


def arguments() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="few rows and rounds, small data")
    parser.add_argument("--only", choices=(*BENCHMARKS, *LONG), help="one benchmark, all its rows")
    parser.add_argument("--rows", nargs="+", metavar="NAME", help="these rows, such as check_2M")
    parser.add_argument("--write", action="store_true", help="write docs/speed.md")
    parser.add_argument("--alone", help=argparse.SUPPRESS)
    parser.add_argument("--into", type=Path, help=argparse.SUPPRESS)
    return parser.parse_args()


def chosen(given: argparse.Namespace) -> list[str]:
    """Names of the rows that were asked for."""
    modules = [importlib.import_module(f"bench_{name}") for name in BENCHMARKS]
    known = [name for module in modules for name in module.ROWS]
    if given.rows:
        if unknown := set(given.rows) - set(known):
            raise SystemExit(f"There are no rows {sorted(unknown)}; there are {', '.join(known)}.")
        return list(given.rows)
    if given.only:
        modules = [importlib.import_module(f"bench_{given.only}")]
    return [name for module in modules for name in (module.SHORT if given.short else module.ROWS)]


def in_own_process(name: str, short: bool) -> list[ratios.Row]:
    """Measure a row in a new process; rows that do not know their memory get that process's."""
    with tempfile.TemporaryDirectory() as folder:
        into = Path(folder) / "rows.json"
        command = [sys.executable, str(Path(__file__).parent), "--alone", name, "--into", str(into)]
        process = subprocess.Popen([*command, *(["--short"] if short else [])])
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            raise SystemExit(f"{name} ended with exit code {process.returncode}")
        rows = [ratios.Row(**row) for row in json.loads(into.read_text("utf-8"))]
    peak_mb = usage.ru_maxrss / 1024
    unknown = [isnan(row.memory_mb) and not isnan(row.ours_s) for row in rows]
    return [
        replace(row, memory_mb=peak_mb) if lacks else row
        for row, lacks in zip(rows, unknown, strict=True)
    ]


def alone(name: str, short: bool, into: Path) -> int:
    """Measure a row in this process and write what was found."""
    for module in BENCHMARKS:
        rows: dict[str, Bench] = importlib.import_module(f"bench_{module}").ROWS
        if name in rows:
            into.write_text(json.dumps([asdict(row) for row in rows[name](short)]), "utf-8")
            return 0
    return 1


def long_form(name: str) -> int:
    """Run many cases or the stress test; 0 if all went well."""
    print(f"\n== {name}", flush=True)
    if name == "cases":
        return int(importlib.import_module("long_cases").run())
    return int(set(importlib.import_module("stress_tree").run()) != {0})


if __name__ == "__main__":
    sys.exit(main())
