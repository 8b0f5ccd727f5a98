"""Bringing a place of the design into the middle of the view."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np

from ...standalone_core.errors import CuspwiseError, SettingError
from ..areas import support_marks
from ..blender import frames
from ..blender.in_blender import message
from ..blender.session import scene_of, settings_of, view_of
from ..check import mark_results, store
from . import colour_map

VIEW_DISTANCE_MM = 12.0  # near enough that a patch of half a millimetre is seen


def frame_patch(context: bpy.types.Context, scan: bpy.types.Object, number: int) -> str:
    """Bring a patch outside the tolerance into view; return why not, empty if it is.

    The 3D cursor goes to its worst place, and the view of the context, if it is one, there too.
    """
    kept = store.result_of(scan)
    patches = kept["check"]["patches"] if kept else []
    if not 0 <= number < len(patches):
        return f"{scan.name}: there is no patch {number + 1}."
    try:
        frame = _frame(context, scan)
    except CuspwiseError as error:
        return message(error)
    settings = settings_of(context)
    if patches[number]["seen_from"] == "scan" and settings.shown == "DESIGN":
        settings.shown = "SCAN"  # the design does not show it
    _go(context, frame, np.array(patches[number]["peak_mm"]))
    return ""


def frame_mark(context: bpy.types.Context, design: bpy.types.Object, area: str) -> str:
    """Bring a support mark into view; return why not, empty if it is.

    Its peak where the chosen scan was measured there, else its middle.
    """
    scan = colour_map.selected_scan(scene_of(context))
    row = mark_results.rows(scan, design).get(area) if scan else None
    try:
        frame = frames.frame_of(design, scene_of(context))
    except CuspwiseError as error:
        return message(error)
    place = row["peak_mm"] if row else support_marks.middle_mm(design, area, frame)
    if place is None or None in place:
        return f"{design.name}: {area} holds no vertex."
    _go(context, frame, np.array(place))
    return ""


def frame_place(context: bpy.types.Context, scan: bpy.types.Object, place_mm: np.ndarray) -> str:
    """Bring a place of a scan's design into view; return why not, empty if it is."""
    try:
        _go(context, _frame(context, scan), place_mm)
    except CuspwiseError as error:
        return message(error)
    return ""


def go_to(context: bpy.types.Context, world: Any, scale_mm: float) -> None:
    """Put the 3D cursor on a place of the world, and the context's view, if it is one."""
    scene_of(context).cursor.location = world
    if context.space_data is not None and context.space_data.type == "VIEW_3D":
        view: Any = view_of(context).region_3d
        view.view_location = world
        view.view_distance = min(view.view_distance, VIEW_DISTANCE_MM / scale_mm)


def _go(context: bpy.types.Context, frame: frames.Frame, place_mm: np.ndarray) -> None:
    """Go to a place of the design's frame."""
    place = np.append(place_mm / frame.scale_mm, 1.0)
    go_to(context, (frame.world_design @ place)[:3], frame.scale_mm)


def frame_local(context: bpy.types.Context, obj: bpy.types.Object, local: Sequence[float]) -> str:
    """Bring a place of an object, in its own coordinates, into view; return why not, or nothing."""
    try:
        scale_mm = frames.scene_scale_mm(obj, scene_of(context))
    except CuspwiseError as error:
        return message(error)
    world = frames.shown_matrix_of(obj) @ np.append(local, 1.0)
    go_to(context, world[:3], scale_mm)
    return ""


def _frame(context: bpy.types.Context, scan: bpy.types.Object) -> frames.Frame:
    design = store.data_of(scan).design
    if not store.is_in(design, scene_of(context)):
        raise SettingError(
            "Its design is not in this scene.",
            subject=scan.name,
            remedy="Bring the design back, or check against another one.",
        )
    return frames.frame_of(design, scene_of(context))
