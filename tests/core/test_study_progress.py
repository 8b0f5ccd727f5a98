"""Progress of a study: how many of all, the time left, and a bar that never stands still."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from cuspwise.standalone_core.progress import Progress, Steps, run, scaled, time_words
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.measuring import all_scans, handing_out
from cuspwise.standalone_core.study.measuring.pace import PAIR, SCAN, Pace
from cuspwise.standalone_core.study.measuring.run import run_study_steps
from cuspwise.standalone_core.study.measuring.scan_job import ScanJob, measure_and_keep
from made.small_studies import write_small_study


class Clock:
    """Seconds that pass when they are told to."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), {"a": 3, "b": 1})


def test_the_time_left_is_told_after_the_first_few_jobs() -> None:
    """Ten scans of 30 s and 20 pairs: after the third, 7 scans and what 4 are worth are left."""
    clock = Clock()
    pace = Pace(10 * SCAN + 20 * PAIR, clock)
    for _ in range(2):
        clock.now += 30.0
        pace.ended(SCAN)
        assert pace.left_s() is None
    clock.now += 30.0
    pace.ended(SCAN)
    assert pace.left_s() == pytest.approx(30.0 * (7 + 20 * PAIR))
    clock.now += 10.0
    assert pace.waiting("x", SCAN).left_s == pytest.approx(30.0 * (7 + 20 * PAIR) - 10.0)
    clock.now += 1e6
    assert pace.left_s() == 0.0


def test_a_bar_creeps_on_while_a_job_runs_and_never_past_its_end() -> None:
    clock = Clock()
    pace = Pace(4 * SCAN, clock)
    shown = []
    for _ in range(4):
        for _ in range(120):
            shown.append(pace.waiting("x", SCAN).fraction)
            clock.now += 1.0
        pace.ended(SCAN)
    shown.append(pace.waiting("x", SCAN).fraction)
    assert all(a < b for a, b in itertools.pairwise(shown))
    assert shown[120] == 0.25
    assert shown[119] < 0.25
    assert shown[-1] == 1.0
    # Between ends it moves by a share of a scan that a reader sees within 20 s.
    assert min(b - a for a, b in zip(shown[:100:20], shown[20:100:20], strict=False)) > 0.25 / 500


def test_less_work_than_was_thought_never_moves_it_back() -> None:
    pace = Pace(2 * SCAN + 10 * PAIR, Clock())
    pace.ended(SCAN)
    before = pace.waiting("x", SCAN).fraction
    pace.only(PAIR)
    assert pace.waiting("x", PAIR).fraction > before
    pace.only(100 * PAIR)
    assert pace.total == SCAN + PAIR


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.0, "about 10 s"),
        (11.0, "about 20 s"),
        (50.0, "about 50 s"),
        (50.1, "about 1 min"),
        (60.1, "about 2 min"),
        (3540.0, "about 59 min"),
        (3541.0, "about 1 h 0 min"),
        (7500.0, "about 2 h 5 min"),
    ],
)
def test_times_in_words(seconds: float, words: str) -> None:
    assert time_words(seconds) == words


def test_the_time_left_goes_through_the_steps_around() -> None:
    def steps() -> Steps[int]:
        yield Progress("Scans", 0.5, left_s=95.0)
        return 3

    seen: list[Progress] = []
    assert run(scaled(steps(), 0.2, 0.4), seen.append) == 3
    assert [(p.fraction, p.text) for p in seen] == [(pytest.approx(0.3), "Scans; about 2 min left")]
    assert Progress("Scans", 0.5).text == "Scans"


def driven(steps: Steps[object]) -> Iterator[tuple[float, Progress]]:
    """Yield how long each step took, s, and its progress."""
    while True:
        begin = time.monotonic()
        try:
            progress = next(steps)
        except StopIteration:
            return
        yield time.monotonic() - begin, progress


def test_alone_it_tells_which_scan_of_how_many(study: Path, tmp_path: Path) -> None:
    seen = [progress for _, progress in driven(run_study_steps(read_plan(study), tmp_path))]
    labels = [progress.label for progress in seen]
    for number, name in enumerate(("a/0", "1", "2", "b/0"), start=1):
        own = [label for label in labels if label.startswith(f"Scan {number} of 4, {name}: ")]
        assert len(own) > 10  # fine steps
    for pairs in ("Pairs 1 to 2 of 3: ", "Pair 3 of 3: "):
        assert any(label.startswith(pairs) for label in labels)
    assert all(a.fraction <= b.fraction for a, b in itertools.pairwise(seen))
    told = [progress.label for progress in seen if progress.left_s is not None]
    assert told
    assert told[0].startswith("Scan 4 of 4, b/0: ")


def slowly(job: ScanJob) -> None:
    time.sleep(2.0)
    measure_and_keep(job)


@pytest.mark.slow
def test_with_workers_a_long_scan_moves_the_bar_all_the_same(
    study: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A scan that takes 2 s and more, with a sign of life several times a second."""
    monkeypatch.setattr(all_scans, "measure_and_keep", slowly)
    monkeypatch.setattr(handing_out, "EVERY_S", 0.3)
    with ThreadPoolExecutor(1) as executor:
        steps = run_study_steps(read_plan(study), tmp_path, executor=executor)
        seen = list(driven(steps))
    scans = [(took, progress) for took, progress in seen if progress.label.startswith("Scans: ")]
    assert next(p.label for _, p in scans) == "Scans: 0 of 4 measured"
    assert [p.label for _, p in scans][-1] == "Scans: 4 of 4 measured"
    waiting = [progress for _, progress in scans if progress.label == "Scans: 1 of 4 measured"]
    assert len(waiting) >= 5
    for before, after in itertools.pairwise(scans):
        assert after[1].fraction > before[1].fraction
        assert after[0] < 2.5
    assert scans[-1][1].left_s is not None
