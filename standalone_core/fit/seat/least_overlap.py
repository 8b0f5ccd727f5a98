"""Of the poses at one height, that in which a crown overlaps its die least."""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, hstack, identity

from ...arrays import FloatArray, IntArray
from .motion import moved_on, placed
from .pair import Gaps, Pair
from .step import REACH

_SPACING_MM = 0.35
"""Distance of the places that choose the pose; how deep it overlaps there is then asked of all."""
_RADIUS_MM, _LEAST_RADIUS_MM = 0.05, 5e-5
_MOST_STEPS = 25
_WORTH = 0.95
"""A pose that leaves more than this share of the overlap is not worth leaving the first for."""


def least_overlap_pose(pair: Pair, pose: FloatArray) -> FloatArray:
    """Move a crown sideways and turn it, at its height, to where least material is in the way.

    The sum of the overlaps at places spread evenly, which is the volume of what overlaps, is made
    least by a sequence of linear programmes: min Σ s, gap + its change ≥ −s, s ≥ 0, in the two
    shifts across the path of insertion and the three turns about the margin line's middle.

    Parameters
    ----------
    pair : Pair
    pose : (4, 4) float
        ``T_die_crown`` whose height is kept.

    Returns
    -------
    (4, 4) float
        ``pose`` itself where nothing is gained by moving.
    """
    rows = pair.thinned(_SPACING_MM)
    middle = pair.crown.margin_line.points_mm.mean(axis=0)
    centre = placed(pose, middle)
    across = _across(pair.die.axis)
    first = least = _overlap(pair, pose, rows)
    best, radius, known = pose, _RADIUS_MM, None
    for _ in range(_MOST_STEPS):
        if least == 0.0 or radius < _LEAST_RADIUS_MM:
            break
        known = pair.gaps(best, REACH * radius, rows) if known is None else known
        step = _step(known, centre, across, pair.arm_mm, radius)
        if step is None:
            break
        tried = moved_on(best, step[:2] @ across, step[2:] / pair.arm_mm, centre)
        centre_tried = placed(tried, middle)
        overlap = _overlap(pair, tried, rows)
        if overlap < least:
            best, least, centre, known = tried, overlap, centre_tried, None
        else:
            radius, known = 0.3 * radius, None
    return best if least < _WORTH * first else pose


def _overlap(pair: Pair, pose: FloatArray, rows: IntArray) -> float:
    return -float(pair.gaps(pose, 0.0, rows).gap_mm.sum())


def _across(axis: FloatArray) -> FloatArray:
    """Two unit vectors across an axis, (2, 3)."""
    _, _, rows = np.linalg.svd(axis[None, :])
    across: FloatArray = rows[1:]
    return across


def _step(
    gaps: Gaps, centre: FloatArray, across: FloatArray, arm_mm: float, radius_mm: float
) -> FloatArray | None:
    """Two shifts and three turns (times the arm), (5,), mm; None if the solver finds none."""
    turning = (gaps.moment - np.cross(centre, gaps.direction)) / arm_mm
    rows = np.concatenate([-gaps.direction @ across.T, -turning], axis=1)
    count = len(gaps.gap_mm)
    matrix = hstack([csr_matrix(rows), -identity(count, format="csr")], format="csr")
    cost = np.concatenate([np.zeros(5), np.ones(count)])
    bounds = [(-radius_mm, radius_mm)] * 5 + [(0.0, None)] * count
    found = linprog(cost, A_ub=matrix, b_ub=gaps.gap_mm, bounds=bounds, method="highs")
    return found.x[:5] if found.status == 0 else None
