"""Parts of a job of which one that cannot be done does not end the others."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

from ..errors import CuspwiseError
from ..progress import Progress, Steps
from ..stopwatch import Stopwatch

T = TypeVar("T")
P = ParamSpec("P")


class Attempts:
    """Runs parts of a job, takes their times, and keeps why some could not be done.

    Attributes
    ----------
    missing : dict of str to str
        By part, the reason and the remedy.
    """

    def __init__(self) -> None:
        self.missing: dict[str, str] = {}
        self._watch = Stopwatch()

    @property
    def seconds(self) -> dict[str, float]:
        """Time per part, and the total."""
        return self._watch.seconds

    def needed(self, name: str, steps: Steps[T], start: float, stop: float) -> Steps[T]:
        """Run a part without which there is nothing; its error goes on."""
        return (yield from self._watch.timed(name, steps, start, stop))

    def of(self, name: str, steps: Steps[T], start: float, stop: float) -> Steps[T | None]:
        """Run one part; None if it cannot be done."""
        try:
            return (yield from self._watch.timed(name, steps, start, stop))
        except CuspwiseError as problem:
            self.missing[name] = str(problem)
            return None


def at_once(work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Steps[T]:
    """Make one step of work that has none."""
    yield Progress("Measuring", 0.0)
    return work(*args, **kwargs)
