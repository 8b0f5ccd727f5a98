"""Filled fossae and corners that the tool did not reach, sized at points rather than cell means.

A cell mean mixes a fissure with its surroundings, which made sizes 8 % too small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from .design_fields import CauseFields
from .sizes import NORMAL_95

_LEAST_SHARE = 0.05
"""Points with less than this share of the deepest excess say nothing of its size."""


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


def local_size(
    fields: CauseFields, column: FloatArray, rest_mm: FloatArray, cell_sd: float
) -> LocalSize:
    """Fit one local column at the points.

    Parameters
    ----------
    fields : CauseFields
    column : (n,) float
        What the cause makes, mm per unit.
    rest_mm : (n,) float
        Deviations less all that is explained otherwise; NaN where not measured.
    cell_sd : float
        Standard error of the same factor from cell means, which knows of the covariance.
    """
    deepest = float(column.max())
    used = (column >= _LEAST_SHARE * deepest) & np.isfinite(rest_mm) & (fields.cell >= 0)
    weights = fields.area_set.evaluation.weights_mm2[used]
    column, rest = column[used], rest_mm[used]
    power = float(weights @ column**2)
    share = float((weights * column) @ rest) / power
    # Sandwich estimate with cells as units: also holds where the shape is not quite the ball's.
    scores = np.bincount(fields.cell[used], weights * column * (rest - share * column))
    sandwich = float(np.sqrt((scores**2).sum())) / power
    return LocalSize(share, max(sandwich, cell_sd), deepest)
