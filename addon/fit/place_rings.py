"""Rings the thinnest places, or the contacts, on a crown while their map is shown."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.own_surface import Surface
from ..blender.session import eye_of, region_of, scene_of, settings_of, ui_scale, view_of
from ..drawing import captions, circle
from ..drawing.colour_map import selected_scan
from ..drawing.legend_layout import LINE
from ..drawing.rings import draw as draw_rings
from . import crown_maps
from .marked_place import Box, MarkedPlace, has_room

RADIUS_MM = 0.3
CLEAR = 0.005  # of the crown's longest side, where a look at a place begins

_handlers: list[Any] = []
_kept: list[tuple[Any, list[tuple[Any, bool]]]] = []  # of the crown drawn last


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        _handlers.append(add(_draw, (), "WINDOW", "POST_VIEW"))
        _handlers.append(add(_draw_words, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")
    _kept.clear()


def ringed(context: bpy.types.Context) -> tuple[bpy.types.Object, list[MarkedPlace]] | None:
    """Return the crown and its places that are ringed in the context's view; None if none are."""
    if not settings_of(context).show_colours or not view_of(context).overlay.show_overlays:
        return None
    scene = scene_of(context)
    scan = selected_scan(scene)
    crown = crown_maps.shown_crown(scene, scan)
    if crown is None or not crown.visible_get(viewport=view_of(context)):
        return None
    shown = crown_maps.shown_map(scene)
    places = shown.places(crown)
    if shown.why_out_of_date(crown, scene):
        places = [replace(place, words=f"{place.words}, out of date") for place in places]
    return crown, places


def rings_of(
    crown: bpy.types.Object, places: list[MarkedPlace], scene: bpy.types.Scene
) -> list[tuple[list[Vector], bool]]:
    """Return closed lines on a crown, in the world, and whether each stands out."""
    radius = RADIUS_MM / frames.scene_scale_mm(crown, scene)
    rings = []
    for place in places:
        corners = circle.circle_on(crown, Vector(place.local), radius)
        if len(corners) > 2:
            rings.append(([*corners, corners[0]], place.stands_out))
    return rings


def _batches(
    crown: bpy.types.Object, places: list[MarkedPlace], scene: bpy.types.Scene
) -> list[tuple[Any, bool]]:
    look = (crown.name, tuple(places), frames.shown_matrix_of(crown).tobytes())
    if not _kept or _kept[0][0] != look:
        try:
            rings = rings_of(crown, places, scene)
        except CuspwiseError:
            return []  # till the length of a unit is known
        _kept[:] = [(look, [(circle.line_batch(ring), marked) for ring, marked in rings])]
    return _kept[0][1]


def _draw() -> None:
    context = bpy.context
    found = ringed(context)
    if found is None:
        return
    batches = _batches(*found, scene_of(context))
    shown = [(ring, circle.LIGHT if stands_out else circle.FAINT) for ring, stands_out in batches]
    draw_rings(context, found[0], shown)


def _draw_words() -> None:
    context = bpy.context
    found = ringed(context)
    if found is None:
        return
    crown, places = found
    scale = ui_scale(context)
    taken: list[Box] = []
    for place in places:
        world = crown.matrix_world @ Vector(place.local)
        at = location_3d_to_region_2d(region_of(context), eye_of(context), world)
        if at is None or not _is_seen(context, crown, world):
            continue
        box = at.x + 12 * scale, at.y + 8 * scale, captions.width_of(place.words, scale)
        if has_room(box, taken, LINE * scale):
            captions.draw_words(place.words, box[0], box[1], scale)
            taken.append(box)


def _is_seen(context: bpy.types.Context, crown: bpy.types.Object, world: Vector) -> bool:
    """Tell whether nothing of the crown lies between a place of its surface and the eye."""
    eye = eye_of(context)
    towards: Any = eye.view_matrix.row[2].to_3d()
    if eye.is_perspective:
        towards = eye.view_matrix.inverted_safe().translation - world
    to_local = crown.matrix_world.inverted_safe()
    start = world + CLEAR * frames.longest_side(crown) * towards.normalized()
    way: Any = to_local.to_3x3() @ towards
    return Surface(crown).met(to_local @ start, way) is None
