"""Draws the directions that were given of the design: an arrow each, with its name at the tip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.session import eye_of, region_of, scene_of, settings_of, ui_scale, view_of
from ..check import store
from ..check.setting_groups import DIRECTIONS
from . import build_arrow, captions, circle
from .colour_map import selected_scan
from .legend_layout import rgb
from .overlay_parts import BLUISH_GREEN, ORANGE, REDDISH_PURPLE

LOOKS = {
    "mesial_direction": ("Mesial", REDDISH_PURPLE),
    "buccal_direction": ("Buccal", BLUISH_GREEN),
    "insertion": ("Insertion", ORANGE),
}
_handlers: list[Any] = []


@dataclass(frozen=True)
class Arrow:
    """An arrow in the world.

    Attributes
    ----------
    name : str
        What stands at its tip.
    colour : str
        ``#rrggbb``.
    lines : list of list of Vector
        Shaft and head.
    """

    name: str
    colour: str
    lines: list[list[Vector]]

    @property
    def tip(self) -> Vector:
        """Where it points to."""
        return self.lines[0][-1]


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        add: Any = bpy.types.SpaceView3D.draw_handler_add
        _handlers.append(add(_draw, (), "WINDOW", "POST_VIEW"))
        _handlers.append(add(_draw_names, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")


def arrows_of(context: bpy.types.Context) -> list[Arrow]:
    """Return the arrows of the directions that were given; they follow the design."""
    scene, settings = scene_of(context), settings_of(context)
    design = settings.design
    if not settings.show_directions or not store.is_in(design, scene):
        return []
    data = store.data_of(design)
    given = {n: Vector(getattr(data, n)) for n in DIRECTIONS if any(getattr(data, n))}
    if not given:
        return []
    try:
        turn = frames.frame_of(design, scene).world_design[:3, :3]
    except CuspwiseError:
        return []
    middle, side = build_arrow.middle_of(design), frames.longest_side(design)
    found = []
    for name, direction in given.items():
        along = Vector((turn @ direction.normalized()).tolist())
        found.append(Arrow(*LOOKS[name], build_arrow.arrow(middle, along, side)))
    return found


def _seen(context: bpy.types.Context) -> list[Arrow]:
    """Return the arrows that are to be drawn in the context's 3D view."""
    if not view_of(context).overlay.show_overlays:
        return []
    shown = (settings_of(context).design, selected_scan(scene_of(context)))
    there = [obj for obj in shown if obj is not None]
    if not any(obj.visible_get(viewport=view_of(context)) for obj in there):
        return []
    return arrows_of(context)


def _draw() -> None:
    arrows = _seen(bpy.context)
    if not arrows:
        return
    scale = ui_scale(bpy.context)
    with build_arrow.drawn_between():
        for arrow in arrows:
            lines = [circle.line_batch(points) for points in arrow.lines]
            circle.draw_lines(lines, circle.DARK, build_arrow.RIM_WIDTH * scale)
            circle.draw_lines(lines, (*rgb(arrow.colour), 1.0), build_arrow.WIDTH * scale)


def _draw_names() -> None:
    context = bpy.context
    scale = ui_scale(context)
    for arrow in _seen(context):
        place = location_3d_to_region_2d(region_of(context), eye_of(context), arrow.tip)
        if place is not None:
            captions.draw_words(arrow.name, place.x + 9 * scale, place.y + 6 * scale, scale)
