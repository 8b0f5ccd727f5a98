"""Yuen's test: two trimmed means, unequal spreads; an odd unit or two do not decide it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from .reasons import FIRST, NO_REASON, SECOND, Reason, because
from .samples import Sample, as_sample, check_share, is_constant, too_few

TRIM = 0.2
"""Share cut off at either end: the usual one (Wilcox, Introduction to Robust Estimation)."""


@dataclass(frozen=True)
class TrimmedTest:
    """Difference of two trimmed means, first group minus second.

    Attributes
    ----------
    n_a, n_b, cut_a, cut_b : int
        Measured units; how many of them were cut off at either end.
    mean_a, mean_b : float
        Trimmed means; NaN of an empty group.
    difference, standard_error : float
    t, df, p : float
        Statistic, degrees of freedom, two-sided p-value.
    ci_low, ci_high, confidence : float
        Interval of the difference.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    n_a: int
    n_b: int
    cut_a: int
    cut_b: int
    mean_a: float
    mean_b: float
    difference: float
    standard_error: float
    t: float
    df: float
    p: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True)
class _Trimmed:
    """A trimmed mean: units cut at either end and left, the mean, its squared standard error."""

    cut: int
    left: int
    mean: float
    variance: float
    flat: bool


def trimmed_test(
    a: ArrayLike, b: ArrayLike, *, trim: float = TRIM, confidence: float = 0.95
) -> TrimmedTest:
    """Compare two trimmed means without assuming equal spreads.

    Of n values ⌊trim n⌋ are cut off at either end, which leaves h; s_w² is the variance of the
    values of which these were not cut off but set to the last that stay (Winsorised), and
    d = (n − 1) s_w²/(h(h − 1)). t = difference/√(d_a + d_b) against Student's t with
    (d_a + d_b)²/(d_a²/(h_a − 1) + d_b²/(h_b − 1)) degrees of freedom. Yuen (1974), Biometrika 61:
    165–170. Up to four units nothing is cut off at a trim of 0.2, and the test is Welch's.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    trim : float
        Share cut off at either end, below ½.
    confidence : float
        Of the interval of the difference.

    Returns
    -------
    TrimmedTest

    Examples
    --------
    >>> result = trimmed_test([1.0, 2.0, 3.0, 4.0, 50.0], [2.0, 4.0, 6.0, 8.0, 9.0])
    >>> result.mean_a, result.mean_b, round(result.p, 4)
    (3.0, 6.0, 0.2007)
    """
    check_share(confidence, "confidence")
    check_share(2 * trim, "trim (doubled)")
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    own, other = _trimmed(first, trim), _trimmed(second, trim)
    reason = too_few({FIRST: first, SECOND: second}, 2)
    if not reason and own.flat and other.flat:
        reason = because("no_spread")
    difference = own.mean - other.mean
    error = t = df = p = low = high = np.nan
    if not reason:
        total = own.variance + other.variance
        parts = own.variance**2 / (own.left - 1) + other.variance**2 / (other.left - 1)
        error, df = float(np.sqrt(total)), total**2 / parts
        t = difference / error
        p = float(2 * special.stdtr(df, -abs(t)))
        half = float(special.stdtrit(df, 0.5 + confidence / 2)) * error
        low, high = difference - half, difference + half
    return TrimmedTest(
        n_a=first.n,
        n_b=second.n,
        cut_a=own.cut,
        cut_b=other.cut,
        mean_a=own.mean,
        mean_b=other.mean,
        difference=difference,
        standard_error=error,
        t=t,
        df=df,
        p=p,
        ci_low=low,
        ci_high=high,
        confidence=confidence,
        reason=reason or NO_REASON,
    )


def _trimmed(sample: Sample, trim: float) -> _Trimmed:
    n = sample.n
    cut = int(trim * n + 1e-9)
    left = n - 2 * cut
    if n == 0:
        return _Trimmed(0, 0, np.nan, np.nan, False)
    values = np.sort(sample.values)
    kept = values[cut : n - cut]
    flat = is_constant(kept)
    winsorised = np.clip(values, kept[0], kept[-1])
    spread = float(np.var(winsorised, ddof=1)) if n > 1 and not flat else 0.0
    variance = (n - 1) * spread / (left * (left - 1)) if left > 1 else np.nan
    return _Trimmed(cut, left, float(kept.mean()), variance, flat)
