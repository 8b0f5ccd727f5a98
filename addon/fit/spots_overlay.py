"""Draws the contact spots of a seated crown: rings that are seen through it, and their numbers."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.fit.settings import SeatSettings
from ..blender.session import eye_of, region_of, scene_of, settings_of, ui_scale, view_of
from ..check import store
from ..drawing import captions, circle, colour_map
from ..drawing.graphics import graphics
from . import fit_store, gap_map
from .crown_chosen import crown_of

RADIUS_MM = SeatSettings().patch_mm
"""Of a ring: that of the patches over which contacts are averaged."""

_handlers: list[Any] = []
_kept: list[tuple[str, list[Any]]] = []  # number of the fit drawn last, and its rings


def register() -> None:
    """Draw in every 3D view from now on; there is nothing to draw on without a window."""
    if not bpy.app.background:
        add = bpy.types.SpaceView3D.draw_handler_add
        _handlers.append(add(_draw_rings, (), "WINDOW", "POST_VIEW"))
        _handlers.append(add(_draw_numbers, (), "WINDOW", "POST_PIXEL"))


def unregister() -> None:
    """Stop drawing."""
    while _handlers:
        bpy.types.SpaceView3D.draw_handler_remove(_handlers.pop(), "WINDOW")
    _kept.clear()


def shown_crown(context: bpy.types.Context) -> bpy.types.Object | None:
    """Return the crown whose spots are drawn in the context's 3D view; None if none are.

    They are drawn while the crown is looked at as something that fits: on its die, or as a map.
    """
    scene, scan = scene_of(context), colour_map.selected_scan(scene_of(context))
    if not settings_of(context).fit.show_spots or not view_of(context).overlay.show_overlays:
        return None
    crown = crown_of(scene, scan)
    if crown is None or fit_store.fit_of(crown) is None or not store.is_in(crown, scene):
        return None
    coloured = settings_of(context).show_colours and gap_map.shown_crown(scene, scan) == crown
    if not (store.data_of(crown).fit.is_on_die or coloured):
        return None
    return crown if crown.visible_get(viewport=view_of(context)) else None


def rings_of(crown: bpy.types.Object, scene: bpy.types.Scene) -> list[np.ndarray]:
    """Return the rings about a crown's spots, (c, 3) each, in the crown's own coordinates."""
    kept = fit_store.fit_of(crown)
    try:
        radius = RADIUS_MM / fit_store.kept_frame(crown, scene).scale_mm
    except CuspwiseError:
        return []
    to_own = crown.matrix_world.inverted_safe()
    found = []
    for place in kept["spots_own"] if kept is not None else ():
        ring = circle.circle_on(crown, Vector(place), radius)
        if ring:
            found.append(np.array([to_own @ corner for corner in (*ring, ring[0])]))
    return found


def _draw_rings() -> None:
    context = bpy.context
    crown = shown_crown(context)
    if crown is None:
        return
    gpu = graphics()

    fit_id = store.data_of(crown).fit.fit_id
    if not _kept or _kept[0][0] != fit_id:
        rings = rings_of(crown, scene_of(context))
        if not rings:
            return  # till the length of a unit is known
        _kept[:] = [(fit_id, [circle.line_batch(ring.tolist()) for ring in rings])]
    scale = ui_scale(context)
    gpu.state.depth_test_set("NONE")
    with gpu.matrix.push_pop():
        gpu.matrix.multiply_matrix(crown.matrix_world)
        circle.draw_lines(_kept[0][1], circle.DARK, circle.RIM_WIDTH * scale)
        circle.draw_lines(_kept[0][1], circle.LIGHT, circle.LINE_WIDTH * scale)


def _draw_numbers() -> None:
    context = bpy.context
    crown = shown_crown(context)
    kept = fit_store.fit_of(crown)
    if crown is None or kept is None:
        return
    scale = ui_scale(context)
    for number, place in enumerate(kept["spots_own"], 1):
        world = crown.matrix_world @ Vector(place)
        at = location_3d_to_region_2d(region_of(context), eye_of(context), world)
        if at is not None:
            captions.draw_words(str(number), at.x + 10 * scale, at.y + 8 * scale, scale)
