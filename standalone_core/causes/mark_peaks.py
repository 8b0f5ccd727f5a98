"""Where something stands out of the surface: peaks of what is left over a slowly varying level."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_matrix

from ..arrays import FloatArray, IntArray
from .mark_ground import MarkGround


def smoothed(neighbours: csr_matrix, values_mm: FloatArray) -> FloatArray:
    """Mean of each point and its neighbours, of those that count, (n,); NaN where none does."""
    counted = np.isfinite(values_mm)
    sums = neighbours @ np.where(counted, values_mm, 0.0)
    counts = neighbours @ counted.astype(np.float64)
    mean: FloatArray = np.divide(sums, counts, out=np.full(len(sums), np.nan), where=counts > 0)
    return mean


def level(ground: MarkGround, values_mm: FloatArray) -> FloatArray:
    """Level of the surface about each point, (n,): median over the cells of a disc."""
    counted = np.isfinite(values_mm)
    cells = len(ground.cells_about)
    counts = np.bincount(ground.cell[counted], minlength=cells)
    sums = np.bincount(ground.cell[counted], weights=values_mm[counted], minlength=cells)
    means = np.divide(sums, counts, out=np.full(cells, np.nan), where=counts > 0)
    about = means[ground.cells_about]
    if counts.all():
        medians = np.median(about, axis=1)
    else:
        about[~np.isfinite(about).any(axis=1)] = 0.0  # nothing was measured: no peak either
        medians = np.nanmedian(about, axis=1)
    spread: FloatArray = ground.spread @ medians
    return spread


def peaks(ground: MarkGround, height_mm: FloatArray, least_mm: float) -> IntArray:
    """Points that no neighbour surpasses and that are at least so high, the highest first.

    Parameters
    ----------
    ground : MarkGround
        n points.
    height_mm : (n,) float
        Above the level; NaN where it is not known.
    least_mm : float
    """
    high = np.flatnonzero(height_mm >= least_mm)  # no NaN is
    if not len(high):
        return high
    part = ground.neighbours[high]
    around = np.maximum.reduceat(np.nan_to_num(height_mm)[part.indices], part.indptr[:-1])
    tops: IntArray = high[height_mm[high] >= around]
    order: IntArray = tops[np.argsort(-height_mm[tops], kind="stable")]
    return order
