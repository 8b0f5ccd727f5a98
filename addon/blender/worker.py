"""Steps of the core in a thread of their own, so that the window goes on meanwhile.

Blender's data belongs to the main thread: steps that are handed over have all they need in
arrays and plain data, and touch nothing of Blender's.
"""

from __future__ import annotations

import threading
from typing import Generic, TypeVar

from ...standalone_core.progress import Progress, Steps

T = TypeVar("T")
# Work that was given up goes on until its present step ends; what follows waits for that, so
# that two jobs never share memory and processor.
_ONE_AT_A_TIME = threading.Lock()


class AbandonedError(Exception):
    """The work was given up before its end."""


class Worker(Generic[T]):
    """Steps that run to their end, or until they are given up, in a thread.

    The thread ends by itself when Blender does, after the step that it is in.

    Parameters
    ----------
    steps : generator of Progress
        The work; from now on nobody else takes its steps.

    Attributes
    ----------
    progress : Progress
        Where the work stands.
    """

    def __init__(self, steps: Steps[T]) -> None:
        self.progress = Progress("Waiting for the work before", 0.0)
        self._steps = steps
        self._given_up = threading.Event()
        self._error: BaseException | None = None
        self._result: T
        self._thread = threading.Thread(target=self._work, name="Cuspwise work", daemon=False)
        self._thread.start()

    @property
    def ended(self) -> bool:
        """Whether the thread has ended, by itself or because it was given up."""
        return not self._thread.is_alive()

    def abandon(self) -> None:
        """Give the work up: no step is taken after the present one."""
        self._given_up.set()

    def wait(self, timeout_s: float | None = None) -> None:
        """Wait until the thread has ended, or for a while."""
        self._thread.join(timeout_s)

    def result(self) -> T:
        """Return what the steps returned, once the thread has ended; raise what they raised.

        Raises
        ------
        AbandonedError
            It was given up before its end.
        """
        if self._error is not None:
            raise self._error
        return self._result

    def _work(self) -> None:
        with _ONE_AT_A_TIME:
            try:
                self._result = self._take_steps()
            except BaseException as error:  # handed on to whoever asks for the result
                self._error = error

    def _take_steps(self) -> T:
        main = threading.main_thread()
        try:
            while main.is_alive() and not self._given_up.is_set():
                try:
                    self.progress = next(self._steps)
                except StopIteration as end:
                    result: T = end.value
                    return result
            raise AbandonedError
        finally:
            self._steps.close()
