"""How many units a group are needed, for a difference or for equivalence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from ..arrays import FloatArray, IntArray
from ..errors import SettingError
from .samples import check_positive, check_share

MOST = 100_000
"""A plan that needs more units a group than this is refused."""

_NODES, _NODE_WEIGHTS = np.polynomial.legendre.leggauss(200)


@dataclass(frozen=True)
class SampleSize:
    """A plan for two groups of the same size.

    Attributes
    ----------
    purpose : {"difference", "equivalence"}
    n : int
        Smallest count per group that reaches the power.
    power, target_power : float
        What n reaches, and what was asked for.
    difference, margin : float
        True difference of means that is assumed; margin (NaN for a difference).
    sd_a, sd_b, alpha : float
        Standard deviations; level (two-sided for a difference, each side for equivalence).
    curve_n : (k,) int
        From 2 to about twice n: counts per group.
    curve_power : (k,) float
        The power that each reaches.
    method : str
    """

    purpose: Literal["difference", "equivalence"]
    n: int
    power: float
    target_power: float
    difference: float
    margin: float
    sd_a: float
    sd_b: float
    alpha: float
    curve_n: IntArray
    curve_power: FloatArray
    method: str


def size_for_difference(
    difference: float,
    sd_a: float,
    sd_b: float | None = None,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
) -> SampleSize:
    """Return how many per group show a difference of means by Welch's test.

    The smallest n with P(|T| > t(1 − α/2, ν)) ≥ power, T noncentral t with ν degrees of freedom
    and noncentrality |difference|/se: see :func:`power_of_difference`.

    Parameters
    ----------
    difference : float
        That is to be shown, not 0, in the unit of the values.
    sd_a, sd_b : float
        Standard deviations of the groups, from a pilot; one alone counts for both. A pilot of a
        few units may err by a factor of two: try its upper limit too.
    power, alpha : float
        Chance of success wanted; two-sided level.

    Returns
    -------
    SampleSize

    Raises
    ------
    SettingError
        A number outside what is allowed, or more than :data:`MOST` needed.
    """
    sd_b = sd_a if sd_b is None else sd_b
    _check(sd_a, sd_b, power, alpha)
    check_positive(abs(difference), "difference")

    def reached(n: ArrayLike) -> FloatArray:
        return power_of_difference(n, difference, sd_a, sd_b, alpha=alpha)

    return _plan(
        "difference",
        reached,
        power,
        difference=difference,
        margin=np.nan,
        sd_a=sd_a,
        sd_b=sd_b,
        alpha=alpha,
        method="noncentral t with Satterthwaite's degrees of freedom",
    )


def size_for_equivalence(
    margin: float,
    sd_a: float,
    sd_b: float | None = None,
    *,
    difference: float = 0.0,
    power: float = 0.8,
    alpha: float = 0.05,
) -> SampleSize:
    """Return how many per group show that two means differ by less than a margin.

    The smallest n whose two one-sided tests both reject with the wanted power: see
    :func:`power_of_equivalence`.

    Parameters
    ----------
    margin : float
        Above 0, in the unit of the values.
    sd_a, sd_b : float
        Standard deviations of the groups, from a pilot; one alone counts for both.
    difference : float
        True difference that is assumed, inside ± margin. 0 is the hopeful case.
    power, alpha : float
        Chance of success wanted; level of each one-sided test.

    Returns
    -------
    SampleSize

    Raises
    ------
    SettingError
        A number outside what is allowed, or more than :data:`MOST` needed.
    """
    sd_b = sd_a if sd_b is None else sd_b
    _check(sd_a, sd_b, power, alpha)
    check_positive(margin, "margin")
    if not abs(difference) < margin:
        raise SettingError(
            f"A true difference of {difference:g} is not within the margin of {margin:g}.",
            subject="difference",
            remedy="Equivalence cannot then be shown; assume a smaller one or widen the margin.",
        )

    def reached(n: ArrayLike) -> FloatArray:
        return power_of_equivalence(n, margin, sd_a, sd_b, difference=difference, alpha=alpha)

    return _plan(
        "equivalence",
        reached,
        power,
        difference=difference,
        margin=margin,
        sd_a=sd_a,
        sd_b=sd_b,
        alpha=alpha,
        method="bivariate noncentral t by integration, with Satterthwaite's degrees of freedom",
    )


def power_of_difference(
    n: ArrayLike, difference: float, sd_a: float, sd_b: float, *, alpha: float = 0.05
) -> FloatArray:
    """Return the power of Welch's two-sided test for groups of n each.

    With se² = (sd_a² + sd_b²)/n and ν of Welch at the true spreads, T is noncentral t about
    difference/se. Exact for the t test that assumes equal spreads; Welch's, which estimates its ν,
    falls short by about a point for groups of five and by nothing that matters from ten.

    Parameters
    ----------
    n : (k,) int, from 2
    difference, sd_a, sd_b : float
    alpha : float
        Two-sided.

    Returns
    -------
    (k,) float
    """
    error, df = _error_and_df(n, sd_a, sd_b)
    critical = special.stdtrit(df, 1 - alpha / 2)
    shift = abs(difference) / error
    above = stats.nct.sf(critical, df, shift)
    # Where both lie far out the library gives NaN; the chance is 1 there.
    above = np.where(np.isnan(above), np.where(shift > critical, 1.0, 0.0), above)
    below = np.nan_to_num(stats.nct.cdf(-critical, df, shift))
    return np.asarray(np.clip(above + below, 0.0, 1.0))


def power_of_equivalence(
    n: ArrayLike,
    margin: float,
    sd_a: float,
    sd_b: float,
    *,
    difference: float = 0.0,
    alpha: float = 0.05,
) -> FloatArray:
    """Return the power of two one-sided Welch tests for groups of n each.

    As :func:`power_of_difference`, both tests together: see :func:`two_one_sided_power`.

    Parameters
    ----------
    n : (k,) int, from 2
    margin, sd_a, sd_b, difference : float
    alpha : float
        Of each side.

    Returns
    -------
    (k,) float
    """
    error, df = _error_and_df(n, sd_a, sd_b)
    return two_one_sided_power(error, df, margin, difference, alpha=alpha)


def two_one_sided_power(
    standard_error: ArrayLike,
    df: ArrayLike,
    margin: float,
    difference: float = 0.0,
    *,
    alpha: float = 0.05,
) -> FloatArray:
    """Return the power of two one-sided t tests, for any design.

    With S = √(χ²_ν/ν) and c = t(1 − α, ν) the tests both reject if the estimate lies within
    ± (margin − c se S), so the power is the mean over S of
    Φ((margin − d)/se − cS) − Φ(−(margin + d)/se + cS) where that is above 0: Owen's bivariate
    noncentral t (1965, Biometrika 52: 437–446), integrated with 200 Gauss points. Phillips (1990),
    Journal of Pharmacokinetics and Biopharmaceutics 18: 137–144.

    Parameters
    ----------
    standard_error, df : (k,) float
        Of the estimated difference.
    margin, difference : float
    alpha : float
        Of each side.

    Returns
    -------
    (k,) float
    """
    error, freedom = np.broadcast_arrays(
        np.atleast_1d(np.asarray(standard_error, dtype=np.float64)),
        np.atleast_1d(np.asarray(df, dtype=np.float64)),
    )
    critical = special.stdtrit(freedom, 1 - alpha)
    # Beyond this S nothing is rejected; below and above these shares there is nothing to gain.
    last = margin / (critical * error)
    low = np.sqrt(special.chdtri(freedom, 1 - 1e-13) / freedom)
    high = np.minimum(last, np.sqrt(special.chdtri(freedom, 1e-13) / freedom))
    half = np.maximum(0.5 * (high - low), 0.0)
    s = (low + half)[:, None] + half[:, None] * _NODES
    k = freedom[:, None]
    log_density = (
        (1 - k / 2) * np.log(2)
        - special.gammaln(k / 2)
        + k / 2 * np.log(k)
        + (k - 1) * np.log(s)
        - k * s**2 / 2
    )
    reach = critical[:, None] * s
    upper = special.ndtr((margin - difference) / error[:, None] - reach)
    lower = special.ndtr(-(margin + difference) / error[:, None] + reach)
    inner = np.maximum(upper - lower, 0.0) * np.exp(log_density)
    return np.asarray(np.clip(half * (inner @ _NODE_WEIGHTS), 0.0, 1.0))


def _error_and_df(n: ArrayLike, sd_a: float, sd_b: float) -> tuple[FloatArray, FloatArray]:
    count = np.atleast_1d(np.asarray(n, dtype=np.float64))
    df = (count - 1) * (sd_a**2 + sd_b**2) ** 2 / (sd_a**4 + sd_b**4)
    return np.sqrt((sd_a**2 + sd_b**2) / count), df


def _plan(
    purpose: Literal["difference", "equivalence"],
    reached: Callable[[ArrayLike], FloatArray],
    power: float,
    *,
    difference: float,
    margin: float,
    sd_a: float,
    sd_b: float,
    alpha: float,
    method: str,
) -> SampleSize:
    """Find the smallest n, then the curve about it."""
    n = _smallest(reached, power, purpose)
    curve_n = np.unique(np.linspace(2, max(2 * n, 10), 100).astype(np.int64))
    curve_n = np.union1d(curve_n, [n])
    return SampleSize(
        purpose=purpose,
        n=n,
        power=float(reached([n])[0]),
        target_power=power,
        difference=difference,
        margin=margin,
        sd_a=sd_a,
        sd_b=sd_b,
        alpha=alpha,
        curve_n=curve_n,
        curve_power=reached(curve_n),
        method=method,
    )


def _smallest(reached: Callable[[ArrayLike], FloatArray], power: float, purpose: str) -> int:
    """Return the smallest n that reaches a power, by doubling and halving."""
    high = 2
    while reached([high])[0] < power:
        if high >= MOST:
            raise SettingError(
                f"More than {MOST} units a group would be needed.",
                subject=f"plan for {purpose}",
                remedy="Ask for a larger difference or margin, or a smaller power.",
            )
        high = min(2 * high, MOST)
    low = 1 if high == 2 else high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reached([middle])[0] >= power else (middle, high)
    return high


def _check(sd_a: float, sd_b: float, power: float, alpha: float) -> None:
    check_positive(sd_a, "sd_a")
    check_positive(sd_b, "sd_b")
    check_share(power, "power")
    check_share(2 * alpha, "alpha (doubled)")
