"""Lines and circles that lie on a surface, and how they are drawn in a 3D view."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import bpy
from mathutils import Vector

from ..blender.own_surface import Surface
from .graphics import batch_for, graphics

CORNERS = 48
DEPTH = 2.0  # how far a circle that is seen follows the surface, in radii
RIM_WIDTH, LINE_WIDTH = 5.0, 2.5
DARK, LIGHT = (0.0, 0.0, 0.0, 0.9), (1.0, 0.85, 0.2, 1.0)
FAINT = (1.0, 1.0, 1.0, 0.9)


def circle_on(obj: bpy.types.Object, centre: Vector, radius: float) -> list[Vector]:
    """Return a circle about a place of an object's surface, laid on it.

    Parameters
    ----------
    obj : bpy.types.Object
        A mesh.
    centre : mathutils.Vector
        In the object's own coordinates, on its surface.
    radius : float
        In units of the world.

    Returns
    -------
    list of mathutils.Vector
        Its corners in the world; none where the object has no surface.
    """
    surface = Surface(obj)
    nearest = surface.closest(centre)
    if nearest is None:
        return []
    to_world = obj.matrix_world
    to_local = to_world.inverted_safe()
    middle = to_world @ centre
    across = (to_local.transposed().to_3x3() @ nearest[1]).normalized()
    first: Any = across.orthogonal().normalized()
    second: Any = across.cross(first)
    corners = []
    for k in range(CORNERS):
        turn = 2.0 * math.pi * k / CORNERS
        beside = middle + radius * (math.cos(turn) * first + math.sin(turn) * second)
        nearest = surface.closest(to_local @ beside)
        if nearest is not None:
            corners.append(to_world @ nearest[0])
    return corners


def circle_seen(obj: bpy.types.Object, centre: Vector, radius: float, away: Vector) -> list[Vector]:
    """Return a circle about a place as it is seen from one side, laid on what is seen there.

    Unlike :func:`circle_on` it does not dive into a groove or round a wall, however large it is.

    Parameters
    ----------
    obj : bpy.types.Object
        A mesh.
    centre : mathutils.Vector
        In the object's own coordinates, on its surface.
    radius : float
        In units of the world.
    away : mathutils.Vector
        Towards the eye, a unit vector of the world.

    Returns
    -------
    list of mathutils.Vector
        Its corners in the world; beside the object, and where that falls off, in the plane
        through the place.
    """
    surface, to_world = Surface(obj), obj.matrix_world
    to_local = to_world.inverted_safe()
    way: Any = to_local.to_3x3() @ -away
    first: Any = away.orthogonal().normalized()
    second: Any = away.cross(first)
    corners = []
    for k in range(CORNERS):
        turn = 2.0 * math.pi * k / CORNERS
        beside = to_world @ centre + radius * (math.cos(turn) * first + math.sin(turn) * second)
        met = surface.met(to_local @ (beside + DEPTH * radius * away), way)
        near = met is not None and (to_world @ met - beside).length <= DEPTH * radius
        corners.append(to_world @ met if met is not None and near else beside)
    return corners


def draw_circles(
    circles: Iterable[Sequence[Vector]], colour: tuple[float, float, float, float], scale: float
) -> None:
    """Draw closed lines, dark beneath the colour so that they show on every surface."""
    closed = ([*corners, corners[0]] for corners in circles if len(corners) > 2)
    batches = [line_batch(corners) for corners in closed]
    draw_lines(batches, DARK, RIM_WIDTH * scale)
    draw_lines(batches, colour, LINE_WIDTH * scale)


def line_batch(points: Sequence[Any]) -> Any:
    """Return an open line, ready to be drawn by :func:`draw_lines`."""
    gpu = graphics()

    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    return batch_for(shader, "LINE_STRIP", {"pos": points})


def draw_lines(
    batches: Iterable[Any], colour: tuple[float, float, float, float], width: float
) -> None:
    """Draw lines of one colour, their width in pixels."""
    gpu = graphics()

    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width)
    shader.uniform_float("color", colour)
    gpu.state.blend_set("ALPHA")
    for batch in batches:
        batch.draw(shader)
    gpu.state.blend_set("NONE")
