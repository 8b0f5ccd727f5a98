"""How a surface bends over the edges of its faces, and to which side."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray, cross
from ..mesh.triangle_mesh import TriangleMesh


def face_bends(mesh: TriangleMesh) -> FloatArray:
    """Return tan(θ/2) for each edge of each face, θ the angle between the normals across it.

    Two planes that meet at an angle are equally far from what lies on the plane that halves it: a
    point at height d over a face and s away from the edge is nearer to the other face where
    s < d tan(θ/2), if the surface bends towards it.

    Returns
    -------
    (m, 3) float
        Positive where the surface bends to its front (concave), negative where it bends back
        (convex). Infinite where more than two faces meet or windings differ, 0 at a border.
    """
    graph = mesh.graph
    bends = np.zeros(3 * len(mesh.faces))
    sides = graph.sides[graph.inner_sides]
    one, other = (mesh.face_normals.take(sides[:, k] // 3, axis=0) for k in range(2))
    start = mesh.vertices.take(mesh.faces.ravel().take(sides[:, 0]), axis=0)
    next_side = sides[:, 0] + np.where(sides[:, 0] % 3 == 2, -2, 1)
    along = mesh.vertices.take(mesh.faces.ravel().take(next_side), axis=0) - start
    sine = np.einsum("ij,ij->i", cross(other, one), along)
    sine /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)
    cosine = np.einsum("ij,ij->i", one, other)
    bend = sine / np.maximum(1.0 + cosine, 1e-9)
    bends[sides] = np.where(graph.pair_is_mixed, np.inf, bend)[:, None]
    lone = graph.edge_face_count == 1
    crowded, edge = graph.other_sides
    bends[graph.sides[crowded]] = np.where(lone[edge], 0.0, np.inf)
    return bends.reshape(-1, 3)
