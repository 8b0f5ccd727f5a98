"""Which faces can hold the closest point of which points: cheap bounds that lose nothing.

For a block of points, near pieces are listed from coarse to fine:

1. Per group of points a radius about its middle: far enough for all its points' feet, by the
   foot of the middle and a guessed allowance that step 4 checks.
2. Per neighbourhood of groups the clusters of pieces that come within reach; per group the
   pieces.
3. Per point the listed piece of least power |p − c|² − r²: on an even surface nearly always the
   piece that holds the foot. The exact distance to its face bounds the point's distance.
4. Groups whose radius was too small for these bounds are listed anew with a sure radius.
5. Per point the pieces whose ball comes within its bound: |p − c| ≤ r + bound.

Steps 2, 3 and 5 are small float32 matrix products, since |p − c|² − (r + b)² is bilinear in the
point's (p, b) and the piece's (c, r), but for a term of each alone. A tolerance covers all their
rounding, so that no piece is lost.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import BoolArray, FloatArray, IntArray
from .exact import FaceFrames, Feet
from .grouping import GROUP, NEIGHBOURHOOD, Block
from .pieces import CLUSTER, Clusters, Pieces
from .rivals import Rivals, challenged

FloatTable = NDArray[np.float32]

_TOLERANCE = 4e-6
"""Rounding of a row of a product whose terms are at most 2, with room to spare."""
_ALLOWANCE = 0.25
_TERMS = 6
_NEVER = np.float32(1e30)
_NO_ROW = np.array([[0.0, 0.0, 0.0, 0.0, 0.0, _NEVER]], dtype=np.float32)
_AT_ONCE = 200_000
_MOST_DENSE = 2_000_000
_ROW = 16
"""Rows of a product whose length is a multiple of this are the quick ones for processors."""


class Lists(NamedTuple):
    """Ragged lists: list k is ``items[start[k] : start[k] + length[k]]``."""

    start: IntArray
    length: IntArray
    items: IntArray

    @classmethod
    def of(cls, count: int, owner: IntArray, items: IntArray) -> Lists:
        """Lists of items whose owners are given, each owner's items side by side."""
        first = np.flatnonzero(np.diff(owner, prepend=-1))
        start, length = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        start[owner[first]] = first
        length[owner[first]] = np.diff(first, append=len(owner))
        return cls(start, length, items)

    def padded(self, fill: int, weight: int, step: int) -> Iterator[tuple[IntArray, IntArray]]:
        """Yield (lists, items (k, length)) for lists of like length, short ones filled up.

        Lengths are multiples of ``step``. ``weight`` numbers are to be computed for each item;
        batches are cut accordingly.
        """
        order = np.argsort(self.length, kind="stable")
        length, start = self.length[order], self.start[order]
        items = np.append(self.items, fill)
        begin = int(np.searchsorted(length, 1))
        while begin < len(length):
            longest = -(-int(length[begin]) * 5 // (4 * step)) * step
            end = int(np.searchsorted(length, longest, side="right"))
            end = min(end, begin + max(1, _AT_ONCE // (longest * weight)))
            nth = np.arange(longest)
            place = start[begin:end, None] + nth
            place = np.where(nth < length[begin:end, None], place, len(items) - 1)
            yield order[begin:end], items.take(place)
            begin = end


class Batch(NamedTuple):
    """Groups with lists of like length."""

    group: IntArray
    columns: IntArray
    """(g, length): their listed pieces, as columns of the patch's table."""
    table: FloatTable
    """(g, 6, length): those columns."""


@dataclass(frozen=True, eq=False)
class PointGroups:
    """Groups of points.

    Attributes
    ----------
    points : (n, 3) float
    slots, repeated : (g, GROUP)
        As in :class:`Block`.
    middle : (g, 3) float
    away : (g, GROUP) float
        Distances of the points from the middle, mm.
    """

    points: FloatArray
    slots: IntArray
    repeated: BoolArray
    middle: FloatArray
    away: FloatArray

    @classmethod
    def of(cls, points: FloatArray, block: Block) -> PointGroups:
        """Groups of a block's points (n, 3)."""
        grouped = points.take(block.slots, axis=0)
        low, high = grouped[:, 0].copy(), grouped[:, 0].copy()
        for k in range(1, GROUP):
            np.minimum(low, grouped[:, k], out=low)
            np.maximum(high, grouped[:, k], out=high)
        middle = 0.5 * (low + high)
        grouped -= middle[:, None]
        away = np.sqrt(np.einsum("gki,gki->gk", grouped, grouped))
        return cls(points, block.slots, block.repeated, middle, away)


class Patch:
    """Groups of points and the pieces in their reach, in units and coordinates of their own.

    Parameters
    ----------
    clusters : Clusters
    groups : PointGroups
    reach : (g,) float
        The farthest that pieces of a group will be asked for, from its middle, mm.
    members : (k, NEIGHBOURHOOD) int
        Groups of each neighbourhood, or −1.
    """

    def __init__(
        self, clusters: Clusters, groups: PointGroups, reach: FloatArray, members: IntArray
    ) -> None:
        self.groups, self.members = groups, members
        middle, span = _neighbourhood_balls(groups.middle, reach, members)
        low, high = (middle - span[:, None]).min(axis=0), (middle + span[:, None]).max(axis=0)
        self.origin, half = 0.5 * (low + high), 0.5 * (high - low)
        near, self.listed = _clusters_in_reach(clusters, middle, span, self.origin, half)
        piece = (near[:, None] * CLUSTER + np.arange(CLUSTER)).ravel()
        centre, radius = clusters.centre.take(piece, axis=1), clusters.radius.take(piece)
        largest = max(float(radius.max(initial=0.0)), float(reach.max()))
        self.unit = max(float(np.sqrt(half @ half)) + largest, 1e-300)
        self.face = clusters.face.take(piece)
        centre = (centre - self.origin[:, None]) / self.unit
        table = _table(centre, radius / self.unit)
        self.table = _with_dummies(table, clusters.repeated.take(piece))
        self.points = self._rows(groups.points, 0.0)

    def _rows(self, places: FloatArray, bound: FloatArray | float) -> FloatTable:
        return _rows((places - self.origin) / self.unit, bound / self.unit)

    def batches(self, reach: FloatArray, members: IntArray) -> list[Batch]:
        """Pieces whose ball comes within ``reach`` (g,) of the middles of the member groups."""
        lists = self._lists(reach, members)
        fill = self.table.shape[1] - 1
        return [
            Batch(group, columns, self.table.take(columns, axis=1).transpose(1, 0, 2))
            for group, columns in lists.padded(fill, GROUP, _ROW)
        ]

    def _lists(self, reach: FloatArray, members: IntArray) -> Lists:
        rows = self._rows(self.groups.middle, reach)
        rows = np.append(rows, _NO_ROW, axis=0)
        table = self.table.reshape(_TERMS, -1, CLUSTER)
        owner, item = [], []
        fill, weight = table.shape[1] - 1, CLUSTER * NEIGHBOURHOOD
        for which, clusters in self.listed.padded(fill, weight, _ROW // CLUSTER):
            group = members[which]
            group = group[:, : max(1, np.count_nonzero(group >= 0, axis=1).max())]
            columns = table.take(clusters, axis=1).reshape(_TERMS, len(which), -1)
            power = np.matmul(rows.take(group, axis=0), columns.transpose(1, 0, 2))
            near = np.flatnonzero(power <= 0.0)
            row, column = _divided(near, power.shape[2])
            cluster = row // group.shape[1] * clusters.shape[1] + column // CLUSTER
            owner.append(group.ravel().take(row))
            item.append(clusters.ravel().take(cluster) * CLUSTER + column % CLUSTER)
        return Lists.of(len(reach), _joined(owner), _joined(item))

    def faces_of_least_power(self, batches: list[Batch], fallback: IntArray) -> IntArray:
        """For each point the face of the listed piece of least power, else its group's (g,)."""
        slots = self.groups.slots
        grouped = self.points.take(slots, axis=0)
        face = np.empty(len(self.points), dtype=np.int64)
        face[slots] = fallback[:, None]
        for group, columns, table in batches:
            least = np.matmul(grouped.take(group, axis=0), table).argmin(axis=2)
            least += np.arange(len(group))[:, None] * columns.shape[1]
            face[slots.take(group, axis=0)] = self.face.take(columns.ravel().take(least))
        return face

    def rivals(self, batches: list[Batch], bound: FloatArray, skipped: BoolArray) -> Rivals:
        """Faces of listed pieces whose ball comes within ``bound`` (g, GROUP) of each point, mm.

        Groups that are ``skipped`` (g,) get none.
        """
        slots, scaled = self.groups.slots, bound / self.unit
        grouped = self.points.take(slots, axis=0)
        grouped[:, :, 3] = scaled
        grouped[:, :, 5] -= np.square(scaled)
        grouped[self.groups.repeated | skipped[:, None]] = _NO_ROW
        point, face = [], []
        for group, columns, table in batches:
            power = np.matmul(grouped.take(group, axis=0), table)
            near = np.flatnonzero(power <= 0.0)
            row, column = _divided(near, power.shape[2])
            piece = columns.ravel().take(row // GROUP * power.shape[2] + column)
            point.append(slots.take(group, axis=0).ravel().take(row))
            face.append(self.face.take(piece))
        return Rivals(_joined(point), _joined(face))


def find_candidates(
    points: FloatArray,
    block: Block,
    pieces: Pieces,
    frames: FaceFrames,
    limit_mm: float,
    slack_mm: float,
) -> tuple[Feet, Rivals]:
    """Guess the closest face of each point and list all others that may be as close.

    Parameters
    ----------
    points : (n, 3) float
        The block's points, mm.
    limit_mm : float
        Rivals are complete only for points nearer than this.
    slack_mm : float
        Faces that are farther than the guess by no more than this are listed too.
    """
    groups = PointGroups.of(points, block)
    seed = pieces.nearest_face(groups.middle)
    height = np.sqrt(frames.squared_distances(np.ascontiguousarray(groups.middle.T), seed))
    radius = groups.away.max(axis=1)
    sure = radius + np.minimum(height + radius, limit_mm) + 2.0 * slack_mm
    reach = radius + np.minimum(height + _ALLOWANCE * radius, limit_mm) + slack_mm
    patch = Patch(pieces.clusters, groups, sure, block.members)
    batches = patch.batches(reach, block.members)
    guess = patch.faces_of_least_power(batches, seed)
    feet = frames.feet(np.ascontiguousarray(points.T), guess)
    bound = np.minimum(np.sqrt(feet.squared), limit_mm).take(block.slots)
    bound = np.minimum(bound, groups.away + height[:, None]) + slack_mm
    need = (groups.away + bound).max(axis=1)
    short = need > reach
    rivals = [patch.rivals(batches, bound, short)]
    if short.any():
        members = np.where(short[block.members] & (block.members >= 0), block.members, -1)
        members = -np.sort(-members, axis=1)
        rivals.append(patch.rivals(patch.batches(need, members), bound, ~short))
    listed = Rivals(
        np.concatenate([each.point for each in rivals]),
        np.concatenate([each.face for each in rivals]),
    )
    return feet, challenged(np.ascontiguousarray(points.T), feet, listed, frames, slack_mm)


def _neighbourhood_balls(
    middle: FloatArray, reach: FloatArray, members: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Balls that hold all groups' reach of each neighbourhood: centres (k, 3), radii (k,)."""
    there = members >= 0
    # An empty place repeats the neighbourhood's first group.
    first = members[np.arange(len(members)), there.argmax(axis=1)]
    filled = np.where(there, members, first[:, None])
    places = middle[filled]
    centre = 0.5 * (places.min(axis=1) + places.max(axis=1))
    offset = places - centre[:, None]
    return centre, (np.sqrt(np.einsum("kgi,kgi->kg", offset, offset)) + reach[filled]).max(1)


def _clusters_in_reach(
    clusters: Clusters,
    middle: FloatArray,
    span: FloatArray,
    origin: FloatArray,
    half: FloatArray,
) -> tuple[IntArray, Lists]:
    """Clusters that any neighbourhood's ball meets, and for each ball a list of them."""
    meets_box = [
        np.abs(clusters.middle[k] - origin[k]) - clusters.reach <= half[k] * (1.0 + 1e-9)
        for k in range(3)
    ]
    near = np.flatnonzero(meets_box[0] & meets_box[1] & meets_box[2])
    centre, radius = clusters.middle.take(near, axis=1), clusters.reach.take(near)
    centre -= origin[:, None]
    if len(middle) * len(near) > _MOST_DENSE:
        return _clusters_by_tree(clusters, middle, span)
    unit = float(np.sqrt(half @ half)) + float(radius.max(initial=0.0)) + 1e-300
    table = _table(centre / unit, radius / unit)
    rows = _rows((middle - origin) / unit, span / unit)
    meets = np.matmul(rows[:, None], table) <= 0.0
    ball, cluster = _divided(np.flatnonzero(meets), max(len(near), 1))
    return near, Lists.of(len(middle), ball, cluster)


def _clusters_by_tree(
    clusters: Clusters, middle: FloatArray, span: FloatArray
) -> tuple[IntArray, Lists]:
    """The same by a tree: for many clusters, of which each ball meets few."""
    reach = (span + clusters.reach.max()) * (1.0 + 1e-9)
    near = clusters.tree.query_ball_point(middle, reach, return_sorted=True)
    ball = np.repeat(np.arange(len(middle)), [len(each) for each in near])
    cluster = np.concatenate([np.asarray(each, dtype=np.int64) for each in near])
    away = clusters.middle.take(cluster, axis=1) - middle.take(ball, axis=0).T
    gap = np.sqrt(np.einsum("ij,ij->j", away, away)) - clusters.reach.take(cluster)
    meets = np.flatnonzero(gap <= span.take(ball) * (1.0 + 1e-9))
    met, column = np.unique(cluster.take(meets), return_inverse=True)
    return met, Lists.of(len(middle), ball.take(meets), column.reshape(-1))


def _rows(places: FloatArray, bound: FloatArray | float) -> FloatTable:
    """Left factors (n, 6) of the products, of places (n, 3) and their bounds.

    A row times a column is |p − c|² − (r + b)², less the tolerance.
    """
    rows = np.empty((len(places), _TERMS), dtype=np.float32)
    rows[:, :3] = places
    rows[:, 3] = bound
    rows[:, 4] = 1.0
    rows[:, 5] = np.einsum("ij,ij->i", places, places) - np.square(bound) - _TOLERANCE
    return rows


def _table(centre: FloatArray, radius: FloatArray) -> FloatTable:
    """Right factors (6, p) of the products, of balls with centres (3, p)."""
    table = np.empty((_TERMS, len(radius)), dtype=np.float32)
    table[:3] = -2.0 * centre
    table[3] = -2.0 * radius
    table[4] = np.einsum("ij,ij->j", centre, centre) - radius * radius
    table[5] = 1.0
    return table


def _with_dummies(table: FloatTable, repeated: BoolArray) -> FloatTable:
    """The table with repeated pieces, and a last cluster, made never near."""
    whole = np.zeros((_TERMS, table.shape[1] + CLUSTER), dtype=np.float32)
    whole[:, :-CLUSTER] = table
    whole[4, :-CLUSTER][repeated] = _NEVER
    whole[4, -CLUSTER:], whole[5] = _NEVER, 1.0
    return whole


def _divided(flat: IntArray, length: int) -> tuple[IntArray, IntArray]:
    row = flat // length
    return row, flat - row * length


def _joined(parts: list[IntArray]) -> IntArray:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
