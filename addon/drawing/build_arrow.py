"""Draws the build direction about the design: the platform below it and an arrow above it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
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
    middle, side = middle_of(design), frames.longest_side(design)
    return [_platform(middle, up, side), *arrow(middle, up, side)]


def middle_of(obj: bpy.types.Object) -> Any:
    """Return the middle of an object's box, in the world."""
    corners = [obj.matrix_world @ Vector(corner) for corner in obj.bound_box]
    return sum(corners, Vector()) / len(corners)


def _across(up: Any) -> tuple[Any, Any]:
    first = up.orthogonal().normalized()
    return first, up.cross(first)


def _platform(middle: Any, up: Any, side: float) -> list[Vector]:
    """Return the square below an object."""
    first, second = _across(up)
    foot = middle - BELOW * side * up
    half = PLATFORM * side
    square = [
        foot + half * (a * first + b * second) for a, b in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ]
    return [*square, square[0]]


def arrow(middle: Any, up: Any, side: float) -> list[list[Vector]]:
    """Return the shaft of an arrow out of an object, and its head."""
    tip = middle + TIP * side * up
    back, wide = tip - 1.6 * HEAD * side * up, HEAD * side
    heads = [[back + wide * way, tip, back - wide * way] for way in _across(up)]
    return [[middle + SHAFT * side * up, tip], *heads]


@contextmanager
def drawn_between() -> Iterator[None]:
    """Draw lines hidden by what lies before them, which hide nothing themselves."""
    gpu = graphics()
    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(False)  # or rim and line would flicker through one another
    try:
        yield
    finally:
        gpu.state.depth_mask_set(masked)
        gpu.state.depth_test_set("NONE")


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
    scale = ui_scale(context)
    with drawn_between():
        circle.draw_lines(lines, circle.DARK, RIM_WIDTH * scale)
        circle.draw_lines(lines, circle.LIGHT, WIDTH * scale)
