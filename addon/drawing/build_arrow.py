"""Draws the build direction about the design: the platform below it and an arrow above it."""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.session import manager_of, scene_of, settings_of, ui_scale, view_of
from ..causes import production
from ..check import store
from . import circle
from .colour_map import selected_scan
from .graphics import graphics

BELOW, SHAFT, TIP = 0.62, 0.62, 0.95  # from the design's middle, of its longest side
PLATFORM, HEAD = 0.35, 0.09  # half a side, half a width, of the same
RIM_WIDTH, WIDTH = 6.0, 3.0

_handlers: list[Any] = []


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        space = bpy.types.SpaceView3D
        _handlers.append(space.draw_handler_add(_draw, (), "WINDOW", "POST_VIEW"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")


def redraw() -> None:
    """Draw every 3D view anew."""
    for window in manager_of(bpy.context).windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


def lines_of(context: bpy.types.Context) -> list[list[Vector]]:
    """Return the lines that are drawn, in the world; none where no direction is known."""
    scene, settings = scene_of(context), settings_of(context)
    design, scan = settings.design, selected_scan(scene)
    if not settings.causes.show_build_direction or not store.is_in(design, scene):
        return []
    direction = Vector(production.production_of(scene, scan).build_direction)
    if not direction.length:
        return []
    try:
        frame = frames.frame_of(design, scene)
    except CuspwiseError:
        return []
    turn = frame.world_design[:3, :3]
    up = Vector((turn @ direction.normalized()).tolist())
    corners = [design.matrix_world @ Vector(corner) for corner in design.bound_box]
    middle: Any = sum(corners, Vector()) / len(corners)
    return _lines(middle, up, frames.longest_side(design))


def _lines(middle: Any, up: Any, side: float) -> list[list[Vector]]:
    """Return platform, shaft and head."""
    first: Any = up.orthogonal().normalized()
    second: Any = up.cross(first)
    foot = middle - BELOW * side * up
    half = PLATFORM * side
    square = [
        foot + half * (a * first + b * second) for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ]
    tip = middle + TIP * side * up
    back, wide = tip - 1.6 * HEAD * side * up, HEAD * side
    heads = [[back + wide * way, tip, back - wide * way] for way in (first, second)]
    return [[*square, square[0]], [middle + SHAFT * side * up, tip], *heads]


def _draw() -> None:
    context = bpy.context
    if not view_of(context).overlay.show_overlays:
        return
    design, scan = settings_of(context).design, selected_scan(scene_of(context))
    shown = [obj for obj in (design, scan) if obj is not None]
    if not any(obj.visible_get(viewport=view_of(context)) for obj in shown):
        return
    lines = [circle.line_batch(points) for points in lines_of(context)]
    if not lines:
        return
    gpu = graphics()
    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(False)  # or rim and line would flicker through one another
    scale = ui_scale(context)
    try:
        circle.draw_lines(lines, circle.DARK, RIM_WIDTH * scale)
        circle.draw_lines(lines, circle.LIGHT, WIDTH * scale)
    finally:
        gpu.state.depth_mask_set(masked)
        gpu.state.depth_test_set("NONE")
