"""Draws the circles of support marks while the areas are not drawn, which show them too."""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Vector

from ..blender.session import scene_of, settings_of, view_of
from ..identifiers import OBJECT_PROPERTIES
from . import circle, overlay, rings

_handlers: list[Any] = []
_kept: list[tuple[Any, list[Any]]] = []  # of the design drawn last


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


def shown_design(context: bpy.types.Context) -> bpy.types.Object | None:
    """Return the design whose marks are ringed in the context's 3D view; None if none are."""
    settings, design = settings_of(context), settings_of(context).design
    if not settings.show_marks or settings.show_areas or design is None:
        return None
    if not getattr(design, OBJECT_PROPERTIES).mark_circles:
        return None
    shown: bool = view_of(context).overlay.show_overlays and overlay.is_in_view(context, design)
    return design if shown else None


def _draw() -> None:
    context = bpy.context
    design = shown_design(context)
    if design is None:
        return
    look = (*overlay.look_of(design), design.name_full, str(design.matrix_world))
    if not _kept or _kept[0][0] != look:
        to_world = design.matrix_world
        found = overlay.circles_of(design, scene_of(context), ())
        lines = [[to_world @ Vector(corner) for corner in ring.tolist()] for ring in found]
        _kept[:] = [(look, [circle.line_batch(line) for line in lines])]
    rings.draw(context, design, [(ring, circle.FAINT) for ring in _kept[0][1]])
