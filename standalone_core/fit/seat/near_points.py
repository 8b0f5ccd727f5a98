"""Signed gaps from points of one body to the surface of another, measured again only where due.

The gap of a point changes by no more than the point moves, so a point whose gap was found is
measured again only once it could have come near.
"""

from __future__ import annotations

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray, ragged
from ...surface.closest import SurfaceIndex
from .facets import SHARP_DEG, Facets, on_rim
from .motion import placed

WINDOW_MM = 3.0
"""Points farther than this from the other surface are only known to be that far."""

_TOUCHING_MM = 5e-6
"""Nearer than this to an edge or corner, the way to it is too short to give a direction."""

_TURNS = 2.0 * float(np.sin(0.5 * np.deg2rad(SHARP_DEG)))
"""Length of the difference of two unit vectors that far apart."""


class NearPoints:
    """Points of one body and what is known of their gaps to the surface of another.

    Parameters
    ----------
    points : (n, 3) float
        In the frame of the first body, mm.
    index : SurfaceIndex
        Of the other body.
    facets : Facets
        Of its mesh.
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
        facets: Facets,
        against: FloatArray,
        counted: BoolArray | None = None,
        *,
        point_relief_mm: FloatArray | None = None,
        surface_relief_mm: FloatArray | None = None,
    ) -> None:
        self.points = points
        self.index = index
        self.against = against
        self.facets = facets
        self.counted = counted
        self.point_relief_mm = point_relief_mm
        self.surface_relief_mm = surface_relief_mm
        n = len(points)
        self.measured_at = np.zeros((n, 3))
        self.known = np.zeros(n, dtype=bool)
        self.exact_mm = np.full(n, -np.inf)  # to the triangles, without relief
        self.gap_mm = np.zeros(n)
        self.direction = np.zeros((n, 3))
        self.smooth = np.zeros(n, dtype=bool)  # no sharp edge is near the foot
        self.queries = 0

    def at_least_mm(self, now: FloatArray, rows: IntArray, *, likely: bool = False) -> FloatArray:
        """What the gaps of some points are at least, (k,), from where these are now, (k, 3).

        No gap changes by more than its point moves. ``likely`` takes it that over a smooth place,
        the surface turns by no more than ``SHARP_DEG`` on the way of the foot.
        """
        moved = now - self.measured_at[rows]
        change = -np.linalg.norm(moved, axis=1)
        if likely:
            along = np.einsum("ki,ki->k", moved, self.direction[rows]) + _TURNS * change
            change = np.where(self.smooth[rows], np.maximum(along, change), change)
        bound: FloatArray = self.exact_mm[rows] + change
        return bound

    def refresh(
        self, motion: FloatArray, below_mm: float, rows: IntArray, *, likely: bool = False
    ) -> BoolArray:
        """Measure those of some points that could be nearer than a length.

        Parameters
        ----------
        motion : (4, 4) float
            Takes the points' frame to the other body's.
        below_mm : float
        rows : (k,) int
        likely : bool
            Judge that as :meth:`at_least_mm` does.

        Returns
        -------
        (k,) bool
            Which these are: their gaps are now known, those of the others are not below.
        """
        now = placed(motion, self.points[rows])
        least = self.at_least_mm(now, rows, likely=likely)
        due: BoolArray = least < below_mm + self.facets.most_mm
        moved = due & (now != self.measured_at[rows]).any(axis=1)
        self.measure(now[moved], rows[moved])
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
        exact = np.where(found.found, found.signed_mm, WINDOW_MM)
        # A side that is told wrongly shows by a gap that has changed more than its point moved.
        wrong = known & self.known[rows] & (exact < self.at_least_mm(now, rows) - _TOUCHING_MM)
        exact = np.where(wrong | ~known, np.abs(exact), exact)
        self.known[rows], self.measured_at[rows], self.exact_mm[rows] = known, now, exact
        direction, gap = np.zeros((len(rows), 3)), np.full(len(rows), WINDOW_MM)
        on = np.flatnonzero(known)
        face, weights = found.face[on], found.barycentric[on]
        direction[on] = self._directions(now[on], found.foot[on], exact[on], face, weights)
        gap[on] = exact[on] - self.facets.above_mm(face, weights)
        gap[on] += self._relief(rows[on], face, weights)
        self.direction[rows], self.gap_mm[rows] = direction, gap
        self.smooth[rows] = known & ~self.facets.sharp[found.face]

    def _relief(self, rows: IntArray, face: IntArray, weights: FloatArray) -> FloatArray:
        relief = np.zeros(len(rows))
        if self.point_relief_mm is not None:
            relief += self.point_relief_mm[rows]
        if self.surface_relief_mm is not None:
            corners = self.surface_relief_mm[self.index.mesh.faces[face]]
            relief += np.einsum("ij,ij->i", weights, corners)
        return relief

    def _directions(
        self,
        now: FloatArray,
        foot: FloatArray,
        signed: FloatArray,
        face: IntArray,
        weights: FloatArray,
    ) -> FloatArray:
        """Unit gradients of the gap at points (k, 3), (k, 3).

        The normal of the surface at the foot; beside a sharp edge or corner the way from the foot
        to the point. Where that is too short, the point is clear as soon as it is clear of one of
        the faces there: the normal of the one that looks most against the load.
        """
        direction = self.facets.normals(face, weights)
        sharp = self.facets.sharp[face] & on_rim(weights)
        touching = np.abs(signed) <= _TOUCHING_MM
        far = np.flatnonzero(sharp & ~touching)
        direction[far] = (now[far] - foot[far]) / signed[far, None]
        near = np.flatnonzero(touching & self.facets.sharp[face])
        chosen = self._against_load(face[near], foot[near])
        moved = chosen != face[near]
        direction[near[moved]] = self.index.mesh.face_normals[chosen[moved]]
        return direction

    def _against_load(self, face: IntArray, places: FloatArray) -> IntArray:
        """Of the faces around places on faces, (k,), the one that looks most against the load.

        Whether a place lies on an edge or corner is known to ``_TOUCHING_MM`` only.
        """
        mesh = self.index.mesh
        rows = np.arange(len(face))
        triangle = mesh.triangles[face]
        arms, sides = places[:, None] - triangle, np.roll(triangle, -1, axis=1) - triangle
        at_corner = np.linalg.norm(arms, axis=2) <= _TOUCHING_MM
        off = np.linalg.norm(np.cross(arms, sides), axis=2)
        on_side = off <= _TOUCHING_MM * np.linalg.norm(sides, axis=2)
        is_corner, is_side = at_corner.any(axis=1), on_side.any(axis=1)
        first = np.where(is_corner, at_corner.argmax(axis=1), on_side.argmax(axis=1))
        second = mesh.faces[face, (first + 1) % 3]
        starts, sides_around = self.facets.sides_by_corner
        begin = starts[mesh.faces[face, first]]
        row, place = ragged(starts[mesh.faces[face, first] + 1] - begin)
        around = sides_around[begin[row] + place] // 3
        fits = (mesh.faces[around] == second[row, None]).any(axis=1) & is_side[row]
        fits = (fits | is_corner[row]) & (mesh.face_areas[around] > 0)
        row = np.concatenate([rows, row[fits]])
        around = np.concatenate([face, around[fits]])
        order = np.lexsort([-(mesh.face_normals[around] @ self.against), row])
        return around[order][np.searchsorted(row[order], rows)]
