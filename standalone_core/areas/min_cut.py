"""Parting a graph in two at the cheapest boundary."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

from ..arrays import BoolArray, FloatArray, IntArray

_STEPS_PER_UNIT = 1e4  # the flow counts in whole numbers
_SOURCE, _SINK = 0, 1


def cheapest_parting(
    inside: BoolArray,
    outside: BoolArray,
    pairs: IntArray,
    cost: FloatArray,
    pull: FloatArray,
) -> BoolArray:
    """Part items in two so that cut pairs and overruled pulls cost least together.

    A minimum cut between two terminals (Boykov & Jolly 2001). Pairs of two known items cost
    nothing to look at, so that the time grows with the count of unknown items.

    Parameters
    ----------
    inside, outside : (n,) bool
        Items whose side is known; an item may be neither, none may be both.
    pairs : (p, 2) int
        Neighbours.
    cost : (p,) float
        Cost of parting each pair, ≥ 0.
    pull : (n,) float
        How strongly each unknown item belongs inside (> 0) or outside (< 0), in the same unit.

    Returns
    -------
    (n,) bool
        Which items are inside.
    """
    unknown = ~inside & ~outside
    node = np.where(inside, _SOURCE, _SINK)
    node[unknown] = 2 + np.arange(unknown.sum())
    tail, head = node[pairs[:, 0]], node[pairs[:, 1]]
    open_ = np.flatnonzero((tail > _SINK) | (head > _SINK))
    tail, head = tail[open_], head[open_]
    own, pulled = node[unknown], pull[unknown]
    inward = pulled > 0
    tails = [tail, head, np.full(inward.sum(), _SOURCE), own[~inward]]
    heads = [head, tail, own[inward], np.full((~inward).sum(), _SINK)]
    weights = [cost[open_], cost[open_], np.abs(pulled[inward]), np.abs(pulled[~inward])]
    whole = np.rint(np.concatenate(weights) * _STEPS_PER_UNIT)
    size = 2 + len(own)
    places = (np.concatenate(tails), np.concatenate(heads))
    capacity: Any = coo_matrix(
        (np.maximum(whole, 1).astype(np.int32), places), shape=(size, size)
    ).tocsr()
    left = (capacity - maximum_flow(capacity, _SOURCE, _SINK).flow).tocsr()
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = np.zeros(size, dtype=bool)
    reached[breadth_first_order(left, _SOURCE, return_predecessors=False)] = True
    result: BoolArray = reached[node]
    return result


def enclosed_by(side: BoolArray, other: BoolArray, pairs: IntArray) -> BoolArray:
    """Find the items of neither side whose connected part touches the first side only, (n,).

    Parameters
    ----------
    side, other : (n,) bool
    pairs : (p, 2) int
        All pairs of neighbours with an item of neither side.
    """
    neither = ~side & ~other
    part = part_of_items(neither, pairs)
    touches = np.zeros((2, len(side) + 1), dtype=bool)  # the last place takes what has no part
    for a, b in (pairs.T, pairs[:, ::-1].T):
        touches[0, part[a[side[b]]]] = True
        touches[1, part[a[other[b]]]] = True
    enclosed: BoolArray = neither & (touches[0] & ~touches[1])[part]
    return enclosed


def largest_part(items: BoolArray, pairs: IntArray, size: FloatArray) -> BoolArray:
    """Keep the largest connected part of a set of items, (n,) bool.

    Parameters
    ----------
    items : (n,) bool
    pairs : (p, 2) int
        Neighbours.
    size : (n,) float
        Size of each item.
    """
    part = part_of_items(items, pairs)
    total = np.bincount(part + 1, weights=size)
    total[0] = -1.0
    largest: BoolArray = items & (part == total.argmax() - 1)
    return largest


def part_of_items(items: BoolArray, pairs: IntArray) -> IntArray:
    """Number the connected parts of a set of items, (n,) int; −1 outside the set."""
    first, second = items[pairs[:, 0]], items[pairs[:, 1]]
    inside = pairs[first & second]
    index = np.cumsum(items) - 1
    count = int(items.sum())
    places = (index[inside[:, 0]], index[inside[:, 1]])
    ones = np.ones(len(inside), dtype=np.int8)
    neighbours = coo_matrix((ones, places), shape=(count, count))
    part = np.full(len(items), -1)
    part[items] = connected_components(neighbours, directed=False)[1]
    return part


def without_islands(inside: BoolArray, pairs: IntArray, size: FloatArray) -> BoolArray:
    """Keep the largest connected part of either side; give all others to the other side."""
    kept = largest_part(inside, pairs, size)
    outside = largest_part(~kept, pairs, size)
    return ~outside
