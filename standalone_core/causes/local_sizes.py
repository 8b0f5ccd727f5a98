"""Filled fossae and corners that the tool did not reach, sized at points rather than cell means.

A cell mean mixes a fissure with its surroundings, which made sizes 8 % too small; and form error
is as long as several fissures, so that only what stands out from the surroundings counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray, IntArray
from .design_fields import CauseFields
from .sizes import NORMAL_95

_LEAST_SHARE = 0.05
"""Points with less than this share of the deepest excess say nothing of its size."""

_BLOCK_MM = 2.0
"""Within blocks of this size smooth form error is a level, which is taken off."""

_SHAPE_SD = 0.025
"""Of a size: a mesh of 0.1 mm edges knows its own sharpest corners to about 5 % (measured)."""


@dataclass(frozen=True)
class LocalSize:
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
    sd: float
    deepest_mm: float

    def deepest_um(self) -> tuple[float, float, float]:
        """Return the size at the deepest place with its 95 % interval, µm."""
        half = NORMAL_95 * self.sd
        low, middle, high = (
            1e3 * self.deepest_mm * share
            for share in (self.share - half, self.share, self.share + half)
        )
        return middle, low, high


def local_size(fields: CauseFields, column: FloatArray, rest_mm: FloatArray) -> LocalSize:
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
    column = _less_block_mean(column[used], weights, block)
    rest = _less_block_mean(rest_mm[used], weights, block)
    power = float(weights @ column**2)
    share = float((weights * column) @ rest) / power
    # Sandwich estimate with blocks as units: holds too where the shape is not quite the ball's.
    scores = np.bincount(block, weights * column * (rest - share * column))
    sandwich = float(np.sqrt((scores**2).sum())) / power
    return LocalSize(share, float(np.hypot(sandwich, _SHAPE_SD * share)), deepest)


def _blocks(fields: CauseFields) -> IntArray:
    """Return the block of each point, (n,): cubes of :data:`_BLOCK_MM`, both sides apart."""
    points = fields.area_set.evaluation.points
    box = np.floor((points - points.min(axis=0)) / _BLOCK_MM).astype(np.int64)
    side = (fields.fields.inside > 0).astype(np.int64)
    _, block = np.unique(np.column_stack([box, side]), axis=0, return_inverse=True)
    return block.ravel()


def _less_block_mean(values: FloatArray, weights: FloatArray, block: IntArray) -> FloatArray:
    sums = np.bincount(block, weights * values) / np.maximum(np.bincount(block, weights), 1e-12)
    return values - sums[block]
