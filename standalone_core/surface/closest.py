"""The exact closest point on a triangle surface, with its side: the door to this package."""

from __future__ import annotations

import math
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ..errors import MeshError, SettingError
from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray, TriangleMesh
from .borders import border_features
from .candidates import find_candidates
from .exact import FaceFrames, FeatureArray, barycentric_on_rim
from .grouping import Block, blocks_of
from .morton import morton_codes, sorting_order
from .pieces import Pieces
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
        # Neighbours in space become neighbours in memory, whatever the order of the faces.
        middles = mesh.vertices.take(mesh.faces.T, axis=0).sum(axis=0) / 3.0
        self._number = _order_in_space(middles)
        corners = mesh.vertices.take(mesh.faces.take(self._number, axis=0), axis=0)
        self._frames = FaceFrames.of(corners)
        self._pieces = Pieces.of(corners, self._frames)
        self._tolerance_mm = _SLACK * mesh.diagonal_mm

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
        found = ClosestPoints(
            foot=np.empty((n, 3)),
            distance_mm=np.empty(n),
            signed_mm=np.empty(n) if signed else None,
            face=np.empty(n, dtype=np.int64),
            feature=np.empty(n, dtype=np.int8),
            index=self,
        )

        def fill(block: Block) -> None:
            self._fill(points, block, limit, found)

        if n:
            low, high = self.mesh.bounds
            margin = self.mesh.diagonal_mm
            blocks = blocks_of(points, low - margin, high + margin, self._pieces.widest_group)
            with ThreadPoolExecutor(self.threads) as pool:
                list(pool.map(fill, blocks))
        return found

    def _fill(self, points: FloatArray, block: Block, limit: float, found: ClosestPoints) -> None:
        """Find the closest points of a block and write them to their places in the result."""
        here = points.take(block.points, axis=0)
        guess, rivals = find_candidates(
            here, block, self._pieces, self._frames, limit, self._tolerance_mm
        )
        transposed = np.ascontiguousarray(here.T)
        feet, foot, side = settle(
            transposed, guess, rivals, self._frames, self._number, self._tolerance_mm
        )
        distance = np.sqrt(feet.squared)
        face, feature = self._number.take(feet.faces), self._frames.features(feet)
        side = side * distance
        beyond = np.flatnonzero(distance > limit)
        foot[:, beyond], distance[beyond], side[beyond] = np.nan, np.inf, np.nan
        face[beyond], feature[beyond] = -1, 0
        found.foot[block.points] = foot.T
        found.distance_mm[block.points] = distance
        found.face[block.points] = face
        found.feature[block.points] = feature
        if found.signed_mm is not None:
            found.signed_mm[block.points] = side

    def _barycentric(self, feet: FloatArray, faces: IntArray) -> FloatArray:
        place = np.empty_like(self._number)
        place[self._number] = np.arange(len(place))
        return self._frames.barycentric_inside(np.ascontiguousarray(feet.T), place[faces])


def _order_in_space(places: FloatArray) -> IntArray:
    low = places.min(axis=0)
    size = max(float((places.max(axis=0) - low).max()), 1e-12)
    return sorting_order(morton_codes(places, low, size))


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
