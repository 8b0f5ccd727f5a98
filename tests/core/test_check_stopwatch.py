"""Seconds per stage count work, not waiting."""

from __future__ import annotations

import time

import pytest
from cuspwise.standalone_core.progress import Progress, Steps, run
from cuspwise.standalone_core.stopwatch import Stopwatch


def _work(value: int) -> Steps[int]:
    yield Progress("Working", 0.0)
    yield Progress("Working", 1.0)
    return value


def test_stages_add_up() -> None:
    watch = Stopwatch()
    for _ in range(2):
        with watch.stage("sleep"):
            time.sleep(0.01)
    with watch.stage("other"):
        pass
    assert list(watch.seconds) == ["sleep", "other", "total"]
    assert watch.seconds["sleep"] >= 0.02
    assert watch.seconds["total"] == pytest.approx(watch.seconds["sleep"] + watch.seconds["other"])


def test_steps_are_passed_on_scaled_and_without_the_callers_time() -> None:
    watch, seen = Stopwatch(), []

    def slow_caller(progress: Progress) -> None:
        seen.append(progress.fraction)
        time.sleep(0.3)

    assert run(watch.timed("work", _work(7), 0.2, 0.6), slow_caller) == 7
    assert seen == pytest.approx([0.2, 0.6])
    assert watch.seconds["work"] < 0.3


def test_a_stage_that_fails_is_timed_and_its_error_passed_on() -> None:
    watch = Stopwatch()
    with pytest.raises(ValueError, match="broken"), watch.stage("work"):
        raise ValueError("broken")
    assert "work" in watch.seconds
