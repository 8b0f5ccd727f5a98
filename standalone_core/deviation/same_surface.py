"""Is a scan no scan, but the design's own surface?"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..mesh.triangle_mesh import TriangleMesh

_SAMPLE = 5_000
_SAME_MM = 3e-4
"""A vertex this near to one of the design's is one of the design's: a file's single precision and
the fit leave less, a scanner's noise more. Ours, no source."""
_SHARE = 0.9


def is_same_surface(design: TriangleMesh, scan: TriangleMesh) -> bool:
    """Return whether a superimposed scan has the design's own vertices, or some of them.

    A scanner places its points anywhere on a surface: that nine in ten of them fall on vertices
    of the design does not happen. So the file is the design, a moved copy, or a part of it.

    Parameters
    ----------
    design, scan : TriangleMesh
        In the design's frame, mm.
    """
    used = np.flatnonzero(scan.used_vertices)
    some = scan.vertices[used[np.linspace(0, len(used) - 1, min(len(used), _SAMPLE)).astype(int)]]
    tree = cKDTree(design.vertices, balanced_tree=False)
    away, _ = tree.query(some, distance_upper_bound=_SAME_MM)
    return float(np.isfinite(away).mean()) >= _SHARE
