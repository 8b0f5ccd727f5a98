"""Fossae: the concave places of the occlusal surface."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.ndimage import grey_closing, map_coordinates

from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray, TriangleMesh

_GRID_MM = 0.07  # lets the ball rest up to 2 µm too high on average
_DEEP = -1e3  # height where there is no surface; a ball falls through


def fossa_points(
    mesh: TriangleMesh,
    occlusal: BoolArray,
    axis: FloatArray,
    *,
    ball_radius_mm: float,
    gap_mm: float,
) -> BoolArray:
    """Find where a ball let down from occlusal cannot touch the occlusal surface.

    The surface is read as heights over the plane across the path of insertion and closed by a
    ball (grey-scale closing, Serra 1982): the closed heights are what the ball's underside can
    reach. Fossae and fissures are where they stay above the surface.

    Parameters
    ----------
    mesh : TriangleMesh
        The evaluation mesh.
    occlusal : (n',) bool
        Occlusal points.
    axis : (3,) float
        Path of insertion.
    ball_radius_mm : float
    gap_mm : float
        Height of the ball above the surface from which on a point counts.

    Returns
    -------
    (n',) bool
    """
    faces = mesh.faces[occlusal[mesh.faces].all(axis=1)]
    if not len(faces):
        return np.zeros(len(occlusal), dtype=bool)
    across = plane_directions(axis)
    places = mesh.vertices @ across.T
    heights = mesh.vertices @ axis
    corner = places[occlusal].min(axis=0) - ball_radius_mm
    cells = (places - corner) / _GRID_MM
    top = np.ceil(cells[occlusal].max(axis=0) + ball_radius_mm / _GRID_MM).astype(int)
    grid = _height_grid(cells, heights, faces, (int(top[0]) + 1, int(top[1]) + 1))
    ball: Any = _ball(ball_radius_mm)
    inside: Any = ball > _DEEP / 2
    closed: FloatArray = grey_closing(grid, footprint=inside, structure=ball, mode="nearest")
    gap = np.where(grid > _DEEP / 2, closed - grid, 0.0)
    found = np.zeros(len(occlusal), dtype=bool)
    found[occlusal] = map_coordinates(gap, cells[occlusal].T, order=1) > gap_mm
    return found


def plane_directions(axis: FloatArray) -> FloatArray:
    """Two unit directions across an axis, (2, 3), right-handed with it."""
    helper = np.eye(3)[int(np.abs(axis).argmin())]
    first = np.cross(axis, helper)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(axis, first)])


def _height_grid(
    cells: FloatArray, heights: FloatArray, faces: IntArray, shape: tuple[int, int]
) -> FloatArray:
    """Highest surface at each node of a grid, by linear interpolation in the faces."""
    a, b, c = (cells[faces[:, k]] for k in range(3))
    low = np.ceil(np.minimum(np.minimum(a, b), c)).astype(np.int64)
    high = np.floor(np.maximum(np.maximum(a, b), c)).astype(np.int64)
    double = _turn(b - a, c - a)
    grid = np.full(shape, _DEEP)
    span = np.maximum(high - low + 1, 0)
    for step_x in range(int(span[:, 0].max(initial=0))):
        for step_y in range(int(span[:, 1].max(initial=0))):
            on = np.flatnonzero((span[:, 0] > step_x) & (span[:, 1] > step_y) & (double != 0))
            node = low[on] + (step_x, step_y)
            share_b = _turn(node - a[on], c[on] - a[on]) / double[on]
            share_c = _turn(b[on] - a[on], node - a[on]) / double[on]
            inside = (share_b >= -1e-9) & (share_c >= -1e-9) & (share_b + share_c <= 1 + 1e-9)
            corner = heights[faces[on[inside]]]
            height = corner[:, 0] + share_b[inside] * (corner[:, 1] - corner[:, 0])
            height += share_c[inside] * (corner[:, 2] - corner[:, 0])
            order = np.argsort(height, kind="stable")  # the last write, the highest, stays
            spot = tuple(node[inside][order].T)
            grid[spot] = np.maximum(grid[spot], height[order])
    return grid


def _turn(u: FloatArray, v: FloatArray) -> FloatArray:
    cross: FloatArray = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return cross


def _ball(radius_mm: float) -> FloatArray:
    """Underside of a ball as a structuring element: heights below its top, (k, k)."""
    reach = int(radius_mm / _GRID_MM)
    steps = np.arange(-reach, reach + 1) * _GRID_MM
    square = radius_mm**2 - steps[:, None] ** 2 - steps[None, :] ** 2
    return np.where(square >= 0, np.sqrt(np.maximum(square, 0.0)) - radius_mm, _DEEP)
