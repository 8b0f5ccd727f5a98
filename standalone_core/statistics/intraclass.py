"""Intraclass correlations: how much of the variance lies between units, not between raters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from ..arrays import FloatArray
from .reasons import NO_REASON, Reason, because
from .samples import check_share


@dataclass(frozen=True)
class Intraclass:
    """Agreement of raters on the same units.

    Attributes
    ----------
    n, raters : int
        Units that all raters rated; raters.
    agreement, agreement_low, agreement_high : float
        ICC(A,1), also called (2,1): one rater's values against another's, their levels included.
    consistency, consistency_low, consistency_high : float
        ICC(C,1), also called (3,1): their levels left out.
    confidence : float
        Of the intervals.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    n: int
    raters: int
    agreement: float
    agreement_low: float
    agreement_high: float
    consistency: float
    consistency_low: float
    consistency_high: float
    confidence: float
    reason: Reason


def intraclass(values: ArrayLike, *, confidence: float = 0.95) -> Intraclass:
    """Return the intraclass correlations of a table of units × raters, single ratings.

    With the mean squares of units MSR, of raters MSC and of the rest MSE,
    ICC(C,1) = (MSR − MSE)/(MSR + (k − 1)MSE) and
    ICC(A,1) = (MSR − MSE)/(MSR + (k − 1)MSE + k(MSC − MSE)/n); intervals by F, that of the second
    with Satterthwaite's degrees of freedom. McGraw & Wong (1996), Psychological Methods 1: 30–46;
    Shrout & Fleiss (1979), Psychological Bulletin 86: 420–428.

    Parameters
    ----------
    values : (n, k) float
        Units with a gap (NaN) are left out.
    confidence : float

    Returns
    -------
    Intraclass

    Examples
    --------
    >>> found = intraclass([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9],
    ...                     [6, 2, 4, 7]])
    >>> round(found.agreement, 4), round(found.consistency, 4)
    (0.2898, 0.7148)
    """
    check_share(confidence, "confidence")
    table = np.asarray(values, dtype=np.float64)
    table = table[~np.isnan(table).any(axis=1)]
    n, k = table.shape
    if n < 2 or k < 2:
        reason = because("too_few_units", least=2, n=n if k > 1 else 0)
        return _without(n, k, confidence, reason)
    rows, columns, rest = _mean_squares(table)
    if rows + columns + rest <= 0:
        return _without(n, k, confidence, because("all_same"))
    agreement = (rows - rest) / (rows + (k - 1) * rest + k * (columns - rest) / n)
    consistency = (rows - rest) / (rows + (k - 1) * rest)
    low, high = _agreement_interval((rows, columns, rest), n, k, agreement, confidence)
    own_low, own_high = _consistency_interval(rows, rest, n, k, confidence)
    return Intraclass(
        n=n,
        raters=k,
        agreement=agreement,
        agreement_low=low,
        agreement_high=high,
        consistency=consistency,
        consistency_low=own_low,
        consistency_high=own_high,
        confidence=confidence,
        reason=NO_REASON,
    )


def _mean_squares(table: FloatArray) -> tuple[float, float, float]:
    n, k = table.shape
    grand = table.mean()
    units, raters = table.mean(axis=1) - grand, table.mean(axis=0) - grand
    rest = table - grand - units[:, None] - raters[None, :]
    rows, columns = k * float(units @ units) / (n - 1), n * float(raters @ raters) / (k - 1)
    return rows, columns, float((rest**2).sum()) / ((n - 1) * (k - 1))


def _consistency_interval(
    rows: float, rest: float, n: int, k: int, confidence: float
) -> tuple[float, float]:
    if rest <= 0:
        return 1.0, 1.0
    ratio, tail = rows / rest, (1 - confidence) / 2
    df_units, df_rest = n - 1, (n - 1) * (k - 1)
    low = ratio / special.fdtri(df_units, df_rest, 1 - tail)
    high = ratio * special.fdtri(df_rest, df_units, 1 - tail)
    return float((low - 1) / (low + k - 1)), float((high - 1) / (high + k - 1))


def _agreement_interval(
    squares: tuple[float, float, float], n: int, k: int, icc: float, confidence: float
) -> tuple[float, float]:
    rows, columns, rest = squares
    if rest + columns <= 0:
        return 1.0, 1.0
    a = k * icc / (n * (1 - icc))
    b = 1 + k * icc * (n - 1) / (n * (1 - icc))
    parts = (a * columns) ** 2 / (k - 1) + (b * rest) ** 2 / ((n - 1) * (k - 1))
    df = (a * columns + b * rest) ** 2 / parts
    tail = (1 - confidence) / 2
    lower = special.fdtri(n - 1, df, 1 - tail)
    upper = special.fdtri(df, n - 1, 1 - tail)
    raters, spread = k * columns + (k * n - k - n) * rest, n * rows
    low = n * (rows - lower * rest) / (lower * raters + spread)
    high = n * (upper * rows - rest) / (raters + upper * spread)
    return float(low), float(high)


def _without(n: int, k: int, confidence: float, reason: Reason) -> Intraclass:
    nan = float("nan")
    return Intraclass(n, k, nan, nan, nan, nan, nan, nan, confidence, reason)
