"""Rings the place that is looked at."""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Vector

from ..blender.session import scene_of, view_of
from . import circle, looking, rings

_handlers: list[Any] = []
_kept: list[tuple[Any, list[Any]]] = []  # of the place drawn last


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


def shown_place(context: bpy.types.Context) -> Any:
    """Return the place that is ringed in the context's 3D view; None if none is."""
    place = looking.place_of(scene_of(context))
    if place is None or not view_of(context).overlay.show_overlays:
        return None
    return place if place.obj.visible_get(viewport=view_of(context)) else None


def ring_of(place: Any) -> list[Vector]:
    """Return the ring about a place as a closed line in the world."""
    away: Any = place.obj.matrix_world.to_3x3() @ Vector(place.away)
    middle = Vector(place.local)
    corners = circle.circle_seen(place.obj, middle, place.radius, away.normalized())
    return [*corners, corners[0]]


def _draw() -> None:
    context = bpy.context
    place = shown_place(context)
    if place is None:
        return
    where = (tuple(place.local), tuple(place.away), place.radius)
    look = (place.obj.name_full, str(place.obj.matrix_world), *where)
    if not _kept or _kept[0][0] != look:
        _kept[:] = [(look, [circle.line_batch(ring_of(place))])]
    shown = [(ring, circle.LIGHT) for ring in _kept[0][1]]
    rings.draw(context, place.obj, shown, through=place.through)
