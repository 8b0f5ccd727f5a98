"""Points that lie over faces known beforehand: most need no search.

Where a point's foot on its known face lies inside that face, and no face across an edge can be
nearer (see :mod:`.bends`), this is the closest point of the surface about there. All other points
are searched for.
"""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.morton import curve_order
from ..mesh.triangle_mesh import TriangleMesh
from ..progress import Progress, Steps
from .bends import face_bends
from .closest import ClosestPoints, SurfaceIndex

_NEAR_MM = 0.03
"""Points farther from their known face are searched for: beside a sharp rim its other side may be
nearer. Ours, no source."""


class _Prisms(NamedTuple):
    """The space over faces (k,), coordinate by coordinate for speed.

    A place p lies at the height n·(p − a) over its face, and as far within edge j as
    w_j·(p − a) + s_j.
    """

    anchor: FloatArray
    """a: the first corners, (3, k), mm."""
    normal: FloatArray
    """n, (3, k)."""
    inwards: FloatArray
    """w: in the face, square to edge j, (j, 3, k)."""
    offset: FloatArray
    """s of the second edge, the one that does not end in the first corner, (k,), mm."""
    bends: FloatArray
    """How the surface bends over edge j, (j, k)."""

    @classmethod
    def over(cls, mesh: TriangleMesh, faces: IntArray) -> _Prisms:
        """Make those over some faces of a mesh; what has no area has nothing over it."""
        corners = mesh.vertices.take(mesh.faces.take(faces, axis=0).T, axis=0).transpose(0, 2, 1)
        normal = np.ascontiguousarray(mesh.face_normals.take(faces, axis=0).T)
        inwards = np.empty((3, 3, len(faces)))
        for edge in range(3):
            along = corners[(edge + 1) % 3] - corners[edge]
            for i in range(3):
                j, k = (i + 1) % 3, (i + 2) % 3
                inwards[edge, i] = normal[j] * along[k] - normal[k] * along[j]
            inwards[edge] /= np.maximum(np.sqrt(_dot(inwards[edge], inwards[edge])), 1e-300)
        anchor = np.ascontiguousarray(corners[0])
        offset = _dot(inwards[1], anchor - corners[1])
        bends = np.ascontiguousarray(face_bends(mesh).take(faces, axis=0).T)
        return cls(anchor, normal, inwards, offset, bends)

    def holds(self, points: FloatArray) -> tuple[BoolArray, FloatArray]:
        """Whether points (3, k) lie over their faces, no other across an edge nearer; heights."""
        away = points - self.anchor
        height = _dot(self.normal, away)
        inside = np.ones(len(height), dtype=bool)
        for edge in range(3):
            within = _dot(self.inwards[edge], away)
            if edge == 1:
                within += self.offset
            inside &= within > 0.0
            inside &= within >= height * self.bends[edge]
        return inside, height


class KnownFaces:
    """Points (n,) and the faces of a surface that they probably lie over.

    Attributes
    ----------
    index : SurfaceIndex
    face : (n,) int
        The face, or −1 where none is known.
    max_distance_mm : float
        Points farther than this from the surface get no foot.
    """

    def __init__(self, index: SurfaceIndex, face: IntArray, max_distance_mm: float) -> None:
        self.index, self.face, self.max_distance_mm = index, face, max_distance_mm
        self.rows = np.flatnonzero(face >= 0)
        """Those of which a face is known, (k,)."""

    @cached_property
    def _prisms(self) -> _Prisms:
        return _Prisms.over(self.index.mesh, self.face[self.rows])

    @cached_property
    def order(self) -> IntArray:
        """Those of which a face is known, along a space-filling curve, (k,)."""
        return self.rows[curve_order(self._prisms.anchor.T)]

    def planes(self, rows: IntArray) -> tuple[FloatArray, FloatArray]:
        """A place on, and the normal of, the faces known of some points, (k, 3) each."""
        prisms = self._prisms
        place = np.searchsorted(self.rows, rows)
        return prisms.anchor.take(place, axis=1).T, prisms.normal.take(place, axis=1).T

    def closest_steps(
        self, points: FloatArray, *, label: str = "Measuring"
    ) -> Steps[ClosestPoints]:
        """Find signed closest points as :meth:`.closest.SurfaceIndex.closest` does, nearly."""
        yield Progress(label, 0.0)
        found = ClosestPoints.unsettled(len(points), self.index, signed=True)
        assert found.signed_mm is not None  # asked for
        near = min(self.max_distance_mm, _NEAR_MM)
        here = np.ascontiguousarray((points if self._all_known else points[self.rows]).T)
        over, height = self._prisms.holds(here)
        over &= np.abs(height) <= near
        self._put(found, here, height)
        searched = np.ones(len(points), dtype=bool)
        searched[self.rows] = ~over
        rest = np.flatnonzero(searched)
        yield Progress(label, 0.3)
        if len(rest):
            limit = self.max_distance_mm
            others = self.index.closest(points[rest], max_distance_mm=limit, signed=True)
            found.put(rest, others)
        return found

    @property
    def _all_known(self) -> bool:
        return len(self.rows) == len(self.face)

    def _put(self, found: ClosestPoints, here: FloatArray, height: FloatArray) -> None:
        """Write the feet of points (3, k) at a height over their known faces."""
        assert found.signed_mm is not None  # asked for
        rows = slice(None) if self._all_known else self.rows
        found.foot[rows] = (here - height * self._prisms.normal).T
        found.signed_mm[rows], found.distance_mm[rows] = height, np.abs(height)
        found.face[rows], found.feature[rows] = self.face[rows], 0


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    dot: FloatArray = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return dot
