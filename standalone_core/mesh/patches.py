"""Connected patches of vertices of a mesh, and their neighbours."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, IntArray
from .graph import components


def connected_patches(faces: IntArray, marked: BoolArray) -> list[IntArray]:
    """Return the vertices of each connected patch of marked vertices (joined by marked edges).

    Parameters
    ----------
    faces : (m, 3) int
    marked : (n,) bool

    Returns
    -------
    list of (k,) int
        Ascending within a patch; patches by their first vertex.
    """
    vertices = np.flatnonzero(marked)
    if not len(vertices):
        return []
    number = np.full(len(marked), -1)
    number[vertices] = np.arange(len(vertices))
    at_least_two = np.count_nonzero(marked[faces], axis=1) >= 2
    corners = number[faces[at_least_two]]
    edges = corners[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    patch = components(edges[(edges >= 0).all(axis=1)], len(vertices))
    order = np.argsort(patch, kind="stable")
    starts = np.searchsorted(patch[order], np.arange(1, patch.max() + 1))
    return np.split(vertices[order], starts)


def with_neighbours(marked: BoolArray, faces: IntArray) -> BoolArray:
    """Return marked vertices and those that share a face with one, (n,).

    Parameters
    ----------
    marked : (n,) bool
    faces : (m, 3) int
    """
    around = marked.copy()
    around[faces[marked[faces].any(axis=1)]] = True
    return around
