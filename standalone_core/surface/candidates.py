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

from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray
from .exact import FaceFrames, Feet
from .grouping import GROUP, NEIGHBOURHOOD, Block
from .pieces import CLUSTER, Pieces

FloatTable = NDArray[np.float32]

_TOLERANCE = 4e-6
"""Rounding of a row of a product whose terms are at most 2, with room to spare."""
_ALLOWANCE = 0.25
_NEVER = np.float32(1e30)
_AT_ONCE = 200_000


class Rivals(NamedTuple):
    """Faces (k,) that may hold the closest point of points (k,) instead of the guess."""

    point: IntArray
    face: IntArray


class Lists(NamedTuple):
    """Ragged lists of ``length`` (n,) items each, one list after the other in ``items``."""

    length: IntArray
    items: IntArray

    def padded(self, fill: int, weight: int) -> Iterator[tuple[IntArray, IntArray]]:
        """Yield (rows, items (k, length)) for lists of like length, short ones filled up.

        ``weight`` numbers are to be computed for each item; batches are cut accordingly.
        """
        order = np.argsort(self.length, kind="stable")
        count = self.length[order]
        start = (np.cumsum(self.length) - self.length)[order]
        items = np.append(self.items, fill)
        begin = int(np.searchsorted(count, 1))
        while begin < len(count):
            # Rows whose length is a multiple of 16 are the quick ones for the processor.
            longest = -(-int(count[begin]) * 5 // 64) * 16
            end = int(np.searchsorted(count, longest, side="right"))
            end = min(end, begin + max(1, _AT_ONCE // (longest * weight)))
            nth = np.arange(longest)
            place = np.where(
                nth < count[begin:end, None], start[begin:end, None] + nth, len(items) - 1
            )
            yield order[begin:end], items.take(place)
            begin = end


@dataclass(frozen=True, eq=False)
class Groups:
    """Groups of points: middles (g, 3), distances of their points from them (g, GROUP), mm."""

    points: FloatArray
    middle: FloatArray
    away: FloatArray

    @classmethod
    def of(cls, points: FloatArray) -> Groups:
        """Groups of points (g · GROUP, 3)."""
        grouped = points.reshape(-1, GROUP, 3)
        low, high = grouped[:, 0].copy(), grouped[:, 0].copy()
        for k in range(1, GROUP):
            np.minimum(low, grouped[:, k], out=low)
            np.maximum(high, grouped[:, k], out=high)
        middle = 0.5 * (low + high)
        offset = grouped - middle[:, None]
        return cls(points, middle, np.sqrt(np.einsum("gki,gki->gk", offset, offset)))


class Patch:
    """Groups of points and the pieces in their reach, in units and coordinates of their own.

    Parameters
    ----------
    pieces : Pieces
    groups : Groups
    reach : (g,) float
        Pieces whose ball comes this near to a group's middle are to be listed for it, mm.
    members : (k, NEIGHBOURHOOD) int
        Groups of each neighbourhood, or −1.
    """

    def __init__(
        self, pieces: Pieces, groups: Groups, reach: FloatArray, members: IntArray
    ) -> None:
        self.members = members
        middle, span = _neighbourhood_balls(groups.middle, reach, members)
        low, high = (middle - span[:, None]).min(axis=0), (middle + span[:, None]).max(axis=0)
        self.origin, half = 0.5 * (low + high), 0.5 * (high - low)
        self.clusters, self.listed = _clusters_in_reach(pieces, middle, span, self.origin, half)
        piece = (self.clusters[:, None] * CLUSTER + np.arange(CLUSTER)).ravel()
        centre, radius = pieces.centre[piece] - self.origin, pieces.radius[piece]
        largest = max(float(radius.max(initial=0.0)), float(reach.max()))
        self.unit = max(float(np.sqrt(half @ half)) + largest, 1e-300)
        self.face = pieces.face[piece]
        self.table = _piece_table(centre / self.unit, radius / self.unit, pieces.repeated[piece])
        self.points = self._rows(groups.points)
        self.square = np.einsum("ij,ij->i", self.points[:, :3], self.points[:, :3])
        rows = self._rows(groups.middle)
        self.groups, self.reach = rows, reach / self.unit
        rows[:, 3] = self.reach

    def _rows(self, places: FloatArray) -> FloatTable:
        """Left factors (n, 5) of the products: place, a bound yet to be filled in, 1."""
        rows = np.zeros((len(places), 5), dtype=np.float32)
        rows[:, :3] = (places - self.origin) / self.unit
        rows[:, 4] = 1.0
        return rows

    def lists(self) -> Lists:
        """Pieces in reach of each group, as columns of the patch's table."""
        middle = self.groups[:, :3]
        limit = self.reach**2 - np.einsum("ij,ij->i", middle, middle) + _TOLERANCE
        limit = np.append(limit.astype(np.float32), -_NEVER)
        rows = np.append(self.groups, self.groups[-1:], axis=0)
        table = self.table.reshape(5, -1, CLUSTER)
        found_group, found_piece = [], []
        fill = table.shape[1] - 1
        for which, clusters in self.listed.padded(fill, CLUSTER * NEIGHBOURHOOD):
            group = self.members[which]
            group = group[:, : np.count_nonzero(group >= 0, axis=1).max()]
            columns = table.take(clusters, axis=1).reshape(5, len(which), -1)
            power = np.matmul(rows[group], columns.transpose(1, 0, 2))
            near = np.flatnonzero(power <= limit[group][:, :, None])
            row, column = _divided(near, power.shape[2])
            cluster = row // group.shape[1] * clusters.shape[1] + column // CLUSTER
            found_group.append(group.ravel().take(row))
            found_piece.append(clusters.ravel().take(cluster) * CLUSTER + column % CLUSTER)
        groups, piece = _joined(found_group), _joined(found_piece)
        order = np.argsort(groups, kind="stable")
        return Lists(np.bincount(groups, minlength=len(self.groups)), piece.take(order))

    def faces_of_least_power(self, lists: Lists, fallback: IntArray) -> IntArray:
        """For each point the face of the listed piece of least power; else the fallback's."""
        self.points[:, 3] = 0.0
        grouped = self.points.reshape(-1, GROUP, 5)
        face = fallback.copy()
        for group, columns in lists.padded(self.table.shape[1] - 1, GROUP):
            table = self.table.take(columns, axis=1).transpose(1, 0, 2)
            least = np.matmul(grouped.take(group, axis=0), table).argmin(axis=2)
            column = columns.ravel().take(least + np.arange(len(group))[:, None] * columns.shape[1])
            face[group[:, None] * GROUP + np.arange(GROUP)] = self.face.take(column)
        return face

    def rivals(self, lists: Lists, bound: FloatArray) -> Rivals:
        """Faces of listed pieces whose ball comes within ``bound`` (n,) of each point, mm."""
        scaled = bound / self.unit
        self.points[:, 3] = scaled
        limit = (scaled**2 - self.square + _TOLERANCE).astype(np.float32)
        grouped, limit = self.points.reshape(-1, GROUP, 5), limit.reshape(-1, GROUP)
        found_point, found_face = [], []
        for group, columns in lists.padded(self.table.shape[1] - 1, GROUP):
            table = self.table.take(columns, axis=1).transpose(1, 0, 2)
            power = np.matmul(grouped.take(group, axis=0), table)
            near = np.flatnonzero(power <= limit.take(group, axis=0)[:, :, None])
            row, column = _divided(near, power.shape[2])
            of_group = row // GROUP
            piece = columns.ravel().take(of_group * power.shape[2] + column)
            found_point.append(group.take(of_group) * GROUP + row % GROUP)
            found_face.append(self.face.take(piece))
        return Rivals(_joined(found_point), _joined(found_face))


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
    points : (g · GROUP, 3) float
        The block's points, mm.
    limit_mm : float
        Rivals are complete only for points nearer than this.
    slack_mm : float
        Faces that are farther than the guess by no more than this are listed too.
    """
    groups = Groups.of(points)
    seed = pieces.face.take(pieces.nearest(groups.middle))
    height = np.sqrt(frames.squared_distances(np.ascontiguousarray(groups.middle.T), seed))
    radius = groups.away.max(axis=1)
    reach = radius + np.minimum(height + _ALLOWANCE * radius, limit_mm) + slack_mm
    patch = Patch(pieces, groups, reach, block.members)
    lists = patch.lists()
    guess = patch.faces_of_least_power(lists, np.repeat(seed, GROUP))
    feet = frames.feet(np.ascontiguousarray(points.T), guess)
    bound = np.minimum(np.sqrt(feet.squared), limit_mm) + slack_mm
    need = (groups.away + bound.reshape(-1, GROUP)).max(axis=1)
    short = need > reach
    sure = Lists(np.where(short, 0, lists.length), _without(lists, short))
    rivals = [patch.rivals(sure, bound)]
    if short.any():
        members = np.where(short[block.members] & (block.members >= 0), block.members, -1)
        members = -np.sort(-members[(members >= 0).any(axis=1)], axis=1)
        again = Patch(pieces, groups, np.where(short, need, 0.0), members)
        rivals.append(again.rivals(again.lists(), bound))
    point = np.concatenate([each.point for each in rivals])
    face = np.concatenate([each.face for each in rivals])
    other = np.flatnonzero(face != guess.take(point))
    point, face = point.take(other), face.take(other)
    if pieces.several:
        key = np.sort(point * len(frames.length) + face)
        point, face = _divided(key[np.diff(key, prepend=-1) > 0], len(frames.length))
    return feet, Rivals(point, face)


def _without(lists: Lists, dropped: BoolArray) -> IntArray:
    return lists.items[np.repeat(~dropped, lists.length)] if dropped.any() else lists.items


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
    pieces: Pieces, middle: FloatArray, span: FloatArray, origin: FloatArray, half: FloatArray
) -> tuple[IntArray, Lists]:
    """Clusters that any neighbourhood's ball meets, and for each ball a list of them."""
    near = [
        np.abs(pieces.cluster_centre[k] - origin[k]) - pieces.cluster_radius
        <= half[k] * (1.0 + 1e-9)
        for k in range(3)
    ]
    clusters = np.flatnonzero(near[0] & near[1] & near[2])
    centre = pieces.cluster_centre.take(clusters, axis=1)
    radius = pieces.cluster_radius.take(clusters)
    centre -= origin[:, None]
    place = middle - origin
    squared = np.einsum("ij,ij->j", centre, centre) - 2.0 * (place @ centre)
    squared += np.einsum("ij,ij->i", place, place)[:, None]
    reach = (span[:, None] + radius) * (1.0 + 1e-9)
    rounding = 1e-12 * float(half @ half)
    meets = squared <= reach * reach + rounding
    _, cluster = _divided(np.flatnonzero(meets), max(len(clusters), 1))
    return clusters, Lists(np.count_nonzero(meets, axis=1), cluster)


def _piece_table(centre: FloatArray, radius: FloatArray, repeated: BoolArray) -> FloatTable:
    """Right factors (5, p + CLUSTER) of the products; a last cluster that is never near."""
    table = np.zeros((5, len(centre) + CLUSTER), dtype=np.float32)
    table[:3, :-CLUSTER] = -2.0 * centre.T
    table[3, :-CLUSTER] = -2.0 * radius
    table[4, :-CLUSTER] = np.einsum("ij,ij->i", centre, centre) - radius * radius
    table[4, -CLUSTER:] = _NEVER
    table[:, :-CLUSTER][:, repeated] = np.array([0, 0, 0, 0, _NEVER])[:, None]
    return table


def _divided(flat: IntArray, length: int) -> tuple[IntArray, IntArray]:
    row = flat // length
    return row, flat - row * length


def _joined(parts: list[IntArray]) -> IntArray:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
