"""Which edges and vertices of a mesh lie on an open border."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray
from ..mesh.grouping import group_edges
from ..mesh.triangle_mesh import TriangleMesh


def border_features(mesh: TriangleMesh) -> BoolArray:
    """Return for each feature of each face whether it lies on an open border.

    Returns
    -------
    (m, 7) bool
        Columns by feature code: inside (never), three edges, three corners. An edge is a border
        where no other face has it; a corner where it ends a border edge.
    """
    start = mesh.faces
    end = np.roll(start, -1, axis=1)
    edges = group_edges(start.ravel(), end.ravel(), len(mesh.vertices))
    lone = np.zeros(start.shape, dtype=bool)
    lone.ravel()[edges.first[edges.counts == 1]] = True
    at_border = np.zeros(len(mesh.vertices), dtype=bool)
    at_border[start[lone]] = True
    at_border[end[lone]] = True
    features = np.zeros((len(start), 7), dtype=bool)
    features[:, 1:4] = lone
    features[:, 4:7] = at_border[start]
    return features
