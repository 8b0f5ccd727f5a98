"""Long work without freezing the window: the core in a thread, Blender's data in short steps.

What lies between reading Blender's data and writing it is steps of the core; they run in a thread
(:mod:`.worker`) while a timer looks how far they are. Reading and writing stay on the main
thread, a step at each tick. Nothing is written before the work has ended, so a job that is
cancelled has changed nothing; once the writing has begun it goes to its end. With no window the
same operator runs to its end in ``execute``, without a thread.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from contextlib import suppress
from types import MappingProxyType
from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError, SettingError
from ...standalone_core.progress import Progress, Steps, run, scaled
from ..identifiers import JOB_PROPERTIES
from .in_blender import message
from .redrawing import lay_out_panels, redraw
from .session import Answer, OperatorBase, manager_of, show_status
from .worker import AbandonedError, Worker

TICK_S = 0.02
MOMENT_S = 0.015  # of reading or writing at a tick; each of its steps takes less than 0.07 s
READ, WORKED = 0.05, 0.9  # shares of the bar
# Looking at the scene goes on while a job runs; everything else would change what it read.
LOOKING = {
    "MOUSEMOVE",
    "INBETWEEN_MOUSEMOVE",
    "MIDDLEMOUSE",
    "WHEELUPMOUSE",
    "WHEELDOWNMOUSE",
    "TRACKPADPAN",
    "TRACKPADZOOM",
    "NDOF_MOTION",
    "TIMER_REPORT",
    "WINDOW_DEACTIVATE",
}
_under_way: list[JobOperator] = []


class JobOperator(OperatorBase):
    """Base of operators with long work; a subclass gives ``start`` and ``finish``.

    Attributes
    ----------
    writes_files : bool
        Whether the steps write files. Cancelling then waits for the present step, whose files
        may be in place already.
    after_cancel : str
        What is true then, as the end of a sentence.
    after_esc : str
        The same before it is done, as a sentence.
    remedies : mapping of str to str
        What to do about an error that asks for an argument, where this operator knows better.
    """

    writes_files = False
    after_cancel = "nothing was changed"
    after_esc = "Esc cancels; the scene stays as it is."
    remedies: Mapping[str, str] = MappingProxyType({})

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read in steps what takes longer than a tick; nothing is changed yet."""
        del context
        yield from ()

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Return the steps of the work, with all they need; nothing is changed yet.

        They run in a thread and must not touch Blender's data.
        """
        raise NotImplementedError

    def finish(self, context: bpy.types.Context, result: Any) -> str | Steps[str]:
        """Write the result, in steps if it takes longer than a tick; return what is told."""
        raise NotImplementedError

    def execute(self, context: bpy.types.Context) -> Answer:
        """Run to the end."""
        self._prepare()
        try:
            said = run(self._all_steps(context, in_thread=False))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error, self.remedies))
            return {"CANCELLED"}
        self.report({"INFO"}, said)
        return {"FINISHED"}

    def _prepare(self) -> None:
        self._worker: Worker[Any] | None = None
        self._in_thread = self._working = self._writing = self._ending = False

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Start the timer; in the background, run to the end."""
        if bpy.app.background:
            return self.execute(context)
        self.begin(context)
        manager_of(context).modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def begin(self, context: bpy.types.Context) -> None:
        """Start the timer; whoever calls this hands every event to ``modal``."""
        self._prepare()
        self._steps = self._all_steps(context, in_thread=True)
        getattr(manager_of(context), JOB_PROPERTIES).after_esc = self.after_esc
        manager = manager_of(context)
        self._timer = manager.event_timer_add(TICK_S, window=context.window)
        manager.progress_begin(0, 100)
        _under_way.append(self)
        _show(context, Progress(f"{self.bl_label}", 0.0))

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Look how far the work is, or read or write for a moment; Esc ends it."""
        if self not in _under_way:
            return {"CANCELLED"}  # by stop_all
        if event.type == "ESC" and event.value == "PRESS":
            return self._escape(context)
        if event.type != "TIMER":
            return {"PASS_THROUGH"} if event.type in LOOKING else {"RUNNING_MODAL"}
        return self._tick(context)

    def _tick(self, context: bpy.types.Context) -> Answer:
        """Go on for a moment; tell Blender whether that was the end."""
        try:
            progress = self._take_steps()
        except StopIteration as end:
            self.cancel(context)
            self.report({"INFO"}, end.value)
            return {"FINISHED"}
        except AbandonedError:
            return self._cancelled(context)
        except CuspwiseError as error:
            self.cancel(context)
            self.report({"ERROR"}, message(error, self.remedies))
            return {"CANCELLED"}
        except BaseException:
            self.cancel(context)
            raise
        _show(context, progress, can_cancel=not self._writing)
        return {"PASS_THROUGH"}  # panels that have grown move the others by timers of their own

    def cancel(self, context: bpy.types.Context) -> None:
        """Take the timer and the bar away; Blender calls this too when the window closes."""
        if self not in _under_way:
            return
        _under_way.remove(self)
        self._ending = True
        if self._writing:
            _run_out(self._steps)  # half a result would be worse than none
        self._steps.close()
        manager_of(context).event_timer_remove(self._timer)
        manager_of(context).progress_end()
        getattr(manager_of(context), JOB_PROPERTIES).running = False
        show_status(context, None)
        redraw(context, {"WINDOW", "UI"})
        lay_out_panels()

    def _take_steps(self) -> Progress:
        """Take one step; while reading or writing, as many as a moment has room for.

        Each tick of writing has the view drawn anew, which may take longer than the writing.
        """
        end = time.perf_counter() + MOMENT_S
        progress = next(self._steps)
        while not self._working and time.perf_counter() < end:
            progress = next(self._steps)
        return progress

    def _escape(self, context: bpy.types.Context) -> Answer:
        if self._writing:
            return {"RUNNING_MODAL"}
        if self.writes_files and self._worker is not None:
            self._worker.abandon()
            return {"RUNNING_MODAL"}
        return self._cancelled(context)

    def _cancelled(self, context: bpy.types.Context) -> Answer:
        self.cancel(context)
        self.report({"INFO"}, f"{self.bl_label} cancelled; {self.after_cancel}.")
        return {"CANCELLED"}

    def _all_steps(self, context: bpy.types.Context, *, in_thread: bool) -> Steps[str]:
        """Read, work, write; all but the work on the thread that takes these steps."""
        self._in_thread = in_thread
        try:
            return (yield from self.job_steps(context))
        except (MemoryError, ReferenceError) as error:
            raise self.in_words(error) from error

    def job_steps(self, context: bpy.types.Context) -> Steps[str]:
        """Read, work, write; return what is told."""
        yield from scaled(self.read(context), 0.0, READ)
        result = yield from scaled(self.aside(self.start(context)), READ, WORKED)
        return (yield from scaled(self.written(self.finish(context, result)), WORKED, 1.0))

    def in_words(self, error: Exception) -> CuspwiseError:
        """Return what an error of Python's means to the user."""
        if isinstance(error, MemoryError):
            return SettingError(
                "The memory of this computer does not suffice.",
                subject=self.bl_label,
                remedy="Close other programs, or work with a coarser mesh or a wider spacing.",
            )
        return SettingError(
            "An object that it works on was deleted meanwhile.",
            subject=self.bl_label,
            remedy="Choose design and scan again and repeat it.",
        )

    def written(self, writing: str | Steps[str]) -> Steps[str]:
        """Take the steps that write, which go to their end whatever comes between."""
        if isinstance(writing, str):
            return writing
        self._writing = True
        try:
            return (yield from writing)
        finally:
            self._writing = False

    def aside(self, work: Steps[Any]) -> Steps[Any]:
        """Have steps taken in a thread where there is a window; tell at each tick how far it is."""
        if not self._in_thread:
            return (yield from work)
        self._worker = worker = Worker(work)
        self._working = True
        try:
            while not worker.ended:
                yield worker.progress
            return worker.result()
        finally:
            self._working = False
            worker.abandon()


def is_running(context: bpy.types.Context) -> bool:
    """Tell whether a job is under way."""
    return bool(getattr(manager_of(context), JOB_PROPERTIES).running)


def stop_all(context: bpy.types.Context) -> None:
    """End the job under way, before the extension goes: Blender does not ask it to."""
    for operator in list(_under_way):
        operator.cancel(context)


def _run_out(steps: Steps[str]) -> None:
    with suppress(CuspwiseError):  # there is nobody left to tell
        run(steps)


def _show(context: bpy.types.Context, progress: Progress, *, can_cancel: bool = True) -> None:
    state = getattr(manager_of(context), JOB_PROPERTIES)
    percent = round(100 * progress.fraction)
    if (state.running, state.label, round(100 * state.fraction)) == (True, progress.text, percent):
        return  # drawing anew at every tick would take the time of the work
    state.running, state.label, state.fraction = True, progress.text, progress.fraction
    manager_of(context).progress_update(percent)
    hint = "   Esc: Cancel" if can_cancel else ""
    show_status(context, f"{progress.text} …{hint}")
    redraw(context, {"UI"})
