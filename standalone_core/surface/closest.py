"""The exact closest point on a triangle surface, with its side: the door to this package."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import BoolArray, FloatArray, IntArray
from ..errors import MeshError, SettingError
from ..mesh.morton import curve_order
from ..mesh.triangle_mesh import TriangleMesh
from .borders import border_features
from .exact import FaceFrames, FeatureArray, Feet, barycentric_on_rim
from .pieces import Pieces
from .rivals import Rivals
from .search import Found, Search
from .settle import settle

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
    feature: FeatureArray
    index: SurfaceIndex = field(repr=False)

    @classmethod
    def unsettled(cls, n: int, index: SurfaceIndex, signed: bool) -> ClosestPoints:
        """Room for the closest points of n points, which are written into it part by part."""
        return cls(
            foot=np.empty((n, 3)),
            distance_mm=np.empty(n),
            signed_mm=np.empty(n) if signed else None,
            face=np.empty(n, dtype=np.int64),
            feature=np.empty(n, dtype=np.int8),
            index=index,
        )

    def put(self, rows: IntArray, others: ClosestPoints) -> None:
        """Write the closest points of some rows (k,)."""
        self.foot[rows], self.distance_mm[rows] = others.foot, others.distance_mm
        self.face[rows], self.feature[rows] = others.face, others.feature
        if self.signed_mm is not None and others.signed_mm is not None:
            self.signed_mm[rows] = others.signed_mm

    def within(self, max_distance_mm: float) -> ClosestPoints:
        """The same, as if nothing farther had been searched for."""
        beyond = np.flatnonzero(self.found & (self.distance_mm > max_distance_mm))
        if not len(beyond):
            return self
        names = ("foot", "distance_mm", "signed_mm", "face", "feature")
        blank = dict(zip(names, (np.nan, np.inf, np.nan, -1, 0), strict=True))
        changed = {}
        for name in names:
            values = getattr(self, name)
            if values is not None:
                changed[name] = values.copy()
                changed[name][beyond] = blank[name]
        return replace(self, **changed)

    @property
    def found(self) -> BoolArray:
        """Which points (n,) have a foot within the maximum distance."""
        found: BoolArray = self.face >= 0
        return found

    @cached_property
    def barycentric(self) -> FloatArray:
        """Barycentric coordinates (n, 3) of the feet on their faces, summing to 1; NaN if none."""
        weights = np.full(self.foot.shape, np.nan)
        inside = np.flatnonzero(self.found & (self.feature == 0))
        weights[inside] = self.index._barycentric(self.foot[inside], self.face[inside])
        rim = np.flatnonzero(self.feature)
        mesh = self.index.mesh
        corners = mesh.vertices[mesh.faces[self.face[rim]]]
        weights[rim] = barycentric_on_rim(corners, self.foot[rim], self.feature[rim])
        return weights

    def barycentric_of(self, rows: IntArray) -> FloatArray:
        """The same of a few points (k,) that have a foot, at their cost alone."""
        mesh, feature = self.index.mesh, self.feature[rows]
        corners = mesh.vertices.take(mesh.faces.take(self.face[rows], axis=0), axis=0)
        feet, rim = self.foot[rows], np.flatnonzero(feature)
        frames = FaceFrames.of(corners)
        weights = frames.barycentric_inside(np.ascontiguousarray(feet.T), np.arange(len(rows)))
        weights[rim] = barycentric_on_rim(corners[rim], feet[rim], feature[rim])
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

    Attributes
    ----------
    mesh : TriangleMesh
    threads : int
    tolerance_mm : float
        Feet closer together than this are the same place.

    Examples
    --------
    >>> import cuspwise
    >>> mesh = cuspwise.TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    >>> found = cuspwise.SurfaceIndex(mesh).closest([[0.25, 0.25, 2.0]], signed=True)
    >>> found.foot.round(6).tolist(), found.signed_mm.round(6).tolist()
    ([[0.25, 0.25, 0.0]], [2.0])
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
        # Neighbours in space become neighbours in memory, whatever the order of the faces.
        middles = mesh.vertices.take(mesh.faces.T, axis=0).sum(axis=0) / 3.0
        self._number = curve_order(middles)
        corners = mesh.vertices.take(mesh.faces.take(self._number, axis=0), axis=0)
        self._frames = FaceFrames.of(corners)
        self._pieces = Pieces.of(corners, self._frames)
        self.tolerance_mm = _SLACK * mesh.diagonal_mm

    def moved(self, motion: FloatArray) -> SurfaceIndex:
        """Return the index of the mesh after a rigid motion (4, 4), at a quarter of its cost."""
        moved = SurfaceIndex.__new__(SurfaceIndex)
        moved.mesh = self.mesh.moved(motion)
        moved.threads, moved.tolerance_mm = self.threads, self.tolerance_mm
        moved._number = self._number
        moved._frames = self._frames.moved(motion)
        moved._pieces = self._pieces.moved(motion)
        return moved

    @cached_property
    def _place(self) -> IntArray:
        """Place of each face of the mesh in the index's own order, (m,)."""
        place = np.empty_like(self._number)
        place[self._number] = np.arange(len(place))
        return place

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
            Also give the side, by the angle-weighted pseudonormal at the foot (Bærentzen & Aanæs,
            "Signed distance computation using the angle weighted pseudonormal", IEEE TVCG 2005).

        Raises
        ------
        SettingError
            Wrong shape, coordinates that are not finite, a negative maximum distance.
        """
        queries = _checked_points(points)
        limit = _checked_limit(max_distance_mm)
        found = ClosestPoints.unsettled(len(queries), self, signed)

        def use(part: Found) -> None:
            self._settle(part.points, part.rows, part.guess, part.rivals, limit, found)

        self.search(limit, self.tolerance_mm).run(queries, self.threads, use)
        return found

    def search(self, limit_mm: float, slack_mm: float) -> Search:
        """Return what lists the faces near points: see :class:`.search.Search`."""
        low, high = self.mesh.bounds
        box = low - self.mesh.diagonal_mm, high + self.mesh.diagonal_mm
        return Search(self._pieces, self._frames, box, limit_mm, slack_mm)

    def settle(
        self,
        here: FloatArray,
        rows: IntArray,
        guess: IntArray,
        rivals: Rivals,
        limit_mm: float,
        found: ClosestPoints,
    ) -> None:
        """Choose among faces listed for points (k, 3) before; write to rows (k,) of the result.

        ``guess`` (k,) and ``rivals`` are as a search numbers faces.
        """
        # A copy, since the winners are written into it.
        feet = self._frames.feet(np.ascontiguousarray(here.T), guess.copy())
        self._settle(here, rows, feet, rivals, limit_mm, found)

    def _settle(
        self,
        here: FloatArray,
        rows: IntArray,
        guess: Feet,
        rivals: Rivals,
        limit: float,
        found: ClosestPoints,
    ) -> None:
        """Choose among the candidates of points (k, 3) and write to rows (k,) of the result."""
        transposed = np.ascontiguousarray(here.T)
        feet, foot, side = settle(
            transposed, guess, rivals, self._frames, self._number, self.tolerance_mm
        )
        distance = np.sqrt(feet.squared)
        face, feature = self._number.take(feet.faces), self._frames.features(feet)
        side = side * distance
        beyond = np.flatnonzero(distance > limit)
        foot[:, beyond], distance[beyond], side[beyond] = np.nan, np.inf, np.nan
        face[beyond], feature[beyond] = -1, 0
        found.foot[rows] = foot.T
        found.distance_mm[rows] = distance
        found.face[rows] = face
        found.feature[rows] = feature
        if found.signed_mm is not None:
            found.signed_mm[rows] = side

    def _barycentric(self, feet: FloatArray, faces: IntArray) -> FloatArray:
        places = self._place.take(faces)
        return self._frames.barycentric_inside(np.ascontiguousarray(feet.T), places)


def _checked_limit(max_distance_mm: float) -> float:
    if not max_distance_mm >= 0:
        raise SettingError(
            f"A maximum distance of {max_distance_mm} mm is not a distance.",
            subject="max_distance_mm",
            remedy="Give zero or more, or leave it out.",
        )
    return float(max_distance_mm)


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
