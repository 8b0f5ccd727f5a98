"""How large a difference between two groups is, without a unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from .reasons import FIRST, NO_REASON, SECOND, Reason, because
from .samples import as_sample, check_share, is_constant, too_few
from .welch import cannot_compare

PROPORTIONAL_FROM = 1000.0  # t beyond which its noncentrality limits grow in proportion to it


@dataclass(frozen=True)
class HedgesG:
    """Standardised difference of means, first group minus second.

    Attributes
    ----------
    g : float
        Difference over the pooled SD, corrected for bias.
    correction, df : float
        The factor J and its degrees of freedom n_a + n_b − 2.
    ci_low, ci_high, confidence : float
        Interval of the true standardised difference.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    g: float
    correction: float
    df: int
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True)
class CliffDelta:
    """Share of pairs where the first group is larger minus share where it is smaller.

    Attributes
    ----------
    delta : float
        From −1 to 1.
    ci_low, ci_high, confidence : float
        Interval.
    method : str
        Of the interval.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    delta: float
    ci_low: float
    ci_high: float
    confidence: float
    method: str
    reason: Reason


def hedges_g(a: ArrayLike, b: ArrayLike, *, confidence: float = 0.95) -> HedgesG:
    """Return the difference of means in pooled standard deviations.

    g = J (ā − b̄)/s, s² = ((n_a − 1)s_a² + (n_b − 1)s_b²)/df, df = n_a + n_b − 2, and
    J = Γ(df/2)/(√(df/2) Γ((df − 1)/2)) exactly. Hedges (1981), Journal of Educational Statistics
    6: 107–128. The interval inverts the noncentral t distribution of (ā − b̄)/(s √(1/n_a + 1/n_b)):
    exact for normal values of equal spread.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        Of the interval.

    Returns
    -------
    HedgesG
    """
    check_share(confidence, "confidence")
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    df = max(0, first.n + second.n - 2)
    reason = cannot_compare(first, second)
    if reason:
        return HedgesG(np.nan, np.nan, df, np.nan, np.nan, confidence, reason)
    x, y = first.values, second.values
    pooled = (((x - x.mean()) ** 2).sum() + ((y - y.mean()) ** 2).sum()) / df
    d = float((x.mean() - y.mean()) / np.sqrt(pooled))
    scale = (1 / first.n + 1 / second.n) ** 0.5
    low, high = noncentrality_limits(d / scale, df, confidence)
    j = hedges_correction(df)
    return HedgesG(j * d, j, df, low * scale, high * scale, confidence, NO_REASON)


def hedges_correction(df: int) -> float:
    """Return J = Γ(df/2)/(√(df/2) Γ((df − 1)/2)); 0 for one degree of freedom."""
    if df < 2:
        return 0.0
    log = special.gammaln(df / 2) - special.gammaln((df - 1) / 2) - 0.5 * np.log(df / 2)
    return float(np.exp(log))


def noncentrality_limits(t: float, df: int, confidence: float) -> tuple[float, float]:
    """Return the noncentralities for which t lies at either end of its central range.

    Beyond :data:`PROPORTIONAL_FROM` they grow in proportion to t, to a relative 1e-5 or better.
    """
    shrink = max(1.0, abs(t) / PROPORTIONAL_FROM)
    near = t / shrink

    def excess(noncentrality: float, share: float) -> float:
        # Where the noncentrality lies too far out for the library, the chance is 0 or 1.
        with np.errstate(all="ignore"):
            chance = float(stats.nct.cdf(near, df, noncentrality))
        return (float(noncentrality < near) if np.isnan(chance) else chance) - share

    bounds = 5 * min(near, 0.0) - 12, 5 * max(near, 0.0) + 12
    low, high = (
        float(optimize.brentq(excess, *bounds, args=(share,), xtol=1e-10))
        for share in (0.5 + confidence / 2, 0.5 - confidence / 2)
    )
    return low * shrink, high * shrink


def cliff_delta(a: ArrayLike, b: ArrayLike, *, confidence: float = 0.95) -> CliffDelta:
    """Return by how much pairs with the first group larger outnumber the others.

    δ = P(a > b) − P(a < b) = 2U/(n_a n_b) − 1. Cliff (1993), Psychological Bulletin 114: 494–509.
    The interval is Newcombe's (2006, part 2, Statistics in Medicine 25: 559–573, method 5; the
    formula from memory): with θ = (1 + δ)/2 it holds all θ for which
    |θ̂ − θ| ≤ z √(θ(1 − θ)(1 + m(1 − θ)/(2 − θ) + mθ/(1 + θ))/(n_a n_b)), m = (n_a + n_b)/2 − 1.
    It stays inside −1 to 1 and keeps a width where the groups do not overlap at all.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    confidence : float
        Of the interval; approximate.

    Returns
    -------
    CliffDelta
    """
    check_share(confidence, "confidence")
    first, second = as_sample(a, "first group"), as_sample(b, "second group")
    method = "Newcombe 2006, method 5"
    reason = too_few({FIRST: first, SECOND: second}, 1)
    if reason:
        return CliffDelta(np.nan, np.nan, np.nan, confidence, method, reason)
    delta = float(np.sign(np.subtract.outer(first.values, second.values)).mean())
    if is_constant(np.concatenate([first.values, second.values])):
        reason = because("all_same_interval")
        return CliffDelta(0.0, np.nan, np.nan, confidence, method, reason)
    z = float(stats.norm.ppf(0.5 + confidence / 2))
    low, high = _newcombe_limits((1 + delta) / 2, first.n, second.n, z)
    return CliffDelta(delta, 2 * low - 1, 2 * high - 1, confidence, method, NO_REASON)


def _newcombe_limits(seen: float, n_a: int, n_b: int, z: float) -> tuple[float, float]:
    """Return the lowest and highest θ that a share ``seen`` of the pairs does not contradict."""
    spare = (n_a + n_b) / 2 - 1

    def excess(theta: float) -> float:
        inner = 1 + spare * ((1 - theta) / (2 - theta) + theta / (1 + theta))
        return (seen - theta) ** 2 - z**2 * theta * (1 - theta) * inner / (n_a * n_b)

    inside = min(max(seen, 1e-9), 1 - 1e-9)  # the ends solve the equation without being limits
    low = 0.0 if seen <= 0 else float(optimize.brentq(excess, 0.0, inside))
    high = 1.0 if seen >= 1 else float(optimize.brentq(excess, inside, 1.0))
    return low, high
