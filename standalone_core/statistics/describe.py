"""What the values of one group come to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import FloatArray
from .reasons import NO_REASON, Reason, because
from .samples import as_sample, check_share

QUARTILES = "linear (type 7 of Hyndman & Fan 1996)"


@dataclass(frozen=True)
class Description:
    """One group in numbers, in the unit of its values.

    A number that cannot be had is NaN and ``reason`` says why.

    Attributes
    ----------
    n, missing : int
        Measured units; units without a value.
    mean, sd, median : float
        ``sd`` with divisor n − 1.
    q1, q3, iqr : float
        Quartiles by linear interpolation between order statistics, at 1 + (n − 1)p; their
        difference.
    min, max : float
        Extremes.
    ci_low, ci_high : float
        Interval of the mean, mean ± t(1 − α/2, n − 1) sd/√n.
    confidence : float
        Of that interval.
    quartiles : str
        The convention.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    n: int
    missing: int
    mean: float
    sd: float
    median: float
    q1: float
    q3: float
    iqr: float
    min: float
    max: float
    ci_low: float
    ci_high: float
    confidence: float
    quartiles: str
    reason: Reason


def describe(values: ArrayLike, confidence: float = 0.95) -> Description:
    """Describe one group of values.

    The interval is Student's (1908): exact for normal values, about right for others of n ≥ 10
    or so without a long tail.

    Parameters
    ----------
    values : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        Of the interval of the mean.

    Returns
    -------
    Description

    Raises
    ------
    SettingError
        An infinite value, or a confidence that is not a share.

    Examples
    --------
    >>> result = describe([1.0, 2.0, 3.0, 4.0])
    >>> result.mean, round(result.sd, 4), result.q1, round(result.ci_low, 4)
    (2.5, 1.291, 1.75, 0.4457)
    """
    check_share(confidence, "confidence")
    sample = as_sample(values, "values")
    x = sample.values
    q1, median, q3 = np.percentile(x, [25, 50, 75]).tolist() if sample.n else [np.nan] * 3
    mean = float(np.mean(x)) if sample.n else np.nan
    sd = _sd(x, sample.constant)
    half = np.nan
    if sd > 0:
        half = float(stats.t.ppf(0.5 + confidence / 2, sample.n - 1)) * sd / sample.n**0.5
    return Description(
        n=sample.n,
        missing=sample.missing,
        mean=mean,
        sd=sd,
        median=median,
        q1=q1,
        q3=q3,
        iqr=q3 - q1,
        min=float(x.min()) if sample.n else np.nan,
        max=float(x.max()) if sample.n else np.nan,
        ci_low=mean - half,
        ci_high=mean + half,
        confidence=confidence,
        quartiles=QUARTILES,
        reason=_reason(sample.n, sample.constant),
    )


def _sd(values: FloatArray, constant: bool) -> float:
    if len(values) < 2:
        return np.nan
    return 0.0 if constant else float(np.std(values, ddof=1))


def _reason(n: int, constant: bool) -> Reason:
    if n == 0:
        return because("nothing_in_group")
    if n == 1:
        return because("single_value")
    return because("all_same_mean") if constant else NO_REASON
