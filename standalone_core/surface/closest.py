"""The exact closest point on a triangle surface, with its side: the door to this package."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ..errors import MeshError, SettingError
from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray, TriangleMesh
from .borders import border_features
from .exact import FaceFrames
from .search import FaceBalls, Pairs

_SLACK = 1e-12
"""Relative rounding allowance: feet closer together than this are the same place."""


@dataclass(frozen=True, eq=False)
class ClosestPoints:
    """Closest points of a surface to n given points.

    Attributes
    ----------
    foot : (n, 3) float
        The closest point on the surface, mm; NaN beyond the maximum distance.
    distance_mm : (n,) float
        Distance to it, ≥ 0; infinite beyond the maximum distance.
    signed_mm : (n,) float or None
        The same, negative behind the surface (inside, where faces point outwards); NaN beyond the
        maximum distance. None where no sign was asked for. Next to an open border the side is
        that of the nearest faces' planes and means little: see ``on_border``.
    face : (n,) int
        The face that holds the foot, on a shared edge or corner the lowest that has an area; −1
        beyond the maximum distance.
    feature : (n,) int8
        Where on that face: 0 inside, 1 + k on edge k (from corner k to k + 1), 4 + k on corner k.
    index : SurfaceIndex
        What was searched.
    """

    foot: FloatArray
    distance_mm: FloatArray
    signed_mm: FloatArray | None
    face: IntArray
    feature: IntArray
    index: SurfaceIndex = field(repr=False)

    @property
    def found(self) -> BoolArray:
        """Which points (n,) have a foot within the maximum distance."""
        found: BoolArray = self.face >= 0
        return found

    @cached_property
    def barycentric(self) -> FloatArray:
        """Barycentric coordinates (n, 3) of the feet on their faces, summing to 1; NaN if none."""
        found = self.found
        weights = np.full(self.foot.shape, np.nan)
        weights[found] = self.index._frames.barycentric(self.face[found], self.foot[found])
        return weights

    @cached_property
    def on_border(self) -> BoolArray:
        """Which feet (n,) lie on an open edge of the surface, or on the end of one."""
        on_border: BoolArray = self.index._border_features[self.face, self.feature] & self.found
        return on_border


class SurfaceIndex:
    """A triangle surface made ready for closest-point queries, exact in float64.

    Parameters
    ----------
    mesh : TriangleMesh
        At least one face. Degenerate, duplicate and non-manifold faces are allowed.
    threads : int, optional
        Threads for a query; by default the machine's count of cores. Results do not depend on it.

    Raises
    ------
    MeshError
        The mesh has no faces.
    SettingError
        ``threads`` is below 1.
    """

    def __init__(self, mesh: TriangleMesh, *, threads: int | None = None) -> None:
        if not len(mesh.faces):
            raise MeshError(
                "It holds no triangles, so nothing lies closest.",
                subject=mesh.name,
                remedy="Use a mesh with at least one triangle.",
            )
        if threads is not None and threads < 1:
            raise SettingError(
                f"{threads} threads cannot do anything.",
                subject="threads",
                remedy="Give 1 or more, or leave it out.",
            )
        self.mesh = mesh
        self.threads = threads or os.cpu_count() or 1
        self._frames = FaceFrames(mesh)
        self._balls = FaceBalls(mesh)

    @cached_property
    def _border_features(self) -> BoolArray:
        return border_features(self.mesh)

    def closest(
        self, points: ArrayLike, *, max_distance_mm: float = math.inf, signed: bool = False
    ) -> ClosestPoints:
        """Find the closest point on the surface to each point.

        Parameters
        ----------
        points : (n, 3) array_like
            Finite coordinates, mm.
        max_distance_mm : float
            Points farther than this from the surface get no foot; searching far is slow.
        signed : bool
            Also tell the side, by the angle-weighted pseudonormal at the foot (Bærentzen & Aanæs,
            "Signed distance computation using the angle weighted pseudonormal", IEEE TVCG 2005).

        Raises
        ------
        SettingError
            Wrong shape, coordinates that are not finite, a negative maximum distance.
        """
        queries = _checked_points(points)
        if not max_distance_mm >= 0:
            raise SettingError(
                f"A maximum distance of {max_distance_mm} mm is not a distance.",
                subject="max_distance_mm",
                remedy="Give zero or more, or leave it out.",
            )
        return self._closest(queries, float(max_distance_mm), signed)

    def _closest(self, points: FloatArray, limit: float, signed: bool) -> ClosestPoints:
        n = len(points)
        foot, distance = np.full((n, 3), np.nan), np.full(n, np.inf)
        sign = np.full(n, np.nan)
        face, feature = np.full(n, -1, dtype=np.int64), np.zeros(n, dtype=np.int8)
        if n:
            guess = self._balls.tree.query(points, workers=self.threads)[1].astype(np.int64)
            bound = np.sqrt(self._frames.feet(points, guess).squared)
            slack = _SLACK * (bound + self.mesh.diagonal_mm)
            for pairs in self._balls.pairs(points, np.minimum(bound, limit) + slack):
                self._settle(points, pairs, signed, foot, distance, sign, face, feature)
        beyond = distance > limit
        foot[beyond], distance[beyond], sign[beyond] = np.nan, np.inf, np.nan
        face[beyond], feature[beyond] = -1, 0
        signed_mm = np.where(beyond, np.nan, distance) * sign if signed else None
        return ClosestPoints(foot, distance, signed_mm, face, feature, self)

    def _settle(
        self,
        points: FloatArray,
        pairs: Pairs,
        signed: bool,
        foot: FloatArray,
        distance: FloatArray,
        sign: FloatArray,
        face: IntArray,
        feature: IntArray,
    ) -> None:
        """Compare all pairs of a batch of points exactly and store each point's best."""
        if not len(pairs.point):
            return
        feet = self._frames.feet(points[pairs.point], pairs.face)
        place = self._frames.positions(pairs.face, feet.along, feet.across)
        kind = self._frames.features(pairs.face, feet.along, feet.across, feet.side)
        first = np.flatnonzero(np.diff(pairs.point, prepend=-1))
        which = np.repeat(np.arange(len(first)), np.diff(first, append=len(pairs.point)))
        row = np.arange(len(which))
        least = np.minimum.reduceat(feet.squared, first)
        nearest = np.minimum.reduceat(np.where(feet.squared == least[which], row, len(row)), first)
        gap = np.abs(place - place[nearest][which]).max(axis=1)
        same = gap <= _SLACK * self.mesh.diagonal_mm
        flat = self._frames.without_area[pairs.face]
        rank = np.where(same, row + len(row) * flat, 2 * len(row))
        best = np.minimum.reduceat(rank, first) % len(row)
        here = pairs.point[best]
        foot[here], distance[here] = place[best], np.sqrt(feet.squared[best])
        face[here], feature[here] = pairs.face[best], kind[best]
        if not signed:
            return
        weight = self._frames.angles(pairs.face, kind) * same
        inside = kind[best][which] == 0
        weight = np.where(inside, row == best[which], weight)
        normal = weight[:, None] * self._frames.normals(pairs.face)
        pseudonormal = np.add.reduceat(normal, first, axis=0)
        side = np.einsum("ij,ij->i", points[here] - place[best], pseudonormal)
        sign[here] = np.where(side < 0.0, -1.0, 1.0)


def _checked_points(points: ArrayLike) -> FloatArray:
    queries = np.asarray(points, dtype=np.float64)
    if queries.ndim != 2 or queries.shape[1] != 3:
        raise SettingError(
            f"The points have shape {queries.shape}, not (n, 3).",
            subject="points",
            remedy="Give one row of three coordinates for each point.",
        )
    if not np.isfinite(queries).all():
        raise SettingError(
            "Some of the points' coordinates are not finite numbers.",
            subject="points",
            remedy="Leave those points out.",
        )
    return queries
