"""Which rows of an integer array are equal: the sort behind merging and edge finding."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .triangle_mesh import FloatArray, IntArray

KeyArray = NDArray[np.uint64]

_ODD_CONSTANTS = tuple(
    np.uint64(c) for c in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
)
_HALF = np.uint64(29)


@dataclass(frozen=True, eq=False)
class Groups:
    """Items sorted into groups of equal key.

    Attributes
    ----------
    order : (n,) int
        Items with equal keys side by side; inside a group in their original order.
    starts : (g,) int
        Where each group begins in ``order``; groups are in ascending order of key.
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


def group_keys(keys: KeyArray, bits: int) -> Groups:
    """Group equal unsigned integers.

    Parameters
    ----------
    keys : (n,) uint64
    bits : int
        Bits that the largest key needs. Where key and position fit together into 64 bits, one
        sort of plain integers replaces the several times slower indirect sort.
    """
    n = len(keys)
    index_bits = max(n - 1, 0).bit_length()
    if bits + index_bits <= 64:
        shift = np.uint64(index_bits)
        packed = (keys << shift) | np.arange(n, dtype=np.uint64)
        packed.sort()
        order = (packed & np.uint64((1 << index_bits) - 1)).astype(np.int64)
        sorted_keys = packed >> shift
    else:
        order = np.argsort(keys, kind="stable")
        sorted_keys = keys[order]
    is_start = np.ones(n, dtype=bool)
    np.not_equal(sorted_keys[1:], sorted_keys[:-1], out=is_start[1:])
    return Groups(order, np.flatnonzero(is_start))


def group_rows(rows: KeyArray) -> Groups:
    """Group equal rows of three unsigned integers, (n, 3), by a hash that is then checked."""
    index_bits = max(len(rows) - 1, 0).bit_length()
    groups = group_keys(_hash(rows) >> np.uint64(index_bits), 64 - index_bits)
    if (rows[groups.first].take(groups.label, axis=0) == rows).all():
        return groups
    return _group_rows_exactly(rows)


def _group_rows_exactly(rows: KeyArray) -> Groups:
    """Group by sorting whole rows; slow, for the rare case that two different hashes meet."""
    order = np.lexsort(rows.T)
    is_start = np.ones(len(rows), dtype=bool)
    is_start[1:] = (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    return Groups(order, np.flatnonzero(is_start))


def _hash(rows: KeyArray) -> KeyArray:
    """Mix three 64-bit integers to one: multiply by odd constants, fold the high half down."""
    mixed = np.zeros(len(rows), dtype=np.uint64)
    for column, constant in enumerate(_ODD_CONSTANTS):
        mixed += rows[:, column]
        mixed *= constant
        mixed ^= mixed >> _HALF
    return mixed * _ODD_CONSTANTS[0]


def group_points(points: FloatArray) -> Groups:
    """Group exactly equal finite points, (n, 3) float64; −0 equals +0."""
    return group_rows((points + 0.0).view(np.uint64))


def group_edges(starts: IntArray, ends: IntArray, vertex_count: int) -> Groups:
    """Group edges, each from a vertex (k,) to another (k,), whichever way round."""
    bits = max(vertex_count - 1, 1).bit_length()
    low = np.minimum(starts, ends).astype(np.uint64)
    high = np.maximum(starts, ends).astype(np.uint64)
    return group_keys((low << np.uint64(bits)) | high, 2 * bits)
