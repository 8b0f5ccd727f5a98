"""Parting a graph in two at the cheapest boundary."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray

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
    open_ = unknown[pairs].any(axis=1)
    tail, head = node[pairs[open_]].T
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


def without_islands(inside: BoolArray, pairs: IntArray, size: FloatArray) -> BoolArray:
    """Keep the largest connected part of either side; give all others to the other side.

    Parameters
    ----------
    inside : (n,) bool
    pairs : (p, 2) int
        Neighbours.
    size : (n,) float
        Size of each item.
    """
    result = inside.copy()
    same = pairs[inside[pairs[:, 0]] == inside[pairs[:, 1]]]
    ones = np.ones(len(same), dtype=np.int8)
    neighbours = coo_matrix((ones, (same[:, 0], same[:, 1])), shape=(len(size), len(size)))
    _, part = connected_components(neighbours, directed=False)
    total = np.bincount(part, weights=size)
    for side in (True, False):
        members = np.flatnonzero(inside == side)
        if members.size:
            largest = part[members][total[part[members]].argmax()]
            result[members] = np.where(part[members] == largest, side, not side)
    return result
