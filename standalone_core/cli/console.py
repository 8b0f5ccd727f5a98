"""What the command line shows while it works: progress bars, errors, the way out on Ctrl-C."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, TypeVar

from rich.console import Console

from ..progress import Progress, Steps

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

T = TypeVar("T")

SHOW_AFTER_S = 1.0  # work that ends sooner shows no bar


class ProgressBar:
    """Drives steps and shows a bar on standard error once they take longer than a second.

    Parameters
    ----------
    console : rich.console.Console
        Where the bar goes; nothing is drawn where it is not a terminal.

    Attributes
    ----------
    latest : str
        What was done last, for a reader who stopped it.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self._started = time.monotonic()
        self._bar: Bar | None = None
        self._task: TaskID | None = None
        self.latest = ""

    def run(self, steps: Steps[T], prefix: str = "") -> T:
        """Drive ``steps`` to their end; on an interrupt close them first, so they tidy up."""
        self._started = time.monotonic()
        try:
            while True:
                try:
                    self._show(next(steps), prefix)
                except StopIteration as end:
                    result: T = end.value
                    return result
        finally:
            steps.close()
            self._close()

    def _show(self, progress: Progress, prefix: str) -> None:
        self.latest = progress.label
        if not self._console.is_terminal:
            return
        if self._bar is None:
            if time.monotonic() - self._started < SHOW_AFTER_S:
                return
            self._bar = _bar(self._console)
            self._bar.start()
        if self._task is None:
            self._task = self._bar.add_task(prefix, total=1.0)
        label = f"{prefix}: {progress.text}" if prefix else progress.text
        self._bar.update(self._task, completed=progress.fraction, description=label)

    def _close(self) -> None:
        if self._bar is not None:
            self._bar.stop()
            self._bar = None
            self._task = None


def _bar(console: Console) -> Bar:
    """Return a bar that vanishes when it is done; only who sees one loads what draws it."""
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    return Bar(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    )
