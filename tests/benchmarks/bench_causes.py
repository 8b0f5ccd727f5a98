"""What is said of crowns with known causes: ``python tests/benchmarks/bench_causes.py``.

A line per kind of crowns: false families, how often each cause was found and named, its mean size
and standard deviation over crowns, half the width of the interval, on how many crowns it covers
the truth and is close to it. Hours in full; ``--crowns`` and ``--only`` make it shorter.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "core"))

from made.caused_kinds import KINDS
from made.caused_trials import counted_shares, tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--crowns", type=int, default=50)
    parser.add_argument("--first", type=int, default=0, help="seed of the first crown")
    parser.add_argument("--only", default="", help="kinds whose name holds this")
    given = parser.parse_args()
    for name, kind in KINDS.items():
        if given.only in name:
            start = time.process_time()
            seeds = range(given.first, given.first + given.crowns)
            told = counted_shares(tally(kind, seeds))
            spent = (time.process_time() - start) / given.crowns
            print(f"{name:<34} {told}; {spent:.2f} s of CPU a crown", flush=True)


if __name__ == "__main__":
    main()
