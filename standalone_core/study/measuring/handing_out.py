"""Jobs handed to an executor, and taken back one by one as they end."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    wait,
)
from typing import Any, TypeVar

from ...errors import CuspwiseError, StudyError

J = TypeVar("J")

EVERY_S = 1.0
"""A caller that waits for a job hears so much later that it still runs, s."""


def handed_out(
    executor: Executor, work: Callable[[J], object], jobs: Sequence[J]
) -> Iterator[tuple[J, CuspwiseError | None] | None]:
    """Have jobs done; those not begun yet are called off if the caller stops.

    Yields
    ------
    (job, CuspwiseError or None) or None
        Each job as it ends, with what went wrong with it; None whenever :data:`EVERY_S` have
        passed without one.

    Raises
    ------
    StudyError
        A worker died.
    """
    running = {_given(executor, work, job): job for job in jobs}
    try:
        while running:
            ended, _ = wait(running, timeout=EVERY_S, return_when=FIRST_COMPLETED)
            for future in ended:
                yield running.pop(future), _problem(future)
            if not ended:
                yield None
    finally:
        for future in running:
            future.cancel()


def _given(executor: Executor, work: Callable[[J], object], job: J) -> Future[Any]:
    """Hand a job to an executor; one that has lost a worker takes none."""
    try:
        return executor.submit(work, job)
    except BrokenExecutor as problem:
        raise _worker_died() from problem


def _problem(future: Future[Any]) -> CuspwiseError | None:
    """Return what went wrong with a job; a dead worker in words."""
    try:
        future.result()
    except CuspwiseError as problem:
        return problem
    except (BrokenExecutor, CancelledError) as problem:
        raise _worker_died() from problem
    return None


def _worker_died() -> StudyError:
    return StudyError(
        "A worker process ended before its work was done.",
        subject="study",
        remedy="Run the study again: it goes on where it stopped. If it happens again, there "
        "may be too little memory for so many workers.",
    )
