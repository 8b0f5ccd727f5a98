"""Is a difference sure, and is it surely small enough not to matter?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from .rank_sum import Shift, hodges_lehmann, mann_whitney
from .reasons import Reason
from .samples import check_positive, check_share
from .trimmed import TrimmedTest, trimmed_test
from .welch import WelchTest, welch_test

Outcome = Literal[
    "different",
    "equivalent",
    "different_within_limit",
    "undecided",
    "not_computed",
    "exploratory",
]
"""What a comparison comes to; ``exploratory`` for one that was not to decide anything."""

OUTCOME_WORDS: Mapping[Outcome, str] = MappingProxyType(
    {
        "different": "different",
        "equivalent": "equivalent",
        "different_within_limit": "different but within the equivalence limit",
        "undecided": "undecided",
        "not_computed": "not computed",
        "exploratory": "exploratory",
    }
)


@dataclass(frozen=True)
class Equivalence:
    """Difference of two means, or trimmed means (first minus second), against a limit.

    Attributes
    ----------
    limit, alpha : float
        Differences within ± limit do not matter; level of every test.
    difference : float
        Of the means, in the unit of the values.
    p_difference : float
        Two-sided test that the means are the same.
    p_above_low, p_below_high : float
        One-sided tests that the difference is at or below −limit; at or above +limit.
    p_equivalence : float
        The larger of those two.
    ci_low, ci_high, confidence : float
        Interval of 1 − 2α: inside ± limit exactly when ``p_equivalence`` < α.
    outcome : str
        ``different``, ``equivalent``, ``different_within_limit``, ``undecided`` or
        ``not_computed``; words for readers in :data:`OUTCOME_WORDS`.
    test : WelchTest or TrimmedTest
        With the interval of 1 − α.
    reason : Reason
        Why it was not computed; empty otherwise.
    """

    limit: float
    alpha: float
    difference: float
    p_difference: float
    p_above_low: float
    p_below_high: float
    p_equivalence: float
    ci_low: float
    ci_high: float
    confidence: float
    outcome: Outcome
    test: WelchTest | TrimmedTest
    reason: Reason


def compare_with_limit(
    a: ArrayLike, b: ArrayLike, limit: float, *, alpha: float = 0.05, trim: float = 0.0
) -> Equivalence:
    """Test whether two means differ, and whether they surely differ by less than a limit.

    Two one-sided Welch tests at α each: t = (d + limit)/se against d ≤ −limit, and
    t = (d − limit)/se against d ≥ limit; both must be rejected. Schuirmann (1987), Journal of
    Pharmacokinetics and Biopharmaceutics 15: 657–680. Together with the two-sided test of d = 0
    at α there are four outcomes:

    =======================  ===================  ============================
    test of difference       within the limit    outcome
    =======================  ===================  ============================
    rejected                 not shown            ``different``
    not rejected             shown                ``equivalent``
    rejected                 shown                ``different_within_limit``
    not rejected             not shown            ``undecided``
    =======================  ===================  ============================

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    limit : float
        Above 0, in the unit of the values.
    alpha : float
        Level of the test of difference (two-sided) and of each one-sided test.
    trim : float
        Share cut off at either end, below ½: trimmed means by Yuen's test if above 0.

    Returns
    -------
    Equivalence

    Raises
    ------
    SettingError
        A limit that is not above 0, an infinite value, or an alpha that is not a share below ½.
    """
    check_positive(limit, "limit")
    check_share(2 * alpha, "alpha (doubled)")
    test: WelchTest | TrimmedTest = (
        trimmed_test(a, b, trim=trim, confidence=1 - alpha)
        if trim
        else welch_test(a, b, confidence=1 - alpha)
    )
    p_above_low, p_below_high = one_sided_p(test, limit)
    p_equivalence = max(p_above_low, p_below_high)
    outcome: Outcome = "not_computed" if test.reason else decide(test.p, p_equivalence, alpha)
    half = float(special.stdtrit(test.df, 1 - alpha)) * test.standard_error
    return Equivalence(
        limit=limit,
        alpha=alpha,
        difference=test.difference,
        p_difference=test.p,
        p_above_low=p_above_low,
        p_below_high=p_below_high,
        p_equivalence=p_equivalence,
        ci_low=test.difference - half,
        ci_high=test.difference + half,
        confidence=1 - 2 * alpha,
        outcome=outcome,
        test=test,
        reason=test.reason,
    )


@dataclass(frozen=True)
class ShiftWithin:
    """Shift of one group against another (first minus second) against a limit, by ranks.

    Attributes
    ----------
    limit, alpha : float
        Shifts within ± limit do not matter; level of each one-sided test.
    p_above_low, p_below_high, p_equivalence : float
        One-sided tests that the shift is at or below −limit; at or above +limit; the larger.
    shift : Shift
        Hodges–Lehmann's, with its interval of at least 1 − 2α; NaN bounds in groups too small.
    reason : Reason
        Why it was not computed; empty otherwise.
    """

    limit: float
    alpha: float
    p_above_low: float
    p_below_high: float
    p_equivalence: float
    shift: Shift
    reason: Reason


def shift_with_limit(
    a: ArrayLike, b: ArrayLike, limit: float, *, alpha: float = 0.05
) -> ShiftWithin:
    """Test whether two groups are surely shifted against each other by less than a limit.

    Two one-sided tests as :func:`compare_with_limit` makes, but Mann and Whitney's: of a + limit
    against b, and of a − limit against b, exact for small groups. Without ties the interval of
    the shift lies inside ± limit exactly when both reject. Assumes that the groups differ by a
    shift alone.

    Parameters
    ----------
    a, b : (n,) float
        One value per unit; NaN counts as missing.
    limit : float
        Above 0, in the unit of the values.
    alpha : float
        Level of each one-sided test.

    Raises
    ------
    SettingError
        A limit that is not above 0, an infinite value, or an alpha that is not a share below ½.
    """
    check_positive(limit, "limit")
    check_share(2 * alpha, "alpha (doubled)")
    first, second = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    shift = hodges_lehmann(first, second, confidence=1 - 2 * alpha)
    reason = mann_whitney(first, second).reason
    above = below = float("nan")
    if not reason:
        above = mann_whitney(first + limit, second).p_greater
        below = mann_whitney(first - limit, second).p_less
    return ShiftWithin(limit, alpha, above, below, max(above, below), shift, reason)


def decide(p_difference: float, p_equivalence: float, alpha: float) -> Outcome:
    """Return the outcome of both tests, also after a correction of their p-values.

    Each is rejected where p ≤ α; NaN means that a test could not be made and rejects nothing.
    """
    different, within = p_difference <= alpha, p_equivalence <= alpha
    if different:
        return "different_within_limit" if within else "different"
    if within:
        return "equivalent"
    return "not_computed" if np.isnan(p_difference) else "undecided"


def one_sided_p(test: WelchTest | TrimmedTest, limit: float) -> tuple[float, float]:
    """Return p of the tests that the difference is ≤ −limit, and ≥ limit."""
    if test.reason:
        return np.nan, np.nan
    upwards = (test.difference + limit) / test.standard_error
    downwards = (test.difference - limit) / test.standard_error
    return (
        float(special.stdtr(test.df, -upwards)),
        float(special.stdtr(test.df, downwards)),
    )
