"""Whether groups look normal and equally spread: shown beside every comparison, never deciding it.

Choosing the test by a first test on the same values spoils its error rate, so nothing here chooses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from .reasons import NO_REASON, Reason, because
from .samples import GroupValues, as_sample, as_samples, is_constant, too_few


@dataclass(frozen=True)
class ShapiroWilk:
    """Shapiro and Wilk's test of one group.

    Attributes
    ----------
    n : int
        Measured units.
    w, p : float
        Statistic and p-value; NaN if the test could not be made.
    reason : Reason
        Why it could not; empty otherwise.
    """

    n: int
    w: float
    p: float
    reason: Reason


@dataclass(frozen=True)
class BrownForsythe:
    """Brown and Forsythe's test of equal spread.

    Attributes
    ----------
    f, p : float
        Statistic and p-value; NaN if the test could not be made.
    df_between, df_within : int
        Degrees of freedom.
    reason : Reason
        Why it could not be made; empty otherwise.
    """

    f: float
    p: float
    df_between: int
    df_within: int
    reason: Reason


@dataclass(frozen=True)
class Assumptions:
    """Both tests for a set of groups.

    Attributes
    ----------
    normality : mapping of group name to ShapiroWilk
    spread : BrownForsythe
    """

    normality: Mapping[str, ShapiroWilk]
    spread: BrownForsythe


def check_assumptions(groups: GroupValues) -> Assumptions:
    """Test every group for normality, and all together for equal spread."""
    return Assumptions(
        normality={name: shapiro_wilk(x) for name, x in groups.items()},
        spread=brown_forsythe(groups),
    )


def shapiro_wilk(values: ArrayLike) -> ShapiroWilk:
    """Test whether values look normal.

    Shapiro & Wilk (1965), Biometrika 52: 591–611, with Royston's approximation (1995, algorithm
    AS R94), by ``scipy.stats.shapiro``. With few values it sees only gross departures.

    Parameters
    ----------
    values : (n,) float
        NaN counts as missing.

    Returns
    -------
    ShapiroWilk
    """
    sample = as_sample(values, "values")
    reason = NO_REASON
    if sample.n < 3:
        reason = because("too_few_values", least=3, n=sample.n)
    elif sample.constant:
        reason = because("all_same")
    if reason:
        return ShapiroWilk(n=sample.n, w=np.nan, p=np.nan, reason=reason)
    test = stats.shapiro(sample.values)
    return ShapiroWilk(n=sample.n, w=float(test.statistic), p=float(test.pvalue), reason=NO_REASON)


def brown_forsythe(groups: GroupValues) -> BrownForsythe:
    """Test whether groups are equally spread.

    A one-way analysis of variance of |x − median of its group|: Levene's test in the form of
    Brown & Forsythe (1974), Journal of the American Statistical Association 69: 364–367, by
    ``scipy.stats.levene``.

    Parameters
    ----------
    groups : mapping of group name to (n,) float
        NaN counts as missing.

    Returns
    -------
    BrownForsythe
    """
    samples = as_samples(groups, at_least=2)
    rows = [sample.values for sample in samples.values()]
    df_between, df_within = len(rows) - 1, sum(map(len, rows)) - len(rows)
    reason = too_few(samples, 2)
    if not reason and all(is_constant(np.abs(x - np.median(x))) for x in rows):
        reason = because("equally_far_from_median")
    if reason:
        return BrownForsythe(np.nan, np.nan, df_between, df_within, reason)
    test = stats.levene(*rows, center="median")
    return BrownForsythe(
        float(test.statistic), float(test.pvalue), df_between, df_within, NO_REASON
    )
