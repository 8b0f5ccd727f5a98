"""A job of many rounds: one thing after the other is read, worked at and written.

Only one of them is in memory at a time. What is written stays when the job ends before the last
one: whoever waits for six crowns and presses Esc at the fifth wants to keep four.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import bpy

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Steps, scaled
from ...standalone_core.study.measuring.pace import Pace
from .job import READ, WORKED, JobOperator

if TYPE_CHECKING:
    from .session import Answer


class RoundsOperator(JobOperator):
    """Base of operators that do the same to many things; reads, works and writes once before.

    A subclass gives ``read``, ``start`` and ``finish`` for what all rounds share, and the rest
    below for the rounds. A round that fails is noted and does not stop the others.

    Attributes
    ----------
    before : float
        Share of the bar for what comes before the rounds.
    done, failed : int
        Rounds so far; unlike ``count``, which is all of them.
    changed : bool
        Whether anything was written.
    """

    before = 0.1
    done = failed = count = 0
    changed = False

    def rounds(self, context: bpy.types.Context) -> Steps[Sequence[Any]]:
        """Return what there is to do, one thing a round; its text is its name."""
        raise NotImplementedError

    def read_round(self, context: bpy.types.Context, one: Any) -> Steps[None]:
        """Read what a round needs."""
        del context, one
        yield from ()

    def start_round(self, context: bpy.types.Context, one: Any) -> Steps[Any]:
        """Return the steps of a round's work; they must not touch Blender's data."""
        raise NotImplementedError

    def finish_round(self, context: bpy.types.Context, one: Any, result: Any) -> Steps[None]:
        """Write what a round found."""
        raise NotImplementedError

    def fail_round(self, context: bpy.types.Context, one: Any, error: CuspwiseError) -> None:
        """Note why a round failed."""
        raise NotImplementedError

    def told(self, context: bpy.types.Context, said: str) -> str:
        """Return what is told at the end, after what ``finish`` said."""
        raise NotImplementedError

    def job_steps(self, context: bpy.types.Context) -> Steps[str]:
        """Do what all rounds share, then round after round."""
        self.done = self.failed = self.count = 0
        self.changed = False
        said = yield from scaled(super().job_steps(context), 0.0, self.before)
        todo = yield from scaled(self.rounds(context), self.before, self.before)
        self.count = len(todo)
        yield from scaled(self._rounds_steps(context, todo), self.before, 1.0)
        return self.told(context, said)

    def _rounds_steps(self, context: bpy.types.Context, todo: Sequence[Any]) -> Steps[None]:
        pace = Pace(len(todo))
        for number, one in enumerate(todo, 1):
            if self._ending:
                return
            label = f"{one}, {number} of {len(todo)}"
            try:
                yield from pace.inside_steps(self._round_steps(context, one), label, 1.0)
                self.done += 1
            except CuspwiseError as error:
                self._note(context, one, error)
            except (MemoryError, ReferenceError) as error:
                self._note(context, one, self.in_words(error))

    def _round_steps(self, context: bpy.types.Context, one: Any) -> Steps[None]:
        yield from scaled(self.read_round(context, one), 0.0, READ)
        work = self.aside(self.start_round(context, one))
        result = yield from scaled(work, READ, WORKED)
        self.changed = True
        yield from scaled(self.written(self._finish(context, one, result)), WORKED, 1.0)

    def _finish(self, context: bpy.types.Context, one: Any, result: Any) -> Steps[str]:
        yield from self.finish_round(context, one, result)
        return ""

    def _note(self, context: bpy.types.Context, one: Any, error: CuspwiseError) -> None:
        self.failed += 1
        self.changed = True
        self.fail_round(context, one, error)

    def _escape(self, context: bpy.types.Context) -> Answer:
        if self._writing:
            self._ending = True  # once it is written
            return {"RUNNING_MODAL"}
        return super()._escape(context)

    def _cancelled(self, context: bpy.types.Context) -> Answer:
        """End; what was written stays, and is one step for Undo."""
        if not self.changed:
            return super()._cancelled(context)
        self.cancel(context)
        self.report({"INFO"}, self.told(context, ""))
        return {"FINISHED"}
