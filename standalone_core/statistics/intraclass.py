"""Intraclass correlations: which share of the variance of single ratings lies between units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from ..arrays import FloatArray
from .gauge import GaugeStudy
from .reasons import NO_REASON, Reason, because
from .samples import check_share

Form: TypeAlias = Literal["ICC(1)", "ICC(A,1)"]
"""One-way; or two-way with random raters, absolute agreement: both of single ratings."""


@dataclass(frozen=True)
class Intraclass:
    """An intraclass correlation of single ratings.

    It depends on how much the units differ: raters of the same precision have a smaller one on
    units that are more alike.

    Attributes
    ----------
    form : "ICC(1)" or "ICC(A,1)"
        After McGraw & Wong; (1,1) and (2,1) after Shrout & Fleiss.
    n, ratings : int
        Units; ratings of each.
    icc : float
        Share of the variance that lies between units; 1: ratings of a unit are all the same.
    ci_low, ci_high, confidence : float
        Interval, of normally distributed ratings; NaN where ratings of every unit are the same.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    form: Form
    n: int
    ratings: int
    icc: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True)
class _Line:
    """A mean square, and how often it is in the variance within units and below the units'."""

    mean_square: float
    df: int
    within: float
    below: float


def absolute_agreement(values: ArrayLike, *, confidence: float = 0.95) -> Intraclass:
    """Return ICC(A,1) of a table of units × raters: raters and units drawn at random.

    With the mean squares of units MSR, of raters MSC and of the rest MSE:
    (MSR − MSE)/(MSR + (k − 1)MSE + k(MSC − MSE)/n). That raters differ in level counts against
    their agreement. Interval by F with Satterthwaite's degrees of freedom. McGraw & Wong (1996),
    Psychological Methods 1: 30–46; case (2,1) of Shrout & Fleiss (1979), Psychological Bulletin
    86: 420–428. Complete cases.

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
    >>> found = absolute_agreement([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6],
    ...                             [10, 5, 6, 9], [6, 2, 4, 7]])
    >>> round(found.icc, 4), round(found.ci_low, 3), round(found.ci_high, 3)
    (0.2898, 0.019, 0.761)
    """
    check_share(confidence, "confidence")
    table = np.asarray(values, dtype=np.float64)
    table = table[~np.isnan(table).any(axis=1)]
    n, k = table.shape
    if n < 2 or k < 2:
        reason = because("too_few_rated", least=2, n=n if k > 1 else 0)
        return _without("ICC(A,1)", n, k, confidence, reason)
    rows, columns, rest = _mean_squares(table)
    lines = (
        _Line(columns, k - 1, within=1 / n, below=0.0),
        _Line(rest, (n - 1) * (k - 1), within=1 - 1 / n, below=1.0),
    )
    return _found("ICC(A,1)", n, k, rows, lines, confidence)


def intraclass_of(gauge: GaugeStudy) -> Intraclass:
    """Return the intraclass correlation of the single measurements of a gauge study.

    part²/total²: one minus the gauge's share of the variance. One operator: ICC(1), exact
    interval. Several: ICC(A,1) with operators drawn at random and r trials by each; its interval
    is that of McGraw & Wong carried over to trials. With θ = orρ/(1 − ρ) the mean square of the
    parts has the expectation θ(σ²_o + σ²_i + σ²_e) + rσ²_i + σ²_e, a sum of the other mean squares
    of which Satterthwaite gives the degrees of freedom. For one trial each it is theirs; in
    simulations a 95 % interval held the truth in 93 to 96 %. As the study has it, a pooled
    interaction is part of the repetition, and an operators' variance below 0 is left out.

    Parameters
    ----------
    gauge : GaugeStudy

    Returns
    -------
    Intraclass
    """
    p, o, r = gauge.parts, gauge.operators, gauge.trials
    form: Form = "ICC(1)" if o == 1 else "ICC(A,1)"
    sources = {source.name: source for source in gauge.sources}
    if p < 2:
        return _without(form, p, o * r, gauge.confidence, because("too_few_rated", least=2, n=p))
    across = 1 / (p * r) if o > 1 and "operator" not in gauge.clamped else 0.0
    lines = [_Line(gauge.repeatability**2, gauge.repeatability_df, 1 - across, 1.0)]
    if "interaction" in sources and not gauge.pooled and "interaction" not in gauge.clamped:
        inner = sources["interaction"]
        lines = [
            _Line(gauge.repeatability**2, gauge.repeatability_df, 1 - 1 / r, 0.0),
            _Line(inner.mean_square, inner.df, 1 / r - across, 1.0),
        ]
    if across:
        lines.append(_Line(sources["operator"].mean_square, o - 1, across, 0.0))
    return _found(form, p, o * r, sources["part"].mean_square, lines, gauge.confidence)


def _mean_squares(table: FloatArray) -> tuple[float, float, float]:
    n, k = table.shape
    grand = table.mean()
    units, raters = table.mean(axis=1) - grand, table.mean(axis=0) - grand
    rest = table - grand - units[:, None] - raters[None, :]
    rows, columns = k * float(units @ units) / (n - 1), n * float(raters @ raters) / (k - 1)
    return rows, columns, float((rest**2).sum()) / ((n - 1) * (k - 1))


def _found(
    form: Form, n: int, ratings: int, units: float, lines: Sequence[_Line], confidence: float
) -> Intraclass:
    """Return the correlation from the mean square of units and those within them."""
    within = sum(line.within * line.mean_square for line in lines)
    below = sum(line.below * line.mean_square for line in lines)
    if units + within <= 0:
        return _without(form, n, ratings, confidence, because("all_same"))
    if within <= 0:
        reason = because("same_ratings")
        return Intraclass(form, n, ratings, 1.0, np.nan, np.nan, confidence, reason)
    ratio = (units - below) / within
    parts = [(ratio * line.within + line.below) * line.mean_square for line in lines]
    scatter = sum(x**2 / line.df for x, line in zip(parts, lines, strict=True))
    df, tail = sum(parts) ** 2 / scatter, (1 - confidence) / 2
    low = (units / special.fdtri(n - 1, df, 1 - tail) - below) / within
    high = (units * special.fdtri(df, n - 1, 1 - tail) - below) / within
    icc, ci_low, ci_high = (float(x / (x + ratings)) for x in (ratio, low, high))
    return Intraclass(form, n, ratings, icc, ci_low, ci_high, confidence, NO_REASON)


def _without(form: Form, n: int, ratings: int, confidence: float, reason: Reason) -> Intraclass:
    return Intraclass(form, n, ratings, np.nan, np.nan, np.nan, confidence, reason)
