"""Rings the thinnest places, or the contacts, on a crown while their map is shown."""

from __future__ import annotations

from typing import Any

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Matrix, Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.session import eye_of, region_of, scene_of, settings_of, ui_scale, view_of
from ..drawing import captions, circle, overlay
from ..drawing.colour_map import selected_scan
from ..drawing.graphics import graphics
from . import crown_maps
from .marked_place import MarkedPlace

RADIUS_MM = 0.3
AHEAD = 0.1  # in steps of the areas' overlay: less than a wall is thick

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
    if shown.why_out_of_date(crown, scene):
        return None  # the legend says so; the places may be elsewhere
    return crown, shown.places(crown)


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
            rings = []
        _kept[:] = [(look, [(circle.line_batch(ring), marked) for ring, marked in rings])]
    return _kept[0][1]


def _draw() -> None:
    context = bpy.context
    found = ringed(context)
    if found is None:
        return
    gpu, scale = graphics(), ui_scale(context)
    crown, places = found
    batches = _batches(crown, places, scene_of(context))
    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("LESS_EQUAL")
    gpu.state.depth_mask_set(False)
    try:
        with overlay.placed(context, crown, Matrix(), AHEAD):
            circle.draw_lines([ring for ring, _ in batches], circle.DARK, circle.RIM_WIDTH * scale)
        with overlay.placed(context, crown, Matrix(), 1.5 * AHEAD):
            for ring, stands_out in batches:
                colour = circle.LIGHT if stands_out else circle.FAINT
                circle.draw_lines([ring], colour, circle.LINE_WIDTH * scale)
    finally:
        gpu.state.depth_mask_set(masked)
        gpu.state.depth_test_set("NONE")


def _draw_words() -> None:
    context = bpy.context
    found = ringed(context)
    if found is None:
        return
    crown, places = found
    scale = ui_scale(context)
    for place in places:
        world = crown.matrix_world @ Vector(place.local)
        at = location_3d_to_region_2d(region_of(context), eye_of(context), world)
        if at is not None and _faces_eye(context, crown, place):
            captions.draw_words(place.words, at.x + 12 * scale, at.y + 8 * scale, scale)


def _faces_eye(context: bpy.types.Context, crown: bpy.types.Object, place: MarkedPlace) -> bool:
    """Tell whether the surface at a place looks towards the eye: else its ring is not seen."""
    found, _at, normal, _face = crown.closest_point_on_mesh(Vector(place.local))
    if not found:
        return False
    turned = crown.matrix_world.inverted_safe().transposed().to_3x3() @ normal
    towards: Any = eye_of(context).view_matrix.row[2].to_3d()
    return float(turned.dot(towards)) > 0.0
