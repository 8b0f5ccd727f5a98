"""Which edges and vertices of a mesh lie on an open border."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray
from ..mesh.triangle_mesh import TriangleMesh


def border_features(mesh: TriangleMesh) -> BoolArray:
    """Return for each feature of each face whether it lies on an open border.

    Returns
    -------
    (m, 7) bool
        Columns by feature code: inside (never), three edges, three corners. An edge is a border
        where no other face has it; a corner where it ends a border edge. Faces that name a vertex
        twice have no border and make none.
    """
    start = mesh.faces
    end = np.roll(start, -1, axis=1)
    graph = mesh.graph
    lone = np.append(graph.edge_face_count == 1, False)[graph.face_edges]
    at_border = np.zeros(len(mesh.vertices), dtype=bool)
    at_border[start[lone]] = True
    at_border[end[lone]] = True
    features = np.zeros((len(start), 7), dtype=bool)
    features[:, 1:4] = lone
    features[:, 4:7] = at_border[start]
    return features
