"""Query points in groups of near neighbours, groups in neighbourhoods, those in blocks of work."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.morton import CodeArray, cells_of, cells_with, morton_codes, runs, sorting_order

GROUP = 16
"""Points in a group: they share one list of candidate pieces."""
NEIGHBOURHOOD = 24
"""Groups in a neighbourhood: they share one list of candidate clusters."""
_BLOCK = 2048
_GROUP_CELL = 16


@dataclass(frozen=True, eq=False)
class Block:
    """A share of the query, small enough for the processor's cache.

    Attributes
    ----------
    points : (n,) int
        Query points.
    slots : (g, GROUP) int
        Places in ``points`` of each group's points; groups that are not full repeat one.
    repeated : (g, GROUP) bool
        Which slots are such repeats.
    members : (k, NEIGHBOURHOOD) int
        Groups of each neighbourhood; −1 fills it up.
    """

    points: IntArray
    slots: IntArray
    repeated: BoolArray
    members: IntArray


def blocks_of(points: FloatArray, low: FloatArray, high: FloatArray, widest: float) -> list[Block]:
    """Sort points along a space-filling curve and cut them into blocks.

    Parameters
    ----------
    points : (n, 3) float
        At least one.
    low, high : (3,) float
        Beyond this box places are no longer told apart.
    widest : float
        Points farther apart than about this are not put into one group, mm.
    """
    codes, order, size = _sorted_codes(points, low, high)
    shift = np.uint32(min(cells_with(codes, _GROUP_CELL), cells_of(widest / size)))
    slots, again = runs(codes >> shift, GROUP)
    cells = codes[slots[:, 0]] >> min(shift + np.uint32(3), np.uint32(30))
    members, repeated = runs(cells, NEIGHBOURHOOD)
    first, last = members[:, 0], members[:, -1]
    cuts = np.searchsorted(last, np.arange(_BLOCK, len(slots), _BLOCK))
    cuts = np.unique(np.concatenate([[0], cuts, [len(members)]]))
    members = np.where(repeated, -1, members)
    blocks = []
    for start, stop in pairwise(cuts):
        groups = slice(first[start], last[stop - 1] + 1)
        begin, end = slots[groups.start, 0], slots[groups.stop - 1, -1] + 1
        local = members[start:stop]
        blocks.append(
            Block(
                points=order[begin:end],
                slots=slots[groups] - begin,
                repeated=again[groups],
                members=np.where(local >= 0, local - groups.start, -1),
            )
        )
    return blocks


def order_in_box(points: FloatArray, low: FloatArray, high: FloatArray) -> IntArray:
    """Order (n,) of points along a space-filling curve; parameters as in :func:`blocks_of`."""
    return _sorted_codes(points, low, high)[1]


def _sorted_codes(
    points: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[CodeArray, IntArray, float]:
    """Sorted codes of the points, their order, and the size of the box that the codes divide."""
    low = np.clip(points.min(axis=0), low, high)
    size = max(float((np.clip(points.max(axis=0), low, high) - low).max()), 1e-12)
    codes = morton_codes(points, low, size)
    order = sorting_order(codes)
    return codes[order], order, size
