"""Long work as a generator of steps, so that every caller can show, pace and stop it.

A long function ``work_steps(...)`` yields :class:`Progress` and returns its result; ``run``
drives it to the end. The command line, the add-on and the tests drive the same generator.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

T = TypeVar("T")


@dataclass(frozen=True)
class Progress:
    """Where a piece of long work stands.

    Attributes
    ----------
    label : str
        What is being done now, in words for the user ("Superimposing").
    fraction : float
        Share done, from 0 to 1; never decreasing within one piece of work.
    """

    label: str
    fraction: float


Steps: TypeAlias = Generator[Progress, None, T]


def run(steps: Steps[T], report: Callable[[Progress], object] | None = None) -> T:
    """Drive steps to their end and return their result.

    Parameters
    ----------
    steps : generator of Progress
        The work.
    report : callable, optional
        Called with every :class:`Progress`.
    """
    while True:
        try:
            progress = next(steps)
        except StopIteration as end:
            result: T = end.value
            return result
        if report is not None:
            report(progress)


def scaled(steps: Steps[T], start: float, stop: float) -> Steps[T]:
    """Map the fractions of a part onto ``start`` … ``stop`` of the whole; pass its result on.

    Use as ``result = yield from scaled(part_steps(...), 0.2, 0.6)``.
    """
    while True:
        try:
            progress = next(steps)
        except StopIteration as end:
            result: T = end.value
            return result
        yield Progress(progress.label, start + (stop - start) * progress.fraction)
