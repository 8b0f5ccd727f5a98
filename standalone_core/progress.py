"""Long work as a generator of steps, so that every caller can show, pace and stop it.

A long function ``work_steps(...)`` yields :class:`Progress` and returns its result; ``run``
drives it to the end. The command line, the add-on and the tests drive the same generator.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from concurrent.futures import CancelledError, ThreadPoolExecutor, wait
from dataclasses import dataclass, replace
from threading import Event
from typing import TypeAlias, TypeVar

T = TypeVar("T")
S = TypeVar("S")

_PATIENCE_S = 0.05  # between two looks at work in a thread: whoever drives the steps stays awake


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


def beside(here: Steps[T], there: Steps[S]) -> Steps[tuple[T, S]]:
    """Do two pieces of work at once: ``here`` step by step, ``there`` in a thread of its own.

    Told is what ``here`` is at, then what ``there`` is at, and how far the one behind has come.
    An error of ``here`` comes first, whichever happened first; one of ``there`` once ``here`` is
    done. Whoever stops in between waits for the step that ``there`` is in.
    """
    stopped = Event()
    told = Progress("", 0.0)

    def to_its_end() -> S:
        nonlocal told
        while True:
            try:
                told = next(there)
            except StopIteration as end:
                told = replace(told, fraction=1.0)
                result: S = end.value
                return result
            if stopped.is_set():
                there.close()
                raise CancelledError

    def behind(progress: Progress) -> Progress:
        return replace(progress, fraction=min(progress.fraction, told.fraction))

    with ThreadPoolExecutor(1) as pool:
        other = pool.submit(to_its_end)
        try:
            first = yield from _mapped(here, behind)
            while not wait((other,), _PATIENCE_S).done:
                yield told
        finally:
            stopped.set()
    return first, other.result()


def scaled(steps: Steps[T], start: float, stop: float) -> Steps[T]:
    """Map the fractions of a part onto ``start`` … ``stop`` of the whole; pass its result on.

    Use as ``result = yield from scaled(part_steps(...), 0.2, 0.6)``.
    """
    share = stop - start
    return _mapped(steps, lambda told: replace(told, fraction=start + share * told.fraction))


def labelled(steps: Steps[T], what: str) -> Steps[T]:
    """Say of each step of a part what it is a part of; pass its result on."""
    return _mapped(steps, lambda told: replace(told, label=f"{what}: {told.label}"))


def _mapped(steps: Steps[T], change: Callable[[Progress], Progress]) -> Steps[T]:
    """Change what is told of each step; pass the result on."""
    while True:
        try:
            progress = next(steps)
        except StopIteration as end:
            result: T = end.value
            return result
        yield change(progress)


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
