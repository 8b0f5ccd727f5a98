"""What the statistics promise, simulated: ``python tests/benchmarks/bench_statistics.py``.

Ten thousand runs of every comparison on data without a difference, of every family of claims that
a study's page makes, and of every interval on data with a known truth. False alarms must lie within
the binomial interval of what is stated, coverage within one per cent of 95 % (above it, for
discrete methods). Exits with 1 if one does not.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "core"))

from made.claim_simulations import CLAIMS
from made.statistics_simulations import COVERAGE, FALSE_ALARMS, Trial

WITHIN = 0.01  # of coverage


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20)
    parser.add_argument("--only", default="", help="trials whose name holds this")
    given = parser.parse_args()
    failed = 0
    all_trials = (("False alarms", FALSE_ALARMS), ("False claims", CLAIMS), ("Coverage", COVERAGE))
    for title, trials in all_trials:
        print(f"\n{title:<52} {'runs':>6} {'stated':>9} {'found':>8} {'CPU s':>6}")
        for trial in trials:
            if given.only in trial.name:
                failed += not show(trial, given.runs, given.seed)
    print(f"\n{failed} promises not kept." if failed else "\nAll promises kept.")
    return int(failed > 0)


def show(trial: Trial, runs: int, seed: int) -> bool:
    """Run one trial, print its line, return whether the promise was kept."""
    start = time.process_time()
    happened, runs = trial.count(runs, seed)
    found = happened / runs
    kept = trial.kept(happened, runs)
    if trial.nominal > 0.5:  # coverage: a stated tolerance instead of what chance allows
        kept = kept or abs(found - trial.nominal) <= WITHIN
    sign = {"equal": " ", "at most": "≤", "at least": "≥"}[trial.bound]
    stated = f"{sign} {100 * trial.nominal:.1f} %"
    mark = "" if kept else "  NOT KEPT"
    seconds = time.process_time() - start
    print(
        f"{trial.name:<52} {runs:>6} {stated:>9} {100 * found:>6.2f} % {seconds:>6.1f}{mark}",
        flush=True,
    )
    return kept


if __name__ == "__main__":
    sys.exit(main())
