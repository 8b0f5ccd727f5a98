"""Crowns meshed like a lathe piece: rows around, whose triangles are long, and two fans."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

Points = Callable[[np.ndarray, np.ndarray], np.ndarray]
CROWDING = 3.0
"""Rows at the margin lie about ten times as close as those at the poles."""


def lathe_mesh(points: Points, theta: np.ndarray, s: np.ndarray, name: str) -> TriangleMesh:
    """Rows at ``s``, the first and last of which are the poles; in each row points at ``theta``."""
    turns, rows = len(theta), len(s) - 2
    grid = np.meshgrid(theta, s[1:-1])
    poles = np.zeros(2), s[[0, -1]]
    vertices = points(np.append(grid[0], poles[0]), np.append(grid[1], poles[1])).reshape(-1, 3)
    this = np.arange(turns) + turns * np.arange(rows - 1)[:, None]
    after = np.roll(this, -1, axis=1)
    first, last = np.arange(turns), np.arange(turns) + turns * (rows - 1)
    faces = [
        np.stack([this, after, after + turns], axis=-1).reshape(-1, 3),
        np.stack([this, after + turns, this + turns], axis=-1).reshape(-1, 3),
        np.stack([np.full(turns, turns * rows), np.roll(first, -1), first], axis=-1),
        np.stack([np.full(turns, turns * rows + 1), last, np.roll(last, -1)], axis=-1),
    ]
    mesh = TriangleMesh(vertices, np.concatenate(faces), name)
    return mesh if mesh.volume_mm3 > 0 else mesh.flipped()


def crowded_rows(
    shape: CrownShape, points: Points, turns: int, rows: int, turn: float = 0.0
) -> TriangleMesh:
    """Mesh a crown with its rows crowded at the margin line, one of them on it."""
    low, high = shape.intaglio_length_mm, shape.external_length_mm
    inside = round(rows * low / (low + high))
    share = np.concatenate(
        [np.linspace(-1, 0, inside + 1), np.linspace(0, 1, rows - inside + 2)[1:]]
    )
    s = np.sinh(CROWDING * share) / np.sinh(CROWDING) * np.where(share < 0, low, high)
    theta = turn + 2.0 * np.pi * np.arange(turns) / turns
    return lathe_mesh(points, theta, s, "crowded rows")
