"""Pieces of a surface of similar size, each in a ball.

A ball says little about a long triangle, so triangles are bisected until every piece's ball is
small. Pieces only steer the search; distances are always taken to the whole face.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.morton import cells_with, morton_codes, runs, sorting_order
from .exact import FaceFrames

CLUSTER = 8
_ENOUGH_PIECES = 40_000
_MOST_PER_FACE = 8
_RADIUS_LIMIT = 1.5
_CLUSTER_CELL = 16
_MOST_ROUNDS = 60
_LEAF = 32
"""Pieces in a leaf of the tree: with so many the lists about a point are made quickest."""


@dataclass(frozen=True, eq=False)
class Clusters:
    """Pieces in clusters of ``CLUSTER`` neighbours; those not full repeat a piece.

    Attributes
    ----------
    centre : (3, q) float
    radius : (q,) float
    face : (q,) int
        As in :class:`Pieces`, cluster by cluster.
    repeated : (q,) bool
        Which pieces are only there to fill a cluster.
    """

    centre: FloatArray
    radius: FloatArray
    face: IntArray
    repeated: BoolArray

    @classmethod
    def of(cls, centre: FloatArray, radius: FloatArray, face: IntArray) -> Clusters:
        """Clusters of pieces with centres (p, 3)."""
        low = centre.min(axis=0)
        size = max(float((centre.max(axis=0) - low).max()), 1e-12)
        codes = morton_codes(centre, low, size)
        order = sorting_order(codes)
        codes = codes[order]
        shift = np.uint32(cells_with(codes, _CLUSTER_CELL))
        members, repeated = runs(codes >> shift, CLUSTER)
        piece = order[members.ravel()]
        return cls(
            centre=np.ascontiguousarray(centre[piece].T),
            radius=radius[piece],
            face=face[piece],
            repeated=repeated.ravel(),
        )

    @cached_property
    def middle(self) -> FloatArray:
        """Centres (3, q / CLUSTER) of balls that hold the balls of a cluster, mm."""
        members = self.centre.reshape(3, -1, CLUSTER)
        low, high = members[:, :, 0], members[:, :, 0]
        for k in range(1, CLUSTER):
            low, high = np.minimum(low, members[:, :, k]), np.maximum(high, members[:, :, k])
        return 0.5 * (low + high)

    @cached_property
    def reach(self) -> FloatArray:
        """Radii (q / CLUSTER,) of these balls, mm."""
        away = self.centre.reshape(3, -1, CLUSTER) - self.middle[:, :, None]
        reach = np.sqrt(np.einsum("ick,ick->ck", away, away)) + self.radius.reshape(-1, CLUSTER)
        radius: FloatArray = reach.max(axis=1)
        return radius

    @cached_property
    def tree(self) -> cKDTree:
        """Tree of the middles."""
        return cKDTree(self.middle.T, balanced_tree=False)


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of all faces.

    Attributes
    ----------
    centre : (p, 3) float
    radius : (p,) float
        Balls that hold the pieces, mm. For an acute piece it is its circumscribed sphere: of
        these, the one with the least power at a place is that of the piece over the place.
    face : (p,) int
        Which face each piece is of.
    tree : cKDTree
        Their centres, lifted by √(R² − r²) into a fourth dimension, R the largest radius. From
        there a place, not lifted, is √(R² + |p − c|² − r²) away, so that the nearest is the one
        of least power; and at most b + R if the ball comes within b of the place.
    largest_radius : float
        R, mm.
    widest_group : float
        Points farther apart than this have few near pieces in common, mm.
    """

    centre: FloatArray
    radius: FloatArray
    face: IntArray
    tree: cKDTree
    largest_radius: float
    widest_group: float

    @classmethod
    def of(cls, corners: FloatArray, frames: FaceFrames) -> Pieces:
        """Pieces of triangles (m, 3, 3) whose frames are given."""
        centre, radius, face = _bisected(corners, frames)
        return cls(
            centre=centre,
            radius=radius,
            face=face,
            tree=_lifted_tree(centre, radius),
            largest_radius=float(radius.max()),
            widest_group=8.0 * float(radius.mean()),
        )

    def moved(self, motion: FloatArray) -> Pieces:
        """The pieces after a rigid motion (4, 4)."""
        centre = self.centre @ motion[:3, :3].T + motion[:3, 3]
        return replace(self, centre=centre, tree=_lifted_tree(centre, self.radius))

    @cached_property
    def clusters(self) -> Clusters:
        """The pieces in clusters, for points far from the surface or many together."""
        return Clusters.of(self.centre, self.radius, self.face)

    def nearest_face(self, places: FloatArray) -> IntArray:
        """Face (n,) of the piece of least power at each place (n, 3)."""
        nearest: IntArray = self.face.take(self.tree.query(_unlifted(places))[1])
        return nearest

    def listed(
        self, places: FloatArray, count: int, farthest: float
    ) -> tuple[FloatArray, IntArray]:
        """Distances and numbers in the tree (n, count) of the nearest in it, nearest first.

        Those that are not nearer than ``farthest`` are missing: their distance is infinite.
        """
        nth = range(1, count + 1)
        found = self.tree.query(_unlifted(places), k=nth, distance_upper_bound=farthest)
        return np.asarray(found[0]), np.asarray(found[1])


