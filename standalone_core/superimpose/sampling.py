"""Points spread evenly over a surface, or picked evenly from given points, without randomness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray, IntArray
from ..mesh.morton import curve_order
from ..mesh.triangle_mesh import TriangleMesh

_R2 = np.array([0.7548776662466927, 0.5698402909980532])
"""Steps of the plane's low-discrepancy sequence: 1/p and 1/p² of the root of p³ = p + 1."""


@dataclass(frozen=True)
class SurfaceSamples:
    """Points spread over a surface, each standing for the same area.

    Attributes
    ----------
    points : (n, 3) ndarray
        mm.
    normals : (n, 3) ndarray
        Unit normals of the faces they lie on.
    faces : (n,) ndarray
        Those faces.
    """

    points: FloatArray
    normals: FloatArray
    faces: IntArray

    def __len__(self) -> int:
        """Count of samples."""
        return len(self.points)

    def every(self, count: int) -> SurfaceSamples:
        """About ``count`` of the samples, still evenly spread."""
        pick = evenly_picked(len(self), count)
        return SurfaceSamples(self.points[pick], self.normals[pick], self.faces[pick])


def evenly_picked(total: int, count: int) -> IntArray:
    """``count`` indices spread evenly over ``range(total)``; all of them if there are fewer."""
    if count >= total:
        return np.arange(total)
    return ((np.arange(count) + 0.5) * (total / count)).astype(np.int64)


def surface_samples(mesh: TriangleMesh, count: int) -> SurfaceSamples:
    """Spread ``count`` points over a mesh, evenly by area.

    Faces are lined up along a space-filling curve and cut into ``count`` equal areas; within its
    face each point follows a low-discrepancy sequence. The same mesh gives the same points.
    """
    order = curve_order(mesh.vertices[mesh.faces[:, 0]])
    reached = np.cumsum(mesh.face_areas[order])
    marks = (np.arange(count) + 0.5) * (reached[-1] / count)
    face = order[np.minimum(np.searchsorted(reached, marks), len(order) - 1)]
    u, v = np.modf(0.5 + np.arange(1, count + 1)[:, None] * _R2)[0].T
    fold = u + v > 1.0
    u, v = np.where(fold, 1.0 - u, u), np.where(fold, 1.0 - v, v)
    corners = mesh.vertices[mesh.faces[face]]
    weights = np.stack([1.0 - u - v, u, v], axis=1)
    points = np.einsum("nk,nkd->nd", weights, corners)
    return SurfaceSamples(points, mesh.face_normals[face], face)


def thinned(weights: FloatArray, order: IntArray, count: int) -> IntArray:
    """Pick about ``count`` points so that each stands for the same share of the weight.

    Along a space-filling curve (``order``, from :func:`~..mesh.morton.curve_order`) the weights
    are cut into ``count`` equal parts and the point at the middle of each is taken. A point
    heavier than a part is picked more than once.

    Returns
    -------
    (count,) ndarray of int
        Indices, in the curve's order.
    """
    reached = np.cumsum(weights[order])
    marks = (np.arange(count) + 0.5) * (reached[-1] / count)
    picked: IntArray = order[np.minimum(np.searchsorted(reached, marks), len(order) - 1)]
    return picked
