"""Filled fossae and corners that the tool did not reach, sized at points rather than cell means.

A cell mean mixes a fissure with its surroundings, which made sizes 8 % too small; and form error
is as long as several fissures, so that only what stands out from the surroundings counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray, IntArray
from .design_fields import CauseFields
from .sizes import NORMAL_95

_LEAST_SHARE = 0.05
"""Points with less than this share of the deepest excess say nothing of its size."""

_TOP_SHARE = 0.5
"""Points with at least this share of it are the deepest places."""

_BLOCK_MM = 2.0
"""Within blocks of this size smooth form error is a level, which is taken off."""

SHAPE_SD = 0.05
"""Of a size: a mesh of 0.1 mm edges knows its own sharpest corners to about 5 % (measured)."""


@dataclass(frozen=True)
class SizeAtPoints:
    """How much of a column shows.

    Attributes
    ----------
    share : float
        The factor of the column that fits best.
    sd : float
        Its standard error, from cells as independent units.
    deepest_mm : float
        The largest value of the column.
    """

    share: float
    top_share: float
    top_sd: float
    deepest_mm: float

    def deepest_um(self) -> tuple[float, float, float]:
        """Return the size at the deepest place with its 95 % interval, µm."""
        half = NORMAL_95 * self.top_sd
        low, middle, high = (
            1e3 * self.deepest_mm * share
            for share in (self.top_share - half, self.top_share, self.top_share + half)
        )
        return middle, low, high


def local_size(fields: CauseFields, column: FloatArray, rest_mm: FloatArray) -> SizeAtPoints:
    """Fit one local column at the points.

    Parameters
    ----------
    fields : CauseFields
    column : (n,) float
        What the cause makes, mm per unit.
    rest_mm : (n,) float
        Deviations less all that is explained otherwise; NaN where not measured.
    """
    deepest = float(column.max())
    blocks = _blocks(fields)
    shows = np.bincount(blocks, column >= _LEAST_SHARE * deepest) > 0
    used = shows[blocks] & np.isfinite(rest_mm) & (fields.cell >= 0)
    weights, block = fields.area_set.evaluation.weights_mm2[used], blocks[used]
    column, rest = column[used], rest_mm[used]
    beside = np.where(column < _LEAST_SHARE * deepest, weights, 0.0)
    top = np.where(column >= _TOP_SHARE * deepest, weights, 0.0)
    share, sd = _slope(
        column - _block_means(column, weights, block),
        rest - _block_means(rest, weights, block),
        weights,
        block,
    )
    of_top, sd_of_top = _slope(column, rest - _block_means(rest, beside, block), top, block)
    return SizeAtPoints(
        share=share,
        top_share=of_top,
        top_sd=float(np.hypot(max(sd, sd_of_top), SHAPE_SD * of_top)),
        deepest_mm=deepest,
    )


def _slope(
    column: FloatArray, rest: FloatArray, weights: FloatArray, block: IntArray
) -> tuple[float, float]:
    """Fit rest = share × column; its standard error by the sandwich, with blocks as units.

    That holds too where the shape is not quite the ball's.
    """
    power = float(weights @ column**2)
    if power <= 0.0:
        return 0.0, 0.0
    share = float((weights * column) @ rest) / power
    scores = np.bincount(block, weights * column * (rest - share * column))
    return share, math.sqrt(float(scores @ scores)) / power


def _blocks(fields: CauseFields) -> IntArray:
    """Return the block of each point, (n,): cubes of :data:`_BLOCK_MM`, both sides apart."""
    points = fields.area_set.evaluation.points
    box = np.floor((points - points.min(axis=0)) / _BLOCK_MM).astype(np.int64)
    side = (fields.fields.inside > 0).astype(np.int64)
    _, block = np.unique(np.column_stack([box, side]), axis=0, return_inverse=True)
    return block.ravel()


def _block_means(values: FloatArray, weights: FloatArray, block: IntArray) -> FloatArray:
    """Return each point's block's mean, (k,); 0 in blocks without weight."""
    total = np.bincount(block, weights)
    means: FloatArray = np.bincount(block, weights * values) / np.maximum(total, 1e-12)
    return means[block]
