"""Long work in steps: two pieces of it at once, their results, errors and ends."""

from __future__ import annotations

import time
from threading import Event

import pytest
from cuspwise.standalone_core.progress import Progress, Steps, beside, run


def counting_steps(name: str, count: int, told: list[str], wait_s: float = 0.0) -> Steps[str]:
    try:
        for number in range(count):
            yield Progress(name, number / count)
            time.sleep(wait_s)
            told.append(f"{name} {number}")
    except GeneratorExit:
        told.append(f"{name} closed")
        raise
    return name


def failing_steps(name: str) -> Steps[str]:
    yield Progress(name, 0.0)
    raise ValueError(name)


def test_two_things_at_once_both_come_to_their_end() -> None:
    told: list[str] = []
    reports: list[Progress] = []
    both = beside(counting_steps("here", 3, told), counting_steps("there", 50, told))
    assert run(both, reports.append) == ("here", "there")
    assert [progress.label for progress in reports[:3]] == ["here"] * 3
    assert {progress.label for progress in reports[3:]} <= {"there"}
    assert [text for text in told if text.startswith("here")] == ["here 0", "here 1", "here 2"]
    assert len(told) == 53


def test_the_one_behind_says_how_far_both_are() -> None:
    """The other side is at 0 when this one is at its end, and then tells of itself."""
    gate = Event()

    def waiting_steps() -> Steps[None]:
        for number in range(3):
            yield Progress("there", number / 4)
            assert gate.wait(20.0)
            time.sleep(0.12)

    reports: list[Progress] = []
    steps = beside(counting_steps("here", 3, []), waiting_steps())
    for progress in steps:
        reports.append(progress)
        if progress.label == "there":
            gate.set()
    fractions = [progress.fraction for progress in reports]
    assert fractions[:3] == [0.0, 0.0, 0.0]
    assert fractions == sorted(fractions)
    assert [progress.label for progress in reports[3:]] == ["there"] * (len(reports) - 3)
    assert fractions[-1] == 0.5


def test_an_error_beside_comes_out_once_this_side_is_done() -> None:
    told: list[str] = []
    with pytest.raises(ValueError, match="there"):
        run(beside(counting_steps("here", 3, told, 0.01), failing_steps("there")))
    assert told == ["here 0", "here 1", "here 2"]


def test_of_two_errors_the_one_of_this_side_comes_first() -> None:
    with pytest.raises(ValueError, match="here"):
        run(beside(failing_steps("here"), failing_steps("there")))


@pytest.mark.parametrize("how", ["closed", "failed"])
def test_whoever_stops_ends_the_other_side_at_its_next_step(how: str) -> None:
    told: list[str] = []
    here = counting_steps("here", 3, []) if how == "closed" else failing_steps("here")
    steps = beside(here, counting_steps("there", 10_000, told, 0.001))
    next(steps)
    if how == "closed":
        steps.close()
    else:
        with pytest.raises(ValueError, match="here"):
            next(steps)
    assert told[-1] == "there closed"
    assert len(told) < 10_000
