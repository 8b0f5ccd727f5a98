"""Points that lie over faces known beforehand: most need no search.

Where a point's foot on its known face lies inside that face, and no face across an edge can be
nearer (see :mod:`.bends`), this is the closest point of the surface about there. All other points
are searched for.
"""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray, IntArray
from ..progress import Progress, Steps
from .closest import ClosestPoints, SurfaceIndex

_NEAR_MM = 0.1
"""Points farther from their known face are searched for: another sheet may be nearer."""
_ON_SURFACE_MM = 1e-6
"""How far from the surface a place on it may lie by rounding."""


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

    @classmethod
    def at(cls, index: SurfaceIndex, places: FloatArray, max_distance_mm: float) -> KnownFaces:
        """Look up the faces that hold places (n, 3) on the surface; NaN where none is known."""
        face = np.full(len(places), -1)
        known = np.flatnonzero(np.isfinite(places[:, 0]))
        face[known] = index.closest(places[known], max_distance_mm=_ON_SURFACE_MM).face
        return cls(index, face, max_distance_mm)

    def taken(self, rows: IntArray) -> KnownFaces:
        """Some of the points."""
        return KnownFaces(self.index, self.face[rows], self.max_distance_mm)

    def closest_steps(
        self, points: FloatArray, *, label: str = "Measuring"
    ) -> Steps[ClosestPoints]:
        """Find signed closest points as :meth:`.closest.SurfaceIndex.closest` does, nearly."""
        yield Progress(label, 0.0)
        known = np.flatnonzero(self.face >= 0)
        near = min(self.max_distance_mm, _NEAR_MM)
        over = self.index.over_faces(points[known], self.face[known], near)
        searched = np.ones(len(points), dtype=bool)
        searched[known] = ~over.found
        rest = np.flatnonzero(searched)
        yield Progress(label, 0.3)
        limit = self.max_distance_mm
        others = self.index.closest(points[rest], max_distance_mm=limit, signed=True)
        found = ClosestPoints.unsettled(len(points), self.index, signed=True)
        found.put(known, over)
        found.put(rest, others)
        return found
