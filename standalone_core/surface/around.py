"""The closest point among the faces around known ones: from face to face, with no search at all."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_matrix

from ..arrays import BoolArray, FloatArray, IntArray, ragged
from ..mesh.triangle_mesh import TriangleMesh
from .candidates import Rivals
from .exact import FaceFrames, FeatureArray
from .settle import settle

_MOST_STEPS = 6


class FeetAround(NamedTuple):
    """Feet of k points."""

    foot: FloatArray
    """(k, 3), mm."""
    signed_mm: FloatArray
    face: IntArray
    feature: FeatureArray
    settled: BoolArray
    """Where no face around the foot's own is nearer; elsewhere the steps did not suffice."""


class Surroundings:
    """Faces that share a corner with a face of a mesh.

    Parameters
    ----------
    mesh : TriangleMesh
    tolerance_mm : float
        Feet closer together than this are the same place.
    """

    def __init__(self, mesh: TriangleMesh, tolerance_mm: float) -> None:
        self.mesh, self.tolerance_mm = mesh, tolerance_mm

    def feet(self, points: FloatArray, faces: IntArray) -> FeetAround:
        """Go from faces (k,) to nearer ones around them, until none is nearer to points (k, 3)."""
        count = len(points)
        face, signed, feature = faces.copy(), np.empty(count), np.empty(count, dtype=np.int8)
        foot, settled = np.empty((count, 3)), np.zeros(count, dtype=bool)
        rows = np.arange(count)
        for _ in range(_MOST_STEPS):
            if not len(rows):
                break
            foot[rows], signed[rows], nearest, feature[rows] = self._step(points[rows], face[rows])
            settled[rows] = nearest == face[rows]
            face[rows] = nearest
            rows = rows[~settled[rows]]
        return FeetAround(foot, signed, face, feature, settled)

    def _step(
        self, points: FloatArray, faces: IntArray
    ) -> tuple[FloatArray, FloatArray, IntArray, FeatureArray]:
        """Closest among each face and those around it: foot, signed distance, face, feature."""
        row, around = self._around(faces)
        number, place = np.unique(np.concatenate([faces, around]), return_inverse=True)
        own, other = place[: len(faces)], place[len(faces) :]
        frames = FaceFrames.of(
            self.mesh.vertices.take(self.mesh.faces.take(number, axis=0), axis=0)
        )
        transposed = np.ascontiguousarray(points.T)
        guess = frames.feet(transposed, own.copy())
        rivals = Rivals(row, other)
        feet, foot, side = settle(transposed, guess, rivals, frames, number, self.tolerance_mm)
        face = number.take(feet.faces)
        return foot.T, side * np.sqrt(feet.squared), face, frames.features(feet)

    def _around(self, faces: IntArray) -> tuple[IntArray, IntArray]:
        """Rows of faces (k,), and the other faces at the three corners of each."""
        starts, at_corner = self._at_corners
        corner = self.mesh.faces.take(faces, axis=0).ravel()
        each, place = ragged(starts[corner + 1] - starts[corner])
        around, row = at_corner.take(starts[corner].take(each) + place), each // 3
        others = np.flatnonzero(around != faces.take(row))
        return row.take(others), around.take(others)

    @cached_property
    def _at_corners(self) -> tuple[IntArray, IntArray]:
        """Faces at each vertex, one vertex after the other: where each begins, (n + 1,); they."""
        count = len(self.mesh.faces)
        ends = np.arange(0, 3 * count + 1, 3)
        corners = self.mesh.faces.ravel()
        shape = count, len(self.mesh.vertices)
        by_face = csr_matrix((np.ones(3 * count, dtype=np.int8), corners, ends), shape=shape)
        by_vertex = by_face.tocsc()
        return by_vertex.indptr.astype(np.int64), by_vertex.indices.astype(np.int64)
