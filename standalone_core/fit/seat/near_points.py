"""Signed gaps from points of one body to the surface of another, measured again only where due.

The gap of a point changes by no more than the point moves, so a point whose gap was found is
measured again only once it could have come near.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...surface.closest import ClosestPoints, SurfaceIndex
from .motion import placed

WINDOW_MM = 3.0
"""Points farther than this from the other surface are only known to be that far."""

_TOUCHING_MM = 5e-6
"""Nearer than this to an edge or corner, the way to it is too short to give a direction."""


class NearPoints:
    """Points of one body and what is known of their gaps to the surface of another.

    Parameters
    ----------
    points : (n, 3) float
        In the frame of the first body, mm.
    index : SurfaceIndex
        Of the other body.
    against : (3,) float
        In the other body's frame: against the load on that body's surface.
    counted : (m,) bool, optional
        Faces of the other body that matter; a point whose nearest face is none of these is
        taken to be out of the window, as is one that lies beyond an open border.
    point_relief_mm : (n,) float, optional
        Added to the gaps: what is taken off at the points.
    surface_relief_mm : (k,) float, optional
        The same at the vertices of the other surface.
    """

    def __init__(
        self,
        points: FloatArray,
        index: SurfaceIndex,
        against: FloatArray,
        counted: BoolArray | None = None,
        *,
        point_relief_mm: FloatArray | None = None,
        surface_relief_mm: FloatArray | None = None,
    ) -> None:
        self.points = points
        self.index = index
        self.against = against
        self.counted = counted
        self.point_relief_mm = point_relief_mm
        self.surface_relief_mm = surface_relief_mm
        n = len(points)
        self.measured_at = np.zeros((n, 3))
        self.exact_mm = np.full(n, -np.inf)  # without relief: that changes from place to place
        self.gap_mm = np.zeros(n)
        self.direction = np.zeros((n, 3))
        self.queries = 0

    def at_least_mm(self, now: FloatArray, rows: IntArray) -> FloatArray:
        """What the gaps of some points are at least, (k,), from where these are now, (k, 3)."""
        moved = np.linalg.norm(now - self.measured_at[rows], axis=1)
        bound: FloatArray = self.exact_mm[rows] - moved
        return bound

    def refresh(self, motion: FloatArray, below_mm: float, rows: IntArray) -> BoolArray:
        """Measure those of some points that could be nearer than a length.

        Parameters
        ----------
        motion : (4, 4) float
            Takes the points' frame to the other body's.
        below_mm : float
        rows : (k,) int

        Returns
        -------
        (k,) bool
            Which these are: their gaps are now known, those of the others are not below.
        """
        now = placed(motion, self.points[rows])
        due: BoolArray = self.at_least_mm(now, rows) < below_mm
        stale = due & (now != self.measured_at[rows]).any(axis=1)
        self.measure(now[stale], rows[stale])
        return due

    def measure(self, now: FloatArray, rows: IntArray) -> None:
        """Measure the gaps of some points, which are now at (k, 3) in the other's frame."""
        if not len(rows):
            return
        self.queries += len(rows)
        found = self.index.closest(now, max_distance_mm=WINDOW_MM, signed=True)
        assert found.signed_mm is not None  # it was asked for
        known = found.found & ~found.on_border
        if self.counted is not None:
            known &= self.counted[found.face]
        self.measured_at[rows] = now
        self.exact_mm[rows] = np.where(known, found.signed_mm, WINDOW_MM)
        direction = np.zeros((len(rows), 3))
        direction[known] = self._directions(now, found, np.flatnonzero(known))
        self.direction[rows] = direction
        self.gap_mm[rows] = self.exact_mm[rows] + self._relief(rows, found, known)

    def _relief(self, rows: IntArray, found: ClosestPoints, known: BoolArray) -> FloatArray:
        relief = np.zeros(len(rows))
        if self.point_relief_mm is not None:
            relief += self.point_relief_mm[rows]
        if self.surface_relief_mm is not None:
            corners = self.surface_relief_mm[self.index.mesh.faces[found.face[known]]]
            relief[known] += np.einsum("ij,ij->i", found.barycentric[known], corners)
        return relief

    def _directions(self, now: FloatArray, found: ClosestPoints, rows: IntArray) -> FloatArray:
        """Unit gradients of the signed distance at some of the points, (k, 3).

        In a face its normal, which rounding does not touch; at an edge or a corner the way from
        the foot to the point. Where that is too short, the point is clear as soon as it is clear
        of one of the faces there: the normal of the one that looks most against the load.
        """
        mesh, feature, face = self.index.mesh, found.feature[rows], found.face[rows]
        assert found.signed_mm is not None
        direction = mesh.face_normals[face]
        rim = np.flatnonzero(feature)
        signed = found.signed_mm[rows[rim]]
        away = np.abs(signed) > _TOUCHING_MM
        far = rim[away]
        direction[far] = (now[rows[far]] - found.foot[rows[far]]) / signed[away, None]
        for k in rim[~away].tolist():
            around = self._faces_at(int(face[k]), int(feature[k]))
            normals = mesh.face_normals[around]
            direction[k] = normals[np.argmax(normals @ self.against)]
        return direction

    def _faces_at(self, face: int, feature: int) -> IntArray:
        """Faces with an area that share an edge or corner of a face."""
        mesh = self.index.mesh
        corners = mesh.faces[face]
        starts, faces = self._faces_by_corner
        first = corners[(feature - 1) % 3]
        around = faces[starts[first] : starts[first + 1]]
        if feature < 4:
            second = corners[feature % 3]
            around = around[(mesh.faces[around] == second).any(axis=1)]
        return around[mesh.face_areas[around] > 0]

    @cached_property
    def _faces_by_corner(self) -> tuple[IntArray, IntArray]:
        """Where the faces of each vertex start, (k + 1,), in a list of faces, (3 m,)."""
        corner = self.index.mesh.faces.ravel()
        order = np.argsort(corner, kind="stable")
        starts = np.searchsorted(corner[order], np.arange(len(self.index.mesh.vertices) + 1))
        return starts, order // 3
