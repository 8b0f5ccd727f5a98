"""Draws the margin line over the crown in the colours of the margin profile.

It lies in the design's frame and belongs to the chosen scan's result; what it is made of is kept
as batches on the graphics card until result, limits or palette are others.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.session import scene_of, settings_of, ui_scale, view_of
from ..check import store
from ..identifiers import SCENE_PROPERTIES
from . import circle, colour_map, overlay
from .graphics import batch_for, graphics
from .profile_parts import ProfileLine, profile_line

WIDTH, RIM, BEYOND_RIM = 6.0, 9.0, 14.0
# Each a little before the other, or they would flicker through one another.
AHEAD = (1.0, 1.15, 1.3)

_handlers: list[Any] = []
_kept: list[_Batches] = []  # of the scan drawn last


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        space = bpy.types.SpaceView3D
        _handlers.append(space.draw_handler_add(_draw, (), "WINDOW", "POST_VIEW"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")
    _kept.clear()


def shown_scan(context: bpy.types.Context) -> bpy.types.Object | None:
    """Return the scan whose margin is drawn in the context's 3D view; None if none is."""
    settings = settings_of(context)
    if not settings.show_margin or settings.show_areas or settings.study.shown:
        return None
    if not view_of(context).overlay.show_overlays:
        return None
    scan = colour_map.selected_scan(scene_of(context))
    design = store.data_of(scan).design if scan is not None else None
    if scan is None or design is None or not store.is_in(design, scene_of(context)):
        return None
    seen = any(obj.visible_get(viewport=view_of(context)) for obj in (scan, design))
    return scan if seen and store.data_of(scan).result_points is not None else None


def line_of(scan: bpy.types.Object, scene: bpy.types.Scene) -> ProfileLine | None:
    """Return what is drawn of a scan's margin; None without a profile."""
    profile, settings = store.profile_of(scan), getattr(scene, SCENE_PROPERTIES)
    if profile is None or not settings.shown_limit_um > 0.0:
        return None
    return profile_line(profile, settings.shown_limit_um, settings.palette)


@dataclass(eq=False)
class _Batches:
    """A margin line on the graphics card."""

    look: tuple[Any, ...]
    line: Any = None
    rim: Any = None
    beyond: Any = None


def _batches(scan: bpy.types.Object, scene: bpy.types.Scene) -> _Batches:
    settings = getattr(scene, SCENE_PROPERTIES)
    # The result itself: it is judged anew some time after the tolerances changed.
    look = (store.data_of(scan).result, settings.shown_limit_um, settings.palette)
    if not _kept or _kept[0].look != look:
        _kept[:] = [_made(look, line_of(scan, scene))]
    return _kept[0]


def _made(look: tuple[Any, ...], line: ProfileLine | None) -> _Batches:
    gpu = graphics()

    if line is None:
        return _Batches(look)
    plain = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    flat = gpu.shader.from_builtin("POLYLINE_FLAT_COLOR")
    ends = line.points_mm.reshape(-1, 3)
    rgba = np.ones((len(ends), 4), dtype=np.float32)
    rgba[:, :3] = np.repeat(line.colours, 2, axis=0) / 255.0
    beyond = line.points_mm[line.beyond].reshape(-1, 3)
    return _Batches(
        look,
        line=batch_for(flat, "LINES", {"pos": ends, "color": rgba}),
        rim=batch_for(plain, "LINES", {"pos": ends}),
        beyond=batch_for(plain, "LINES", {"pos": beyond}) if len(beyond) else None,
    )


def _draw() -> None:
    gpu = graphics()

    context = bpy.context
    scan = shown_scan(context)
    if scan is None:
        return
    batches, design = _batches(scan, scene_of(context)), store.data_of(scan).design
    if batches.line is None:
        return
    try:
        frame = frames.frame_of(design, scene_of(context))
    except CuspwiseError:
        return
    to_world = Matrix(frame.world_of(np.eye(4)).tolist())
    scale = ui_scale(context)
    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(False)
    try:
        beyond = [batches.beyond] if batches.beyond is not None else []
        with overlay.placed(context, design, to_world, AHEAD[0]):
            circle.draw_lines(beyond, circle.LIGHT, BEYOND_RIM * scale)
        with overlay.placed(context, design, to_world, AHEAD[1]):
            circle.draw_lines([batches.rim], circle.DARK, RIM * scale)
        with overlay.placed(context, design, to_world, AHEAD[2]):
            _draw_coloured(batches.line, WIDTH * scale)
    finally:
        gpu.state.depth_mask_set(masked)
        gpu.state.depth_test_set("NONE")


def _draw_coloured(batch: Any, width: float) -> None:
    gpu = graphics()

    shader = gpu.shader.from_builtin("POLYLINE_FLAT_COLOR")
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width)
    batch.draw(shader)
