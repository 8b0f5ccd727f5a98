"""Long work as a generator of steps, so that every caller can show, pace and stop it.

A long function ``work_steps(...)`` yields :class:`Progress` and returns its result; ``run``
drives it to the end. The command line, the add-on and the tests drive the same generator.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
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
    left_s : float or None
        How long the rest will take, s, as far as that is known.
    """

    label: str
    fraction: float
    left_s: float | None = None

    @property
    def text(self) -> str:
        """What is being done, and how long it will still take."""
        if self.left_s is None:
            return self.label
        return f"{self.label}; {time_words(self.left_s)} left"


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
        yield replace(progress, fraction=start + (stop - start) * progress.fraction)


def labelled(steps: Steps[T], what: str) -> Steps[T]:
    """Say of each step of a part what it is a part of; pass its result on."""
    while True:
        try:
            progress = next(steps)
        except StopIteration as end:
            result: T = end.value
            return result
        yield replace(progress, label=f"{what}: {progress.label}")


def time_words(seconds: float) -> str:
    """Return a time that is only known roughly in words, rounded up.

    Examples
    --------
    >>> time_words(95.0)
    'about 2 min'
    """
    if seconds <= 50:
        return f"about {10 * max(1, math.ceil(seconds / 10))} s"
    minutes = math.ceil(seconds / 60)
    if minutes < 60:
        return f"about {minutes} min"
    return f"about {minutes // 60} h {minutes % 60} min"
