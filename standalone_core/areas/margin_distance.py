"""Distance to the margin line along the surface, for all of it."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import dijkstra

from ..arrays import FloatArray, IntArray
from ..mesh.geodesics import polyline_sources
from ..mesh.triangle_mesh import TriangleMesh
from .area_set import MarginLine

_TINY_MM = 1e-9


def distance_to_line(mesh: TriangleMesh, line: MarginLine) -> FloatArray:
    """Return the distance of every vertex to the margin line along the surface, (n,), mm.

    Exact beside the line; farther away along edges and across pairs of faces (Dijkstra), some per
    cent too long: a deformation's reach is known no better. Infinite on parts that do not hang
    together with it.

    Parameters
    ----------
    mesh : TriangleMesh
    line : MarginLine
        On its surface.
    """
    sources = polyline_sources(mesh, line.points_mm, closed=line.closed)
    count = len(mesh.vertices)
    first, second = mesh.faces[mesh.graph.face_pairs.T]
    starts = np.concatenate([*mesh.faces.T, _opposite(first, second)])
    ends = np.concatenate([*np.roll(mesh.faces, 1, axis=1).T, _opposite(second, first)])
    lengths = np.linalg.norm(mesh.vertices[starts] - mesh.vertices[ends], axis=1)
    # One more vertex, joined to those beside the line by their distance to it.
    rows = np.concatenate([starts, np.full(len(sources.vertices), count)])
    columns = np.concatenate([ends, sources.vertices])
    weights = np.maximum(np.concatenate([lengths, sources.distance_mm]), _TINY_MM)
    both = coo_matrix((weights, (rows, columns)), shape=(count + 1, count + 1))
    graph: csr_matrix = _shortest(both)
    found: FloatArray = dijkstra(graph, directed=False, indices=count)[:count]
    return found


def _opposite(faces: IntArray, others: IntArray) -> IntArray:
    """Return the corner of each face, (p,), that the other face of its pair does not have."""
    own = ~(faces[:, :, None] == others[:, None, :]).any(axis=2)
    corner: IntArray = faces[np.arange(len(faces)), np.argmax(own, axis=1)]
    return corner


def _shortest(graph: coo_matrix) -> csr_matrix:
    """Return a graph whose edges that are there twice are there once, not added up."""
    _, first = np.unique(graph.row.astype(np.int64) * graph.shape[1] + graph.col, return_index=True)
    rows, columns, weights = graph.row[first], graph.col[first], graph.data[first]
    return csr_matrix((weights, (rows, columns)), shape=graph.shape)