def _lifted_tree(centre: FloatArray, radius: FloatArray) -> cKDTree:
    """Tree of balls (q, 3) and (q,) as :class:`Pieces` tells."""
    largest = radius.max()
    lift = np.sqrt((largest - radius) * (largest + radius))
    places = np.column_stack([centre, lift])
    return cKDTree(places, _LEAF, balanced_tree=False)


def _unlifted(places: FloatArray) -> FloatArray:
    return np.column_stack([places, np.zeros(len(places))])


def _bisected(corners: FloatArray, frames: FaceFrames) -> tuple[FloatArray, FloatArray, IntArray]:
    """Balls and faces of pieces below a size that keeps their number in proportion."""
    count = max(min(_ENOUGH_PIECES, _MOST_PER_FACE * len(corners)), len(corners))
    area = 0.5 * float((frames.length * frames.apex_y).sum())
    # The second term keeps long slivers, which have next to no area, from going to dust.
    limit = max(_RADIUS_LIMIT * np.sqrt(area / count), 0.5 * float(frames.length.sum()) / count)
    face = np.arange(len(corners))
    found: list[tuple[FloatArray, FloatArray, IntArray]] = []
    for _ in range(_MOST_ROUNDS):
        centre, radius = _balls(frames)
        small = radius <= limit
        found.append((centre[small], radius[small], face[small]))
        corners, face = _halves(corners[~small], frames.first_corner[~small]), face[~small]
        face = np.concatenate([face, face])
        if not len(face):
            break
        frames = FaceFrames.of(corners)
    else:
        found.append((*_balls(frames), face))
    return (
        np.concatenate([each[0] for each in found]),
        np.concatenate([each[1] for each in found]),
        np.concatenate([each[2] for each in found]),
    )


def _balls(frames: FaceFrames) -> tuple[FloatArray, FloatArray]:
    """Smallest balls around triangles: circumscribed, or on the longest edge if obtuse."""
    half = 0.5 * frames.length
    raised = frames.apex_x * (frames.apex_x - frames.length) + frames.apex_y**2
    y = np.zeros_like(half)
    np.divide(raised, 2.0 * frames.apex_y, out=y, where=(raised > 0.0) & (frames.apex_y > 0.0))
    centre = frames.origin + half * frames.x_axis + y * frames.y_axis
    return np.ascontiguousarray(centre.T), np.hypot(half, y) * (1.0 + 1e-12)


def _halves(corners: FloatArray, first: IntArray) -> FloatArray:
    """Cut triangles (k, 3, 3) across the edge that starts at corner ``first``; (2 k, 3, 3)."""
    rows = np.arange(len(first))
    start, end, apex = (corners[rows, (first + k) % 3] for k in range(3))
    middle = 0.5 * (start + end)
    return np.concatenate(
        [np.stack([start, middle, apex], axis=1), np.stack([middle, end, apex], axis=1)]
    )
