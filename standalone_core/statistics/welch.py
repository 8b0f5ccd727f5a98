"""Welch's t test: two means, unequal spreads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from ..arrays import FloatArray, IntArray
from .reasons import FIRST, NO_REASON, SECOND, Reason, because
from .samples import Sample, as_sample, check_share, too_few


@dataclass(frozen=True)
class WelchTest:
    """Difference of two means, first group minus second.

    Attributes
    ----------
    n_a, n_b : int
        Measured units.
    difference, standard_error : float
        Of the means, in the unit of the values.
    t, df, p : float
        Statistic, Satterthwaite's degrees of freedom, two-sided p-value.
    ci_low, ci_high, confidence : float
        Interval of the difference.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    n_a: int
    n_b: int
    difference: float
    standard_error: float
    t: float
    df: float
    p: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


def welch_test(a: ArrayLike, b: ArrayLike, *, confidence: float = 0.95) -> WelchTest:
    """Compare two means without assuming equal spreads.

    t = (ā − b̄)/√(va + vb) with va = sa²/na, vb = sb²/nb, against Student's t with
    (va + vb)²/(va²/(na − 1) + vb²/(nb − 1)) degrees of freedom. Welch (1947), Biometrika 34: 28–35;
    Satterthwaite (1946), Biometrics Bulletin 2: 110–114.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        Of the interval of the difference.

    Returns
    -------
    WelchTest

    Examples
    --------
    >>> result = welch_test([1.0, 2.0, 3.0], [2.0, 4.0, 6.0])
    >>> round(result.t, 4), round(result.df, 4), round(result.p, 4)
    (-1.5492, 2.9412, 0.2209)
    """
    check_share(confidence, "confidence")
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    reason = cannot_compare(first, second)
    difference = float(first.values.mean() - second.values.mean()) if first.n * second.n else np.nan
    if reason:
        return WelchTest(
            n_a=first.n,
            n_b=second.n,
            difference=difference,
            standard_error=np.nan,
            t=np.nan,
            df=np.nan,
            p=np.nan,
            ci_low=np.nan,
            ci_high=np.nan,
            confidence=confidence,
            reason=reason,
        )
    v_a, v_b = _mean_variance(first), _mean_variance(second)
    error, df = _error_and_df(v_a, v_b, np.asarray(first.n), np.asarray(second.n))
    half = float(special.stdtrit(df, 0.5 + confidence / 2) * error)
    t = difference / float(error)
    return WelchTest(
        n_a=first.n,
        n_b=second.n,
        difference=difference,
        standard_error=float(error),
        t=t,
        df=float(df),
        p=float(2 * special.stdtr(df, -abs(t))),
        ci_low=difference - half,
        ci_high=difference + half,
        confidence=confidence,
        reason=NO_REASON,
    )


def cannot_compare(first: Sample, second: Sample) -> Reason:
    """Return why two means cannot be compared; no reason if they can."""
    reason = too_few({FIRST: first, SECOND: second}, 2)
    if not reason and first.constant and second.constant:
        reason = because("no_spread")
    return reason


def _mean_variance(sample: Sample) -> FloatArray:
    """Return the squared standard error of a mean."""
    if sample.constant:
        return np.zeros(())
    return np.asarray(np.var(sample.values, ddof=1) / sample.n)


def _error_and_df(
    v_a: FloatArray, v_b: FloatArray, n_a: IntArray, n_b: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the standard error of the difference and its degrees of freedom."""
    total = v_a + v_b
    df = total**2 / (v_a**2 / (n_a - 1) + v_b**2 / (n_b - 1))
    return np.sqrt(total), df
