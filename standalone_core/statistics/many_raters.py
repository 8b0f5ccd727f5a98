"""How far any number of raters agree beyond chance, with what scores there are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import FloatArray
from ..errors import SettingError
from .agreement import (
    Agreement,
    Weights,
    categories_of,
    interval_around,
    weight_matrix,
    without_width,
)
from .reasons import Reason, because
from .samples import check_share


def fleiss_kappa(scores: ArrayLike, *, confidence: float = 0.95) -> Agreement:
    """Return the agreement of two or more raters on unordered scores.

    Chance agreement p_e = Σ π_j²: Fleiss (1971), Psychological Bulletin 76: 378–382, in Gwet's
    form for missing scores, as :func:`gwet_coefficient` has it. Not defined where one score alone
    was given.

    Parameters
    ----------
    scores : (n, raters) float
        One row per unit; NaN where a score is missing.
    confidence : float

    Returns
    -------
    Agreement

    Raises
    ------
    SettingError
        Not a table of two or more raters.
    """
    table = _table(scores)
    given = _Given(table, categories_of(table[~np.isnan(table)], None), "none")
    usual = given.usual
    alone = given.n and np.count_nonzero(usual) == 1
    chance = _Chance(given.share @ usual, float(usual @ usual))
    return _finished(given, chance, because("single_score_of_all") if alone else None, confidence)


def gwet_coefficient(
    scores: ArrayLike,
    *,
    weights: Weights = "none",
    categories: Sequence[float] | None = None,
    confidence: float = 0.95,
) -> Agreement:
    """Return Gwet's AC1 of two or more raters, or with weights for ordered scores his AC2.

    (p_o − p_e)/(1 − p_e) from all scores: with r_ij raters giving unit i the score j, r_i in all,
    p_o = mean over units with r_i ≥ 2 of Σ_j r_ij (Σ_l w_jl r_il − 1)/(r_i(r_i − 1)); π_j = mean
    of r_ij/r_i over all units with a score; p_e = T/(q(q − 1)) Σ π_j(1 − π_j) with q categories
    and T the sum of their weights. Unlike kappa it is not low only because most units got the same
    score, and it is defined where all did. Standard error by linearisation,
    v = Σ(κ*_i − κ)²/(n(n − 1)) over the n units with a score, where
    κ*_i = κ_i − 2(1 − κ)(p_e,i − p_e)/(1 − p_e) and κ_i = (n/n')(p_o,i − p_e)/(1 − p_e) for the n'
    units with two scores or more, 0 for the others; interval ± t with n − 1 degrees of freedom.
    The raters count as fixed. Gwet (2008), British Journal of Mathematical and Statistical
    Psychology 61: 29–48; with missing scores and weights: Gwet (2014), Handbook of Inter-Rater
    Reliability, 4th edition (formulas from memory, numbers compared with the author's package).

    Parameters
    ----------
    scores : (n, raters) float
        One row per unit; NaN where a score is missing.
    weights : {"none", "linear", "quadratic"}
        As for :func:`~.agreement.cohen_kappa`.
    categories : sequence of float, optional
        All scores that could be given; otherwise those that were.
    confidence : float

    Returns
    -------
    Agreement

    Raises
    ------
    SettingError
        Not a table of two or more raters, an unknown weight, or a score that is no category.

    Examples
    --------
    >>> found = gwet_coefficient([[1, 1], [1, 1], [2, 1], [2, float("nan")]])
    >>> found.n, found.scores, round(found.coefficient, 3)
    (3, 7, 0.373)
    """
    table = _table(scores)
    given = _Given(table, categories_of(table[~np.isnan(table)], categories), weights)
    q, usual = len(given.names), given.usual
    factor = float(given.weight.sum()) / (q * (q - 1)) if q > 1 else np.nan
    chance = _Chance(factor * given.share @ (1 - usual), float(factor * usual @ (1 - usual)))
    alone = because("single_score_of_all") if given.n and q == 1 else None
    return _finished(given, chance, alone, confidence)


class _Given:
    """How often each unit got each score: of units with a score."""

    def __init__(self, table: FloatArray, names: FloatArray, weights: Weights) -> None:
        counts = (table[:, :, None] == names).sum(axis=1).astype(np.float64)
        self.counts = counts[counts.sum(axis=1) > 0]
        self.names, self.weights, self.weight = names, weights, weight_matrix(len(names), weights)
        self.units, self.raters = table.shape
        self.each = self.counts.sum(axis=1)
        self.several = self.each > 1
        self.n = int(self.several.sum())
        self.share = self.counts / self.each[:, None]

    @property
    def usual(self) -> FloatArray:
        """Share of each score, every unit counting once."""
        usual = self.share.mean(axis=0) if len(self.share) else np.full(len(self.names), np.nan)
        return np.asarray(usual)

    def agreeing(self, weight: FloatArray) -> FloatArray:
        """Return the (weighted) share of agreeing pairs of raters, per unit with several scores."""
        counts, each = self.counts[self.several], self.each[self.several]
        pairs = (counts * (counts @ weight - 1)).sum(axis=1)
        return np.asarray(pairs / (each * (each - 1)))


@dataclass(frozen=True, eq=False)
class _Chance:
    """Agreement by chance: each unit's part (n,), and their mean."""

    each: FloatArray
    mean: float


def _finished(
    given: _Given, chance: _Chance, reason: Reason | None, confidence: float
) -> Agreement:
    check_share(confidence, "confidence")
    if not given.n:
        reason = because("not_scored_by_two")
    seen_each, same = given.agreeing(given.weight), given.agreeing(np.eye(len(given.names)))
    seen = float(seen_each.mean()) if given.n else np.nan
    value = np.nan if reason else (seen - chance.mean) / (1 - chance.mean)
    error, n = np.nan, len(given.counts)
    if not reason and n > 1:
        error = _error(given, chance, seen_each, value)
    low, high = interval_around(
        value, error, float(stats.t.ppf(0.5 + confidence / 2, n - 1)) if n > 1 else np.nan
    )
    return Agreement(
        coefficient=value,
        standard_error=error,
        ci_low=low,
        ci_high=high,
        confidence=confidence,
        agreement=seen,
        chance_agreement=chance.mean,
        same_share=float(same.mean()) if given.n else np.nan,
        n=given.n,
        missing=given.units - given.n,
        scores=int(given.each.sum()),
        rule="all_scores",
        raters=given.raters,
        categories=tuple(given.names.tolist()),
        weights=given.weights,
        reason=reason or (without_width(error) if n > 1 else because("single_unit")),
    )


def _error(given: _Given, chance: _Chance, seen: FloatArray, value: float) -> float:
    """Return the standard error by linearisation."""
    n, own = len(given.counts), np.zeros(len(given.counts))
    own[given.several] = (n / given.n) * (seen - chance.mean) / (1 - chance.mean)
    each = own - 2 * (1 - value) * (chance.each - chance.mean) / (1 - chance.mean)
    return float((((each - value) ** 2).sum() / (n * (n - 1))) ** 0.5)


def _table(scores: ArrayLike) -> FloatArray:
    table = np.asarray(scores, dtype=np.float64)
    if table.ndim != 2 or table.shape[1] < 2:
        raise SettingError(
            f"The scores have shape {table.shape}.",
            subject="scores",
            remedy="Give one row per unit and one column per rater, two or more.",
        )
    return table
