"""Areas edited since something was measured: said at once, and settled when it is quiet.

To read which vertices lie in which group takes too long for every dab of a brush. What is cheap is
looked at with every update: the names of the groups, the margin line, and whether an area is being
painted. That marks the results of the design. Once it is quiet the groups are read, a part at each
tick of a timer, and the marks go where nothing differs from what was measured: a stroke that was
undone, a mode that was only entered. With no window that is done at once, but for painting.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import bpy

from ...standalone_core.progress import Steps, run
from ..areas import area_groups, support_marks
from ..blender import job, updates
from ..blender.session import persistent, scene_of
from ..check import mark_results, store
from ..drawing import overlay
from ..identifiers import AREA_GROUP_PREFIX
from . import study_store

if TYPE_CHECKING:
    from ..areas.area_groups import UserAreas

QUIET_S = 0.25  # after the last change; a stroke of the brush makes many
LOOK_S = 0.02

_modes: dict[str, str] = {}  # of designs, as they were seen last: to enter a mode edits nothing
_to_settle: dict[str, float] = {}  # names of designs, and when each was changed last
_reading: list[tuple[str, float, Steps[UserAreas]]] = []


@persistent
def notice_changes(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Mark results whose areas were edited, and have it settled later."""
    touched = updates.named(depsgraph)
    for design in _designs(scene) if touched else ():
        line = store.data_of(design).margin_line
        if design not in touched and line not in touched:
            continue
        painted = _is_painted(design)
        for scan in _measured(design, scene):
            if painted == "area" or store.areas_differ(scan, with_line=line in touched):
                store.mark_areas_edited(scan)
            elif painted == "mark":
                mark_results.mark_edited(scan)
        if painted == "area":
            study_store.mark_areas_edited(design)
        _settle_later(design, scene)


@persistent
def follow(scene: Any, _depsgraph: Any = None) -> None:
    """Settle after undo and redo, which leave alone what they believe unchanged."""
    forget()
    if isinstance(scene, bpy.types.Scene):
        for design in _designs(scene):
            _settle_later(design, scene)


@persistent
def forget(_scene: Any = None, _depsgraph: Any = None) -> None:
    """Leave nothing to do."""
    _modes.clear()
    _to_settle.clear()
    _reading.clear()


def stop() -> None:
    """Give up what is under way."""
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
    forget()


def settle(design: bpy.types.Object, scene: bpy.types.Scene, areas: UserAreas) -> None:
    """Say of every result of a design whether it was measured in these areas."""
    for scan in _measured(design, scene):
        store.refresh_areas(scan, areas, scene)
        mark_results.refresh(scan, areas.groups)
    if study_store.design_of(scene) == design:
        study_store.refresh_areas(scene, areas)


def _designs(scene: bpy.types.Scene) -> set[bpy.types.Object]:
    """Return the designs that something listed was measured against, and the study's."""
    found = {store.data_of(s).design for s in store.listed_scans(scene) if store.data_of(s).result}
    own = study_store.design_of(scene)
    if own is not None and store.data_of(own).study:
        found.add(own)
    return {design for design in found if store.is_in(design, scene)}


def _measured(design: bpy.types.Object, scene: bpy.types.Scene) -> Iterable[bpy.types.Object]:
    for scan in store.listed_scans(scene):
        if store.data_of(scan).design == design and store.data_of(scan).result:
            yield scan


def _is_painted(design: bpy.types.Object) -> str:
    """Return what is painted on a design, "area" or "mark"; empty if neither is."""
    before, now = _modes.get(design.name_full), design.mode
    _modes[design.name_full] = now
    group = design.vertex_groups.active
    if not before == now == "WEIGHT_PAINT" or group is None:
        return ""
    if support_marks.mark_of_group(group):
        return "mark"
    return "area" if group.name.startswith(AREA_GROUP_PREFIX) else ""


# Settling ------------------------------------------------------------------------------------


def _settle_later(design: bpy.types.Object, scene: bpy.types.Scene) -> None:
    if not bpy.app.background:
        _to_settle[design.name_full] = time.monotonic()
        if not bpy.app.timers.is_registered(_look):
            bpy.app.timers.register(_look, first_interval=QUIET_S)
    elif design.mode == "OBJECT":
        settle(design, scene, run(area_groups.user_areas_steps(design)))


def _look() -> float | None:
    """Read a part of the groups of what was changed; answer when to go on."""
    if not _to_settle:
        return None
    name, changed = next(iter(_to_settle.items()))
    left = changed + QUIET_S - time.monotonic()
    if left > 0.0 or job.is_running(bpy.context):
        return max(left, LOOK_S)
    scene, design = scene_of(bpy.context), bpy.data.objects.get(name)
    if design is None or design.mode == "EDIT" or not store.is_in(design, scene):
        del _to_settle[name]
        return LOOK_S
    if not _reading or _reading[0][:2] != (name, changed):
        _reading[:] = [(name, changed, area_groups.user_areas_steps(design))]
    try:
        next(_reading[0][2])
    except StopIteration as end:
        _reading.clear()
        del _to_settle[name]
        settle(design, scene, end.value)
        overlay.redraw()
    return LOOK_S
