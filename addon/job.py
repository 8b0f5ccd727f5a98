"""Long work without freezing the window: a core generator, stepped by a timer.

With no window the same operator runs to its end in ``execute``. Blender's data is read before
the first step and written after the last, so a job that is cancelled has changed nothing.
"""

from __future__ import annotations

import time
from typing import Any

import bpy

from ..standalone_core.errors import CuspwiseError
from ..standalone_core.progress import Progress, Steps, run
from .identifiers import JOB_PROPERTIES

TICK_S = 0.08
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


class JobOperator:
    """Base of operators with long work; a subclass gives ``start`` and ``finish``."""

    def start(self, context: bpy.types.Context) -> Steps[Any]:
        """Read what the work needs and return its steps; nothing is changed yet."""
        raise NotImplementedError

    def finish(self, context: bpy.types.Context, result: Any) -> str:
        """Write the result; return what the user is told."""
        raise NotImplementedError

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Run to the end."""
        try:
            said = self.finish(context, run(self.start(context)))
        except CuspwiseError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        self.report({"INFO"}, said)
        return {"FINISHED"}

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> set[str]:
        """Start the timer; in the background, run to the end."""
        if bpy.app.background:
            return self.execute(context)
        try:
            self._steps = self.start(context)
        except CuspwiseError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        manager = context.window_manager
        self._timer = manager.event_timer_add(0.02, window=context.window)
        manager.progress_begin(0, 100)
        manager.modal_handler_add(self)
        _show(context, Progress(f"{self.bl_label}", 0.0))
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Work for a moment at each tick; Esc ends it."""
        if event.type == "ESC" and event.value == "PRESS":
            self.cancel(context)
            self.report({"INFO"}, f"{self.bl_label} cancelled; nothing was changed.")
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"} if event.type in LOOKING else {"RUNNING_MODAL"}
        try:
            said = self._tick(context)
        except CuspwiseError as error:
            self.cancel(context)
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        except BaseException:
            self.cancel(context)
            raise
        if said is None:
            return {"RUNNING_MODAL"}
        self.cancel(context)
        self.report({"INFO"}, said)
        return {"FINISHED"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Take the timer and the bar away; Blender calls this too when the window closes."""
        self._steps.close()
        context.window_manager.event_timer_remove(self._timer)
        context.window_manager.progress_end()
        getattr(context.window_manager, JOB_PROPERTIES).running = False
        if context.workspace:
            context.workspace.status_text_set(None)
        _redraw(context)

    def _tick(self, context: bpy.types.Context) -> str | None:
        """Take steps until the moment is over; return what is told once all is done."""
        end = time.perf_counter() + TICK_S
        try:
            progress = next(self._steps)
            while time.perf_counter() < end:
                progress = next(self._steps)
        except StopIteration as done:
            return self.finish(context, done.value)
        _show(context, progress)
        return None


def is_running(context: bpy.types.Context) -> bool:
    """Tell whether a job is under way."""
    return bool(getattr(context.window_manager, JOB_PROPERTIES).running)


def _show(context: bpy.types.Context, progress: Progress) -> None:
    state = getattr(context.window_manager, JOB_PROPERTIES)
    state.running, state.label, state.fraction = True, progress.label, progress.fraction
    context.window_manager.progress_update(round(100 * progress.fraction))
    if context.workspace:
        context.workspace.status_text_set(f"{progress.label} …   Esc: Cancel")
    _redraw(context)


def _redraw(context: bpy.types.Context) -> None:
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()
