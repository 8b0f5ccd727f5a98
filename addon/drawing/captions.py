"""Words beside landmarks and labels, readable on every colour, as Blender's own names are not."""

from __future__ import annotations

from typing import Any

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from ..blender.session import eye_of, layer_of, region_of, scene_of, ui_scale, view_of
from ..check import reading
from .legend_layout import TEXT_SIZE

_handlers: list[Any] = []


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        _handlers.append(bpy.types.SpaceView3D.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")


def captions_of(context: bpy.types.Context) -> list[tuple[Vector, str]]:
    """Return where in the world each caption stands that is to be seen, and its words."""
    return [
        (obj.matrix_world.translation, caption)
        for obj in layer_of(context).objects
        if obj.type == "EMPTY"
        and (caption := reading.words_of(obj, scene_of(context)))
        and obj.visible_get()
    ]


def width_of(text: str, scale: float) -> float:
    """Return the width of words as they are written, in pixels."""
    import blf

    blf.size(0, 1.2 * TEXT_SIZE * scale)
    return float(blf.dimensions(0, text)[0])


def draw_words(text: str, x: float, y: float, scale: float) -> None:
    """Write light words on a shadow, in pixels."""
    import blf

    blf.size(0, 1.2 * TEXT_SIZE * scale)
    blf.enable(0, blf.SHADOW)
    blf.shadow(0, 5, 0.0, 0.0, 0.0, 1.0)
    blf.shadow_offset(0, 1, -1)
    blf.color(0, 1.0, 1.0, 1.0, 1.0)
    blf.position(0, x, y, 0)
    blf.draw(0, text)
    blf.disable(0, blf.SHADOW)


def _draw() -> None:
    context = bpy.context
    if not view_of(context).overlay.show_overlays:
        return
    scale = ui_scale(context)
    for world, text in captions_of(context):
        place = location_3d_to_region_2d(region_of(context), eye_of(context), world)
        if place is not None:
            draw_words(text, place.x + 9 * scale, place.y + 6 * scale, scale)
