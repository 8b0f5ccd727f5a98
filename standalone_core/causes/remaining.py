"""What no stated cause explains: how much, and over what distance it changes."""

from __future__ import annotations

import math

import numpy as np

from ..arrays import FloatArray
from .covariance import Covariance, gaussian
from .evidence import Evidence
from .result import Remaining
from .sizes import Fitted

_MATERN_AT_1_E = 2.1461932206205825 / math.sqrt(3.0)
"""Where (1 + √3 h) exp(−√3 h) = 1/e: −1 − W₋₁(−e⁻²) = 2.146, by Lambert's function."""


def correlation_length_mm(covariance: Covariance) -> float:
    """Return the distance at which the correlation has fallen to 1/e, mm."""
    factor = math.sqrt(2.0) if covariance.kernel is gaussian else _MATERN_AT_1_E
    return factor * covariance.length_mm


def remaining_of(
    evidence: Evidence,
    fit: Fitted,
    values: FloatArray,
    weights: FloatArray,
    repeatability_um: float,
) -> Remaining:
    """Describe what is left of the cells' deviations.

    Parameters
    ----------
    evidence : Evidence
    fit : Fitted
        Of the stated causes.
    values, weights : (c,) float
        Cell means, mm, and areas, mm².
    repeatability_um : float
        The scanner's; NaN if not known.
    """
    rest = values - fit.in_cells(evidence.model)
    rms = 1e3 * float(np.sqrt(np.average(rest**2, weights=weights)))
    return Remaining(
        rms_um=rms,
        correlation_mm=correlation_length_mm(evidence.covariance),
        scanner_ratio=rms / repeatability_um if repeatability_um > 0 else math.nan,
    )
