"""Rings on a surface: drawn a little before it, hidden by what stands in front, as a rule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
from mathutils import Matrix

from ..blender.session import ui_scale
from . import circle, overlay
from .graphics import graphics

AHEAD = 0.1  # in steps of the areas' overlay: less than a wall is thick
Colour = tuple[float, float, float, float]


def draw(
    context: bpy.types.Context,
    obj: bpy.types.Object,
    rings: Sequence[tuple[Any, Colour]],
    *,
    through: bool = False,
) -> None:
    """Draw closed lines, in the world, on an object, each in its colour on a dark rim.

    ``through`` shows them also where something stands before them.
    """
    gpu, scale = graphics(), ui_scale(context)
    masked = gpu.state.depth_mask_get()
    gpu.state.depth_test_set("NONE" if through else "LESS_EQUAL")
    gpu.state.depth_mask_set(False)
    try:
        with overlay.placed(context, obj, Matrix(), AHEAD):
            circle.draw_lines([ring for ring, _ in rings], circle.DARK, circle.RIM_WIDTH * scale)
        with overlay.placed(context, obj, Matrix(), 1.5 * AHEAD):
            for ring, colour in rings:
                circle.draw_lines([ring], colour, circle.LINE_WIDTH * scale)
    finally:
        gpu.state.depth_mask_set(masked)
        gpu.state.depth_test_set("NONE")
