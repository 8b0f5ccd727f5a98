"""How far the measuring of a study has come, and how long the rest of it will take."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import TypeVar

from ...progress import Progress, Steps

T = TypeVar("T")

SCAN, PAIR, CAUSES, FIT = 1.0, 0.2, 0.3, 5.0
"""Work of a scan, of a pair, of a crown's causes and of its fit: their usual cost, in scans."""

_FEW = 3
"""Jobs that have to end before the time that is left is shown."""
_FIRST_S = 20.0
"""How long a job may take, before one has ended; ours, for the bar alone."""
_MOST = 0.9
"""Of a job that still runs no more than this is taken for done."""


class Pace:
    """Counts the work that is done; tells how far it has come and what is left.

    Parameters
    ----------
    total : float
        All work, in scans.
    clock : callable
        Seconds from any moment on.
    """

    def __init__(self, total: float, clock: Callable[[], float] = time.monotonic) -> None:
        self.total = total
        self._clock = clock
        self._began = self._latest = clock()
        self._done, self._ended = 0.0, 0

    def ended(self, work: float) -> None:
        """Count a job that has ended."""
        self._done += work
        self._ended += 1
        self._latest = self._clock()

    def only(self, rest: float) -> None:
        """Set how much work is left, where it turns out to be less than was thought."""
        self.total = min(self.total, self._done + rest)

    def waiting(self, label: str, work: float) -> Progress:
        """Return where things stand while jobs of so much work run elsewhere.

        The bar creeps on by the time that a job takes, never past the next one's end.
        """
        usual_s = (self._latest - self._began) / self._ended if self._ended else _FIRST_S
        since_s = self._clock() - self._latest
        share = _MOST * (1.0 - math.exp(-since_s / max(usual_s, 1e-9)))
        return self._progress(label, share * work)

    def inside_steps(self, steps: Steps[T], label: str, work: float) -> Steps[T]:
        """Pass on the steps of a job of so much work; count it, however it ends."""
        try:
            while True:
                try:
                    progress = next(steps)
                except StopIteration as end:
                    result: T = end.value
                    return result
                within = min(_MOST, progress.fraction) * work
                yield self._progress(f"{label}: {progress.label}", within)
        finally:
            self.ended(work)

    def left_s(self) -> float | None:
        """Return how long the rest will take, s; None before the first few jobs have ended."""
        if self._ended < _FEW or self._done <= 0:
            return None
        rest_s = (self._latest - self._began) * (self.total - self._done) / self._done
        return max(0.0, rest_s - (self._clock() - self._latest))

    def _progress(self, label: str, within: float) -> Progress:
        share = (self._done + within) / self.total if self.total > 0 else 1.0
        return Progress(label, min(1.0, share), self.left_s())
