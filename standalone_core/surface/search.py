"""Which faces can hold the closest point: balls around faces, found through a KD-tree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from ..mesh.triangle_mesh import FloatArray, IntArray, TriangleMesh

_PAIRS_AT_ONCE = 1_000_000


@dataclass(frozen=True)
class Pairs:
    """Points and faces to be compared exactly, sorted by point, then face."""

    point: IntArray
    face: IntArray


class FaceBalls:
    """A ball around each face."""

    def __init__(self, mesh: TriangleMesh) -> None:
        self.centre = mesh.triangles.mean(axis=1)
        away = mesh.triangles - self.centre[:, None]
        self.radius = np.sqrt(np.einsum("fki,fki->fk", away, away).max(axis=1))
        self.tree = cKDTree(self.centre)

    def pairs(self, points: FloatArray, bound: FloatArray) -> Iterator[Pairs]:
        """All faces whose ball comes within ``bound`` (n,) of each point, in batches."""
        reach = bound + self.radius.max()
        count = self.tree.query_ball_point(points, reach, return_length=True)
        ends = np.cumsum(count)
        start = 0
        while start < len(points):
            spent = ends[start - 1] if start else 0
            stop = int(np.searchsorted(ends, spent + _PAIRS_AT_ONCE, side="right"))
            stop = max(stop, start + 1)
            near = self.tree.query_ball_point(
                points[start:stop], reach[start:stop], return_sorted=True
            )
            point = np.repeat(np.arange(start, stop), count[start:stop])
            face = np.concatenate([np.asarray(each, dtype=np.int64) for each in near])
            gap = np.linalg.norm(points[point] - self.centre[face], axis=1) - self.radius[face]
            kept = gap <= bound[point]
            yield Pairs(point[kept], face[kept])
            start = stop
