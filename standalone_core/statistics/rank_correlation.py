"""Whether two measures of the same units rise together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..errors import SettingError
from .reasons import NO_REASON, Reason, because
from .samples import check_share, is_constant


@dataclass(frozen=True)
class RankCorrelation:
    """Spearman's rank correlation.

    Attributes
    ----------
    n, missing : int
        Units with both values; units left out.
    rho : float
        −1 to 1.
    p : float
        Two-sided; approximate for few units.
    ci_low, ci_high, confidence : float
        Interval, approximate too.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    n: int
    missing: int
    rho: float
    p: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


def spearman(first: ArrayLike, second: ArrayLike, *, confidence: float = 0.95) -> RankCorrelation:
    """Return the correlation of the (mid)ranks of two measures.

    p by Student's t with n − 2 degrees of freedom (``scipy.stats.spearmanr``). The interval is
    that of Fisher's z, artanh ρ ± z √((1 + ρ²/2)/(n − 3)): Bonett & Wright (2000), Psychometrika
    65: 23–28.

    Parameters
    ----------
    first, second : (n,) float
        Values of the same units; NaN counts as missing.
    confidence : float
        Of the interval.

    Returns
    -------
    RankCorrelation

    Raises
    ------
    SettingError
        Different counts.
    """
    check_share(confidence, "confidence")
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape:
        raise SettingError(
            f"The measures have shapes {a.shape} and {b.shape}.",
            subject="spearman",
            remedy="Give both for the same units, NaN where one is missing.",
        )
    both = ~(np.isnan(a) | np.isnan(b))
    a, b = a[both], b[both]
    n, missing, nan = len(a), int((~both).sum()), np.nan
    reason = NO_REASON
    if n < 4:
        reason = because("too_few_units", least=4, n=n)
    elif is_constant(a) or is_constant(b):
        reason = because("one_all_same")
    if reason:
        return RankCorrelation(n, missing, nan, nan, nan, nan, confidence, reason)
    test = stats.spearmanr(a, b)
    rho, p = float(np.clip(test.statistic, -1.0, 1.0)), float(test.pvalue)
    low, high = rho, rho
    if abs(rho) < 1:
        half = float(stats.norm.ppf(0.5 + confidence / 2)) * ((1 + rho**2 / 2) / (n - 3)) ** 0.5
        low, high = float(np.tanh(np.arctanh(rho) - half)), float(np.tanh(np.arctanh(rho) + half))
    return RankCorrelation(n, missing, rho, p, low, high, confidence, NO_REASON)
