"""How long each stage of long work takes, without what its caller does between steps."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TypeVar

from .progress import Steps, scaled

T = TypeVar("T")


class Stopwatch:
    """Adds up seconds per named stage."""

    def __init__(self) -> None:
        self._seconds: dict[str, float] = {}

    @property
    def seconds(self) -> dict[str, float]:
        """Seconds per stage in the order they began, and their sum as ``total``."""
        return {**self._seconds, "total": sum(self._seconds.values())}

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time what happens inside the ``with`` block."""
        start = time.perf_counter()
        try:
            yield
        finally:
            spent = time.perf_counter() - start
            self._seconds[name] = self._seconds.get(name, 0.0) + spent

    def timed(self, name: str, steps: Steps[T], start: float, stop: float) -> Steps[T]:
        """Pass steps on, scaled to ``start`` … ``stop``, timing only the work between them."""
        steps = scaled(steps, start, stop)
        while True:
            try:
                with self.stage(name):
                    progress = next(steps)
            except StopIteration as end:
                result: T = end.value
                return result
            yield progress
