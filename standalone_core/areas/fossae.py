"""Fossae: the concave places of the occlusal surface."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.triangle_mesh import TriangleMesh

_GRID_MM = 0.07  # lets the ball rest up to 2 µm too high on average
_DEEP = -1e3  # height where there is no surface; a ball falls through


def fossa_points(
    mesh: TriangleMesh,
    occlusal: BoolArray,
    external: BoolArray,
    axis: FloatArray,
    *,
    ball_radius_mm: float,
    gap_mm: float,
) -> BoolArray:
    """Find where a ball let down from occlusal cannot touch the occlusal surface.

    The external surface is read as heights over the plane across the path of insertion and
    closed by a ball (grey-scale closing, Serra 1982): the closed heights are what the ball's
    underside can reach. Fossae and fissures are the occlusal places that they stay above.

    Parameters
    ----------
    mesh : TriangleMesh
        The evaluation mesh.
    occlusal, external : (n',) bool
        Points where fossae are sought; points that the ball may rest on.
    axis : (3,) float
        Path of insertion.
    ball_radius_mm : float
    gap_mm : float
        Height of the ball above the surface from which on a point counts.

    Returns
    -------
    (n',) bool
    """
    found = np.zeros(len(occlusal), dtype=bool)
    if not occlusal.any():
        return found
    cells, heights = _on_own_axes(mesh.vertices, occlusal, axis)
    low, high = _reach(cells[occlusal], cells[external], ball_radius_mm / _GRID_MM)
    cells = cells - low
    a, b, c = (external[mesh.faces[:, k]] for k in range(3))
    faces = mesh.faces[a & b & c & (mesh.face_normals @ axis > 0)]
    grid = _height_grid(cells, heights, faces, (high - low + 1).astype(np.int64))
    closed = _closed_by_ball(grid, ball_radius_mm)
    gap = np.where(grid > _DEEP / 2, closed - grid, 0.0)
    found[occlusal] = _between_nodes(gap, cells[occlusal]) > gap_mm
    return found


def _on_own_axes(
    points: FloatArray, occlusal: BoolArray, axis: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Places across the axis in grid steps, (n, 2), and heights along it, (n,), mm.

    Origin and directions are the occlusal surface's own, so that a turned copy of a design
    meets the grid in the same way.
    """
    arms = points - points[occlusal].mean(axis=0)
    heights = arms @ axis
    flat = arms - heights[:, None] * axis
    _, directions = np.linalg.eigh(flat[occlusal].T @ flat[occlusal])
    across = directions[:, :0:-1]  # the two widest
    across = across * np.sign(np.sum((flat[occlusal] @ across) ** 3, axis=0) + 1e-300)
    return flat @ across / _GRID_MM, heights


def _reach(
    occlusal: FloatArray, external: FloatArray, radius: float
) -> tuple[FloatArray, FloatArray]:
    """First and last grid lines that matter, (2,) each.

    Balls over occlusal places are centred up to a radius away and rest on external places up
    to a radius farther.
    """
    inner = occlusal.min(axis=0) - radius, occlusal.max(axis=0) + radius
    low = np.minimum(inner[0], np.maximum(external.min(axis=0), inner[0] - radius))
    high = np.maximum(inner[1], np.minimum(external.max(axis=0), inner[1] + radius))
    return np.floor(low), np.ceil(high)


def _height_grid(
    cells: FloatArray, heights: FloatArray, faces: IntArray, shape: IntArray
) -> FloatArray:
    """Highest surface at each node of a grid, by linear interpolation in the faces."""
    a, b, c = (cells[faces[:, k]] for k in range(3))
    low = np.ceil(np.minimum(np.minimum(a, b), c)).astype(np.int64)
    high = np.floor(np.maximum(np.maximum(a, b), c)).astype(np.int64)
    double = _turn(b - a, c - a)
    grid = np.full(tuple(shape), _DEEP)
    span = np.maximum(high - low + 1, 0)
    for step_x in range(int(span[:, 0].max(initial=0))):
        for step_y in range(int(span[:, 1].max(initial=0))):
            on = np.flatnonzero((span[:, 0] > step_x) & (span[:, 1] > step_y) & (double != 0))
            node = low[on] + (step_x, step_y)
            share_b = _turn(node - a[on], c[on] - a[on]) / double[on]
            share_c = _turn(b[on] - a[on], node - a[on]) / double[on]
            inside = (share_b >= -1e-9) & (share_c >= -1e-9) & (share_b + share_c <= 1 + 1e-9)
            inside &= ((node >= 0) & (node < shape)).all(axis=1)
            corner = heights[faces[on[inside]]]
            height = corner[:, 0] + share_b[inside] * (corner[:, 1] - corner[:, 0])
            height += share_c[inside] * (corner[:, 2] - corner[:, 0])
            order = np.argsort(height, kind="stable")  # the last write, the highest, stays
            spot = tuple(node[inside][order].T)
            grid[spot] = np.maximum(grid[spot], height[order])
    return grid


def _between_nodes(grid: FloatArray, places: FloatArray) -> FloatArray:
    """Values of a grid at places (k, 2) in grid steps, all inside it: bilinear interpolation."""
    low = np.clip(np.floor(places).astype(np.int64), 0, np.array(grid.shape) - 2)
    (x, y), (s, t) = low.T, (places - low).T
    near = (1.0 - t) * grid[x, y] + t * grid[x, y + 1]
    far = (1.0 - t) * grid[x + 1, y] + t * grid[x + 1, y + 1]
    between: FloatArray = (1.0 - s) * near + s * far
    return between


def _turn(u: FloatArray, v: FloatArray) -> FloatArray:
    cross: FloatArray = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return cross


def _closed_by_ball(grid: FloatArray, radius_mm: float) -> FloatArray:
    """Heights that the underside of a ball reaches: dilation and erosion by the ball.

    One shifted copy of the grid per place under the ball, in float32: a nanometre is enough,
    and the grid stays in the processor's cache.
    """
    reach = int(radius_mm / _GRID_MM)
    steps = np.arange(-reach, reach + 1)
    square = (radius_mm / _GRID_MM) ** 2 - steps[:, None] ** 2 - steps[None, :] ** 2
    drops = radius_mm - np.sqrt(np.maximum(square, 0.0)) * _GRID_MM
    under = [(int(i), int(j), np.float32(drops[i, j])) for i, j in np.argwhere(square >= 0)]
    n, m = grid.shape
    wide = np.full((n + 2 * reach, m + 2 * reach), _DEEP, dtype=np.float32)
    wide[reach : reach + n, reach : reach + m] = grid
    centres = np.full((n, m), _DEEP, dtype=np.float32)
    shifted = np.empty_like(centres)
    for i, j, drop in under:
        np.subtract(wide[i : i + n, j : j + m], drop, out=shifted)
        np.maximum(centres, shifted, out=centres)
    wide[:] = -np.float32(_DEEP)
    wide[reach : reach + n, reach : reach + m] = centres
    closed = np.full((n, m), -_DEEP, dtype=np.float32)
    for i, j, drop in under:
        np.add(wide[i : i + n, j : j + m], drop, out=shifted)
        np.minimum(closed, shifted, out=closed)
    return closed.astype(np.float64)
