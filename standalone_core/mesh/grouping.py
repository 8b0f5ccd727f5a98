"""Which points, edges or faces are equal: the sort behind merging and edge finding."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..arrays import BoolArray, FloatArray, IntArray

KeyArray = NDArray[np.uint64]

_ODD_CONSTANTS = tuple(
    np.uint64(c) for c in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
)
_HALF = np.uint64(29)


@dataclass(frozen=True, eq=False)
class KeyGroups:
    """Items sorted into groups of equal key.

    Attributes
    ----------
    order : (n,) int
        Items with equal keys side by side; inside a group in their original order.
    starts : (g,) int
        Where each group begins in ``order``.
    """

    order: IntArray
    starts: IntArray

    @cached_property
    def counts(self) -> IntArray:
        """Members of each group, (g,)."""
        return np.diff(np.append(self.starts, len(self.order)))

    @cached_property
    def first(self) -> IntArray:
        """Earliest item of each group, (g,)."""
        return self.order[self.starts]

    @cached_property
    def label(self) -> IntArray:
        """Group of each item, (n,)."""
        label = np.empty(len(self.order), dtype=np.int64)
        label[self.order] = np.repeat(np.arange(len(self.starts)), self.counts)
        return label

    def by_appearance(self) -> tuple[IntArray, IntArray]:
        """Return earliest items (g,) and labels (n,), groups numbered as they first appear."""
        appearance = np.empty(len(self.starts), dtype=np.int64)
        rank = np.argsort(self.first)
        appearance[rank] = np.arange(len(rank))
        return self.first[rank], appearance[self.label]


def group_points(points: FloatArray) -> KeyGroups:
    """Group exactly equal finite points, (n, 3) float64; −0 equals +0."""
    bits = (points + 0.0).view(np.uint64)
    return _group_hashed([bits[:, k] for k in range(3)])


def group_edges(starts: IntArray, ends: IntArray, vertex_count: int) -> KeyGroups:
    """Group edges, each from a vertex (k,) to another (k,), whichever way round."""
    low = np.minimum(starts, ends).astype(np.uint64)
    high = np.maximum(starts, ends).astype(np.uint64)
    bits = max(vertex_count - 1, 1).bit_length()
    if 2 * bits + _index_bits(len(starts)) <= 64:
        return _group_keys((low << np.uint64(bits)) | high)
    return _group_hashed([low, high])


def group_triples(triples: IntArray) -> KeyGroups:
    """Group equal rows of three non-negative integers, (k, 3)."""
    columns = triples.astype(np.uint64)
    return _group_hashed([columns[:, k] for k in range(3)])


def _index_bits(count: int) -> int:
    return max(count - 1, 0).bit_length()


def _group_keys(keys: KeyArray) -> KeyGroups:
    """Group equal integers that leave room for an index above them in 64 bits.

    Key and index packed into one integer need a plain sort only, several times faster than an
    indirect one.
    """
    if not len(keys):
        return KeyGroups(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64))
    shift = np.uint64(_index_bits(len(keys)))
    packed = keys << shift
    packed |= np.arange(len(keys), dtype=np.uint64)
    packed.sort()
    order = (packed & ((np.uint64(1) << shift) - np.uint64(1))).view(np.int64)
    packed >>= shift
    return KeyGroups(order, _run_starts(packed[1:] != packed[:-1]))


def _run_starts(changes: BoolArray) -> IntArray:
    """Return where runs begin, given where an item differs from the one before, (n − 1,)."""
    return np.flatnonzero(np.concatenate([[True], changes]))


def _group_hashed(columns: list[KeyArray]) -> KeyGroups:
    """Group items that are equal in every column, by a hash whose few mistakes are mended."""
    count = len(columns[0])
    groups = _group_keys(_hash(columns) >> np.uint64(_index_bits(count)))
    differs = np.zeros(count, dtype=bool)
    for column in columns:
        differs |= column[groups.first][groups.label] != column
    return _parted(groups, columns, differs) if differs.any() else groups


def _parted(groups: KeyGroups, columns: list[KeyArray], differs: BoolArray) -> KeyGroups:
    """Part the groups in which different items met under one hash."""
    is_mixed = np.zeros(len(groups.starts), dtype=bool)
    is_mixed[groups.label[differs]] = True
    place = np.flatnonzero(np.repeat(is_mixed, groups.counts))
    item = groups.order[place]
    keys = [groups.label[item], *(column[item] for column in columns)]
    ranked = np.lexsort([item, *keys[::-1]])
    order = groups.order.copy()
    order[place] = item[ranked]
    changes = np.logical_or.reduce([key[ranked][1:] != key[ranked][:-1] for key in keys])
    is_start = np.zeros(len(order), dtype=bool)
    is_start[groups.starts] = is_start[place[_run_starts(changes)]] = True
    return KeyGroups(order, np.flatnonzero(is_start))


def _hash(columns: list[KeyArray]) -> KeyArray:
    """Mix 64-bit integers to one: multiply by odd constants, fold the high half down."""
    mixed = np.zeros(len(columns[0]), dtype=np.uint64)
    for column, constant in zip(columns, _ODD_CONSTANTS, strict=False):
        mixed += column
        mixed *= constant
        mixed ^= mixed >> _HALF
    return mixed * _ODD_CONSTANTS[0]
