"""Patches of the intaglio whose mean gap holds crown and die apart.

The highest of N noisy points stands about σ √(2 ln N) above the surface, and a wall lifts the
crown by its height over the sine of its taper: scans of 2 µm of noise would rest 50 µm high on
single points. The mean over a patch hardly knows noise.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix
from scipy.spatial import cKDTree

from ...arrays import BoolArray, FloatArray, IntArray
from ..crown import FitCrown

SPACING_SHARE = 2 / 3
"""Distance of the patches' middles, as a share of their radius."""


def patch_middles(points: FloatArray, spacing_mm: float) -> IntArray:
    """Choose points about a spacing apart: of each cell of a grid the one nearest to its middle.

    Returns
    -------
    (k,) int
        Rows of the points, ascending.
    """
    cells = np.floor(points / spacing_mm)
    off = np.linalg.norm(points - (cells + 0.5) * spacing_mm, axis=1)
    order = np.argsort(off, kind="stable")
    _, first = np.unique(cells[order], axis=0, return_index=True)
    chosen: IntArray = np.sort(order[first])
    return chosen


def patch_weights(
    crown: FitCrown, points: IntArray, radius_mm: float, left_out_mm: float
) -> tuple[csr_matrix, IntArray]:
    """Return the weights of the points in the mean of each patch.

    Parameters
    ----------
    crown : FitCrown
    points : (n,) int
        Evaluation points that are measured; those on the intaglio beyond ``left_out_mm`` of the
        margin line are averaged, by the area that each stands for.
    radius_mm, left_out_mm : float

    Returns
    -------
    weights : (r, n) sparse
        Rows sum to 1.
    middle : (r,) int
        Which of the points is in the middle of each patch.
    """
    inner: BoolArray = crown.intaglio[points] & (crown.margin_distance_mm[points] > left_out_mm)
    columns = np.flatnonzero(inner)
    places = crown.evaluation.points[points[columns]]
    normals = crown.evaluation.normals[points[columns]]
    middles = patch_middles(places, SPACING_SHARE * radius_mm)
    near = cKDTree(places).query_ball_point(places[middles], radius_mm, return_sorted=True)
    row = np.repeat(np.arange(len(middles)), [len(each) for each in near])
    column = np.concatenate(near).astype(np.int64) if len(near) else np.zeros(0, np.int64)
    # Across a thin fin of the die lies the intaglio's other wall: not of this patch.
    same = np.einsum("ij,ij->i", normals[middles[row]], normals[column]) > 0
    row, column = row[same], column[same]
    weight = crown.evaluation.weights_mm2[points[columns[column]]]
    total = np.bincount(row, weight, len(middles))
    weights = csr_matrix((weight / total[row], (row, columns[column])), (len(middles), len(points)))
    return weights, columns[middles]
