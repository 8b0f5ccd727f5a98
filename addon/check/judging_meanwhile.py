"""Results judged anew while the window goes on: one scan at a time, in a thread.

A change of the tolerances is seen at once; the verdicts follow when the thread is done, the chosen
scan's first. With no window they are judged in the same moment.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from ..blender import job
from ..blender.session import persistent, scene_of
from ..blender.worker import Worker
from ..drawing import colour_map, overlay
from ..identifiers import SCENE_PROPERTIES
from . import judging, store
from .scene_choices import judging_choices, why_unusual

QUIET_S = 0.15  # after the last change: a number that is dragged changes often
LOOK_S = 0.03


@dataclass(frozen=True, eq=False)
class _Judging:
    """What a thread is at."""

    result_id: str
    chosen: dict[str, Any]
    worker: Worker[judging.Anew]


_under_way: list[_Judging] = []


def judge(scene: bpy.types.Scene) -> None:
    """See to it that every kept result is judged by the scene's choices."""
    if bpy.app.background:
        judging.judge_all(scene)
        return
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
    bpy.app.timers.register(_look, first_interval=QUIET_S)


def stop() -> None:
    """Give up what is under way."""
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
    while _under_way:
        _under_way.pop().worker.abandon()


@persistent
def follow(scene: Any, _depsgraph: Any = None) -> None:
    """Judge anew after undo and redo, which may bring results back that were judged otherwise."""
    if isinstance(scene, bpy.types.Scene) and not bpy.app.background:
        judge(scene)


def _look() -> float | None:
    """Start the next scan, or keep what the thread found; answer when to look again."""
    scene = scene_of(bpy.context)
    if job.is_running(bpy.context):
        return QUIET_S
    if _under_way:
        if not _under_way[0].worker.ended:
            return LOOK_S
        _keep(scene, _under_way.pop())
        return LOOK_S
    chosen = judging_choices(getattr(scene, SCENE_PROPERTIES))
    if why_unusual(chosen):
        return None
    first = colour_map.selected_scan(scene)
    for scan in sorted(store.listed_scans(scene), key=lambda scan: scan != first):
        kept = store.result_of(scan)
        if kept is not None and judging.is_behind(kept, chosen):
            steps = judging.anew_steps(*judging.read(scan, kept), chosen)
            _under_way.append(_Judging(store.data_of(scan).result_id, chosen, Worker(steps)))
            return LOOK_S
    return None


def _keep(scene: bpy.types.Scene, done: _Judging) -> None:
    """Keep what was found, where the result is still there; scans that are copies share it."""
    found = done.worker.result()
    for scan in store.listed_scans(scene):
        kept = store.result_of(scan)
        if kept is not None and store.data_of(scan).result_id == done.result_id:
            judging.keep_anew(scan, kept, found, done.chosen)
    overlay.redraw()
