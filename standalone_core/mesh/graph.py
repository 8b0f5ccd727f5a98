"""Neighbourhood in a triangle mesh: edges, pieces, borders."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from .grouping import KeyGroups, group_edges

if TYPE_CHECKING:
    from ..arrays import BoolArray, IntArray


@dataclass(frozen=True, eq=False)
class MeshGraph:
    """Edges of a mesh and what lies along them; ``TriangleMesh.graph`` keeps it.

    Side ``3 f + k`` is the side of face ``f`` from its corner ``k`` to its corner ``(k+1) % 3``.
    Faces that name a vertex twice have no sides here: a surface does not continue through them.

    Attributes
    ----------
    faces : (m, 3) int
    vertex_count : int
    """

    faces: IntArray
    vertex_count: int

    @cached_property
    def collapsed(self) -> BoolArray:
        """Faces that name a vertex twice, (m,)."""
        a, b, c = self.faces.T
        collapsed: BoolArray = (a == b) | (b == c) | (c == a)
        return collapsed

    @cached_property
    def _some_collapsed(self) -> bool:
        return bool(self.collapsed.any())

    @property
    def sides(self) -> IntArray:
        """Indices ``3 f + k`` of all sides, (s,)."""
        if not self._some_collapsed:
            return np.arange(3 * len(self.faces))
        return np.flatnonzero(np.repeat(~self.collapsed, 3))

    @property
    def side_starts(self) -> IntArray:
        """Vertex where each side starts as its face turns, (s,)."""
        return self._of_sides(self.faces)

    @property
    def side_ends(self) -> IntArray:
        """Vertex where each side ends, (s,)."""
        return self._of_sides(self.faces[:, [1, 2, 0]])

    def _of_sides(self, corners: IntArray) -> IntArray:
        flat = corners.ravel()
        return flat[self.sides] if self._some_collapsed else flat

    @cached_property
    def _groups(self) -> KeyGroups:
        return group_edges(self.side_starts, self.side_ends, self.vertex_count)

    @cached_property
    def edges(self) -> IntArray:
        """Vertices of each edge, lower index first, (e, 2)."""
        start, end = self.side_starts[self._groups.first], self.side_ends[self._groups.first]
        return np.stack([np.minimum(start, end), np.maximum(start, end)], axis=1)

    @cached_property
    def edge_face_count(self) -> IntArray:
        """Faces along each edge, (e,): 1 at a border, 2 inside, more where non-manifold."""
        return self._groups.counts

    @cached_property
    def face_edges(self) -> IntArray:
        """Edge of each side of each face, (m, 3); −1 for faces that name a vertex twice."""
        edges = np.full(3 * len(self.faces), -1)
        edges[self.sides] = self._groups.label
        return edges.reshape(-1, 3)

    @cached_property
    def non_manifold_edges(self) -> IntArray:
        """Edges with more than two faces, (k,) indices into ``edges``."""
        return np.flatnonzero(self.edge_face_count > 2)

    @cached_property
    def border_sides(self) -> IntArray:
        """Start and end vertex of the border edges, surface to the left, (b, 2)."""
        alone = np.sort(self._groups.first[self.edge_face_count == 1])
        return np.stack([self.side_starts[alone], self.side_ends[alone]], axis=1)

    @cached_property
    def border_vertices(self) -> BoolArray:
        """Vertices on an open border, (n,)."""
        mask = np.zeros(self.vertex_count, dtype=bool)
        mask[self.border_sides.ravel()] = True
        return mask

    @cached_property
    def inner_sides(self) -> IntArray:
        """The two sides along each edge that has exactly two faces, (p, 2) indices into sides."""
        start = self._groups.starts[self.edge_face_count == 2]
        return np.stack([self._groups.order[start], self._groups.order[start + 1]], axis=1)

    @cached_property
    def other_sides(self) -> tuple[IntArray, IntArray]:
        """Sides along edges with one or more than two faces, and their edges, (k,) each."""
        counts = self.edge_face_count
        is_other = counts != 2
        side = self._groups.order[np.repeat(is_other, counts)]
        return side, np.repeat(np.flatnonzero(is_other), counts[is_other])

    @cached_property
    def face_pairs(self) -> IntArray:
        """Faces that share an edge with exactly two faces, (p, 2)."""
        return self.sides[self.inner_sides] // 3

    @cached_property
    def pair_is_mixed(self) -> BoolArray:
        """Pairs of ``face_pairs`` that run their edge the same way: opposite winding, (p,)."""
        first, second = self.side_starts[self.inner_sides.T]
        mixed: BoolArray = first == second
        return mixed

    @cached_property
    def piece_of_face(self) -> IntArray:
        """Piece of each face, (m,): faces joined through vertices; numbered by first face."""
        a, b, c = self.faces.T
        pairs = np.concatenate([np.stack([a, b], axis=1), np.stack([b, c], axis=1)])
        return _by_appearance(components(pairs, self.vertex_count)[a])

    @cached_property
    def border_of_side(self) -> IntArray:
        """Border that each of ``border_sides`` belongs to, (b,): sides joined through vertices."""
        ends = self.border_sides
        return _by_appearance(components(ends, self.vertex_count)[ends[:, 0]])

    @cached_property
    def border_loops(self) -> list[IntArray]:
        """Open borders as ordered vertex indices, the one with most vertices first.

        A loop runs as its faces turn: the surface lies to its left, seen from outside. The first
        vertex is not repeated at the end. Where a border touches itself in a vertex it is divided
        there into loops that do not. A border that ends at a non-manifold edge comes as an open
        line.
        """
        return trace_loops(self.border_sides)


def components(pairs: IntArray, count: int) -> IntArray:
    """Label connected items, (count,).

    Parameters
    ----------
    pairs : (p, 2) int
        Items that belong together.
    count : int
        Number of items.
    """
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    if not count:
        return np.zeros(0, dtype=np.int64)
    ones = np.ones(len(pairs), dtype=np.int8)
    adjacency = coo_matrix((ones, (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    labels: IntArray = connected_components(adjacency, directed=False)[1].astype(np.int64)
    return labels


def _by_appearance(labels: IntArray) -> IntArray:
    """Renumber labels in the order in which they first appear."""
    _, first, inverse = np.unique(labels, return_index=True, return_inverse=True)
    number = np.empty(len(first), dtype=np.int64)
    number[np.argsort(first)] = np.arange(len(first))
    return number[inverse]


def trace_loops(sides: IntArray) -> list[IntArray]:
    """Follow directed sides, (b, 2), to closed loops of vertices, most vertices first; O(b)."""
    ways: dict[int, list[tuple[int, int]]] = {}
    for side, (start, end) in enumerate(sides.tolist()):
        ways.setdefault(start, []).append((side, end))
    # Against its direction a side is taken only where winding is mixed and no other way is left.
    for side, (start, end) in enumerate(sides.tolist()):
        ways.setdefault(end, []).append((side, start))
    is_used = [False] * len(sides)
    # Lines with an end go first, so that none is entered halfway.
    loops: list[list[int]] = []
    for first in sorted(ways, key=lambda vertex: (len(ways[vertex]) % 2 == 0, vertex)):
        while any(not is_used[side] for side, _ in ways[first]):
            loops += _walk(first, ways, is_used)
    loops.sort(key=lambda loop: -len(loop))
    return [np.array(loop, dtype=np.int64) for loop in loops]


def _walk(
    first: int, ways: dict[int, list[tuple[int, int]]], is_used: list[bool]
) -> list[list[int]]:
    """Walk from a vertex until there is no way on; cut a loop off whenever one closes."""
    loops: list[list[int]] = []
    path, place = [first], {first: 0}
    while True:
        way = next(((side, end) for side, end in ways[path[-1]] if not is_used[side]), None)
        if way is None:
            break
        side, following = way
        is_used[side] = True
        if following in place:
            begin = place[following]
            loops.append(path[begin:])
            for vertex in path[begin + 1 :]:
                del place[vertex]
            del path[begin + 1 :]
        else:
            place[following] = len(path)
            path.append(following)
    if len(path) > 1:
        loops.append(path)
    return loops
