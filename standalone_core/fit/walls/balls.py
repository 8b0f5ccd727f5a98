"""The largest balls in the material that touch a place of its surface."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy.spatial import cKDTree

from ...arrays import FloatArray, IntArray, ragged
from ...mesh.morton import curve_order
from ...mesh.triangle_mesh import TriangleMesh
from ...surface.exact import FaceFrames

_AT_ONCE = 8192
_NEIGHBOURS = 16
_ROUGH_MM = 0.02
"""What of the surface beside a place can stand up by a scan's roughness alone."""
_NEARLY, _SETTLED = 1e-3, 1e-9
"""Relative change of a radius that is none, with vertices and in the end."""


class BallFitter:
    """A mesh made ready for balls inside it.

    A ball that touches p, with its centre at p + r u, u inward, and goes through q has the radius
    r(q) = |q − p|² / (2 u·(q − p)). It is shrunk onto what cuts into it (Ma, Bae & Choi, Visual
    Computer 28, 2012, from memory): onto vertices, then onto every face that can reach into it.

    Places q that the centre sees within an angle of p are p's own facet or a neighbour's and do
    not count: half that angle lies between q − p and the tangent plane, so they are those with
    u·(q − p) < |q − p| sin(angle / 2) + 0.02 mm. The last term is ours: next to p, the roughness of
    a scan stands up as steeply as that. Whatever lies straight below p by 27 µm or more counts.

    Parameters
    ----------
    mesh : TriangleMesh
        Faces turned outward, of edges that are short against the balls; mm.
    least_angle_deg : float
        That angle.
    """

    def __init__(self, mesh: TriangleMesh, least_angle_deg: float) -> None:
        self._least = math.sin(math.radians(0.5 * least_angle_deg))
        self._frames = FaceFrames.of(mesh.triangles)
        used = np.flatnonzero(mesh.used_vertices)
        used = used[curve_order(mesh.vertices[used])]  # neighbours lie together in memory
        self._vertices = mesh.vertices[used]
        self._tree = cKDTree(self._vertices, balanced_tree=False)
        count = np.bincount(mesh.faces.ravel(), minlength=len(mesh.vertices))
        self._count = count[used]
        self._begin = (np.cumsum(count) - count)[used]
        self._around = np.argsort(mesh.faces.ravel(), kind="stable") // 3
        # The foot of a ball's centre on a face lies square below it, within the longest edge / √3
        # of a corner, unless it is a corner itself.
        self._reach_squared = float(self._frames.length.max()) ** 2 / 3.0

    def diameters(self, points: FloatArray, inward: FloatArray, start_mm: FloatArray) -> FloatArray:
        """Return the diameters (n,) of the largest balls, mm, at most ``start_mm``.

        Parameters
        ----------
        points, inward : (n, 3) float
            Places on the mesh, unit vectors into the material.
        start_mm : (n,) float
            Such as the straight ways through the material; finite.
        """
        radius = 0.5 * start_mm
        for start in range(0, len(points), _AT_ONCE):
            part = slice(start, start + _AT_ONCE)
            ball = _Balls(points[part], inward[part], radius[part])
            for row, face in self._faces_in_reach(ball):
                self._shrink_on_faces(ball, row, face)
        return 2.0 * radius

    def _faces_in_reach(self, ball: _Balls) -> Iterator[tuple[IntArray, IntArray]]:
        """Shrink balls onto vertices near their centres; yield all faces that may still cut in."""
        rows, neighbours = np.arange(len(ball.radius)), _NEIGHBOURS
        while len(rows):
            neighbours = min(neighbours, len(self._vertices))
            found = self._tree.query(ball.centres(rows), k=range(1, neighbours + 1))
            away, vertex = np.asarray(found[0]), np.asarray(found[1])
            size = ball.radius[rows]
            near = away**2 <= (size**2 + self._reach_squared)[:, None]
            through = ball.radii_through(
                self._vertices[vertex.ravel()], np.repeat(rows, neighbours), self._least
            )
            new = np.minimum(through.reshape(away.shape).min(axis=1), size)
            ball.radius[rows] = new
            # What can reach into a ball that was a little larger is all that can into this one.
            smaller = new < size * (1.0 - _NEARLY)
            short = near[:, -1] & (neighbours < len(self._vertices))
            ready = np.flatnonzero(~smaller & ~short)
            row, place = np.nonzero(near[ready])
            vertex = vertex[ready[row], place]
            item, nth = ragged(self._count[vertex])
            yield rows[ready[row[item]]], self._around[self._begin[vertex[item]] + nth]
            if (short & ~smaller).any():
                neighbours *= 2
            rows = rows[smaller | short]

    def _shrink_on_faces(self, ball: _Balls, row: IntArray, face: IntArray) -> None:
        """Shrink balls until none of the faces (k,) cuts into the ball of its row (k,)."""
        while len(row):
            size = ball.radius.take(row)
            feet = self._frames.feet(np.ascontiguousarray(ball.centres(row).T), face)
            # A ball shrinks within itself: a face outside it stays outside.
            cuts = np.flatnonzero(feet.squared < (size * (1.0 - _SETTLED)) ** 2)
            row, face, feet = row.take(cuts), face.take(cuts), feet.taken(cuts)
            place = self._frames.to_space(face, feet.x, feet.y).T
            before = ball.radius.take(row)
            np.minimum.at(ball.radius, row, ball.radii_through(place, row, self._least))
            changed = ball.radius.take(row) < before
            row, face = row[changed], face[changed]


class _Balls:
    """Balls that touch places (n, 3) on the side of unit vectors (n, 3)."""

    def __init__(self, points: FloatArray, inward: FloatArray, radius: FloatArray) -> None:
        self.points, self.inward = points, inward
        self.radius = radius  # the caller's own array: it is shrunk in place

    def centres(self, rows: IntArray) -> FloatArray:
        """Centres (k, 3) of some balls."""
        along = self.inward.take(rows, axis=0)
        along *= self.radius.take(rows)[:, None]
        along += self.points.take(rows, axis=0)
        return along

    def radii_through(self, places: FloatArray, rows: IntArray, least: float) -> FloatArray:
        """Radii (k,) of balls that go through places (k, 3); infinite for the ball's own facets."""
        offset = places - self.points.take(rows, axis=0)
        squared = np.einsum("ij,ij->i", offset, offset)
        height = np.einsum("ij,ij->i", offset, self.inward.take(rows, axis=0))
        counts = height >= least * np.sqrt(squared) + _ROUGH_MM
        out = np.full_like(height, np.inf)
        radius: FloatArray = np.divide(0.5 * squared, height, out=out, where=counts)
        return radius
