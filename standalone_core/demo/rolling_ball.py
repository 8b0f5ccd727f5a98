"""What a ball that rolls over a surface from outside leaves under it: the closing by a ball.

A round tool of radius r cannot reach the bottom of an inside corner sharper than itself: the
milled surface there is the ball's, not the design's. The same construction tells how deep a
fossa is below what a round antagonist can touch.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from ..mesh.triangle_mesh import FloatArray


def ball_excess(
    points: FloatArray, normals: FloatArray, radius_mm: float, obstacles: FloatArray | None = None
) -> FloatArray:
    """Distance from each point to the surface that a rolling ball leaves above it.

    The ball may be centred wherever it touches the surface without cutting into it: at those
    ``p + r n`` whose nearest surface point is r away. The excess at p is then the distance to
    the nearest such centre less r: zero where the ball touches p itself, r(√2 − 1) at the bottom
    of a right-angled inside edge.

    Parameters
    ----------
    points, normals : (n, 3) array
        A dense sample of the surface with its outward unit normals. Its spacing h leaves an
        error of about h²/(8 r).
    radius_mm : float
        Radius of the ball.
    obstacles : (k, 3) array, optional
        What the ball must not cut into; the points themselves by default.

    Returns
    -------
    (n,) array
        Excess in mm, not negative.
    """
    centres = points + radius_mm * normals
    tree = cKDTree(points if obstacles is None else obstacles)
    clearance, _ = tree.query(centres)
    free = clearance >= radius_mm * (1.0 - 1e-9) - 1e-9
    slack = _sampling_slack(points, radius_mm)
    free |= clearance >= radius_mm - slack
    distance, _ = cKDTree(centres[free]).query(points)
    excess: FloatArray = np.maximum(distance - radius_mm, 0.0)
    return excess


def _sampling_slack(points: FloatArray, radius_mm: float) -> float:
    """How far a touching ball may seem to cut into a sampled surface: h²/(8 r) of its spacing."""
    some = points[:: max(1, len(points) // 2000)]
    spacing, _ = cKDTree(points).query(some, k=2)
    return float(np.median(spacing[:, 1]) ** 2 / (8.0 * radius_mm))
