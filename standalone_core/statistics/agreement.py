"""How far two raters agree beyond chance, and what agreement numbers have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import FloatArray
from ..errors import SettingError
from .reasons import NO_REASON, Reason, because
from .samples import check_share

Weights = Literal["none", "linear", "quadratic"]

MissingRule: TypeAlias = Literal["complete", "all_scores"]
"""Which units count where scores are missing: those with all scores, or all with a score."""

_NO_ERROR = 1e-6
"""A standard error up to this is one of nothing, but for rounding."""


@dataclass(frozen=True)
class Agreement:
    """Agreement beyond chance.

    Attributes
    ----------
    coefficient : float
        1: complete; 0: as by chance; below: worse than chance.
    standard_error : float
        Large-sample, not assuming that the coefficient is 0.
    ci_low, ci_high, confidence : float
        Interval, not beyond ±1; NaN where the standard error is 0, for a width of nothing is due
        to its formula alone.
    agreement, chance_agreement : float
        Observed and expected share of (weighted) agreement, 0 to 1.
    same_share : float
        Share of equal scores among pairs of raters, 0 to 1, never weighted.
    n, missing : int
        Units with two scores or more, whose agreement counts; all other units.
    scores : int
        Scores that count.
    rule : "complete" or "all_scores"
        Whether only units that all raters scored count (complete cases), or all scores do
        (Gwet's form, see :mod:`.many_raters`).
    raters : int
    categories : tuple of float
        In rising order.
    weights : {"none", "linear", "quadratic"}
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    coefficient: float
    standard_error: float
    ci_low: float
    ci_high: float
    confidence: float
    agreement: float
    chance_agreement: float
    same_share: float
    n: int
    missing: int
    scores: int
    rule: MissingRule
    raters: int
    categories: tuple[float, ...]
    weights: Weights
    reason: Reason


def cohen_kappa(
    first: ArrayLike,
    second: ArrayLike,
    *,
    weights: Weights = "none",
    categories: Sequence[float] | None = None,
    confidence: float = 0.95,
) -> Agreement:
    """Return the agreement of two raters.

    κ = (p_o − p_e)/(1 − p_e) with p_o = Σ w_ij p_ij, p_e = Σ w_ij p_i· p_·j and w 1 for equal
    scores, 0 otherwise ("none"), 1 − |i − j|/(k − 1) ("linear"), or 1 − (i − j)²/(k − 1)²
    ("quadratic"), i and j the places of the scores in ``categories``. Cohen (1960), Educational
    and Psychological Measurement 20: 37–46; (1968), Psychological Bulletin 70: 213–220. Standard
    error of Fleiss, Cohen & Everitt (1969), Psychological Bulletin 72: 323–327; the interval is
    κ ± z standard errors, rough for few units. Complete cases: a unit that one of the two did not
    score is left out, and counted as missing.

    Parameters
    ----------
    first, second : (n,) float
        Scores of the same units; NaN where one was not given.
    weights : {"none", "linear", "quadratic"}
    categories : sequence of float, optional
        All scores that could be given. Needed for weighted kappa if some were never used;
        otherwise those that were.
    confidence : float

    Returns
    -------
    Agreement

    Raises
    ------
    SettingError
        Different counts, an unknown weight, or a score that is no category.
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape:
        raise SettingError(
            f"The raters have scores of shapes {a.shape} and {b.shape}.",
            subject="scores",
            remedy="Give both the same units in the same order, NaN where a score is missing.",
        )
    both = ~(np.isnan(a) | np.isnan(b))
    given = categories_of(np.concatenate([a[both], b[both]]), categories)
    table = np.zeros((len(given), len(given)))
    np.add.at(table, (np.searchsorted(given, a[both]), np.searchsorted(given, b[both])), 1)
    found = kappa_of_table(table, weights=weights, categories=given, confidence=confidence)
    return replace(found, missing=int((~both).sum()))


def kappa_of_table(
    table: ArrayLike,
    *,
    weights: Weights = "none",
    categories: Sequence[float] | FloatArray | None = None,
    confidence: float = 0.95,
) -> Agreement:
    """Return the agreement of two raters from the table of their scores.

    Parameters
    ----------
    table : (k, k) counts
        Row: score of the first; column: of the second.
    weights, categories, confidence
        As for :func:`cohen_kappa`.

    Returns
    -------
    Agreement

    Examples
    --------
    >>> round(kappa_of_table([[20, 5], [10, 15]]).coefficient, 4)
    0.4
    """
    check_share(confidence, "confidence")
    counts = _square(table)
    names = np.arange(len(counts)) if categories is None else np.asarray(categories)
    n = int(counts.sum())
    reason = because("not_scored_by_both") if n == 0 else NO_REASON
    if not reason and n == counts.diagonal().max(initial=0.0):
        reason = because("single_score_of_both")
    weight = weight_matrix(len(counts), weights)
    share = counts / n if n else counts
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    seen, chance = float((weight * share).sum()), float(rows @ weight @ columns)
    kappa = (seen - chance) / (1 - chance) if not reason else np.nan
    error = np.nan if reason else _cohen_error(share, weight, kappa, chance) / n**0.5
    low, high = interval_around(kappa, error, float(stats.norm.ppf(0.5 + confidence / 2)))
    return Agreement(
        coefficient=kappa,
        standard_error=error,
        ci_low=low,
        ci_high=high,
        confidence=confidence,
        agreement=seen if n else np.nan,
        chance_agreement=chance if n else np.nan,
        same_share=float(share.trace()) if n else np.nan,
        n=n,
        missing=0,
        scores=2 * n,
        rule="complete",
        raters=2,
        categories=tuple(names.tolist()),
        weights=weights,
        reason=reason or without_width(error),
    )


def _square(table: ArrayLike) -> FloatArray:
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or not (counts >= 0).all():
        raise SettingError(
            f"It has shape {counts.shape}, or a count below 0.",
            subject="table",
            remedy="Give a square table of counts.",
        )
    return counts


def _cohen_error(share: FloatArray, weight: FloatArray, kappa: float, chance: float) -> float:
    """Return √n times the standard error of a (weighted) kappa."""
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    usual = (weight @ columns)[:, None] + (rows @ weight)[None, :]
    inner = (share * (weight - usual * (1 - kappa)) ** 2).sum()
    variance = float(inner - (kappa - chance * (1 - kappa)) ** 2)
    return float(max(variance, 0.0) ** 0.5 / (1 - chance))


def weight_matrix(k: int, kind: Weights) -> FloatArray:
    """Return how far each two of k ordered categories count as the same, 0 to 1."""
    apart = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) / max(k - 1, 1)
    if kind == "none":
        return np.eye(k)
    if kind == "linear":
        return np.asarray(1 - apart)
    if kind == "quadratic":
        return np.asarray(1 - apart**2)
    raise SettingError(
        f"It is {kind!r}.", subject="weights", remedy="Choose none, linear or quadratic."
    )


def categories_of(used: FloatArray, allowed: Sequence[float] | None) -> FloatArray:
    """Return the categories in rising order; refuse scores that are none."""
    if allowed is None:
        return np.unique(used)
    names = np.unique(np.asarray(allowed, dtype=np.float64))
    strange = np.setdiff1d(used, names)
    if len(strange):
        raise SettingError(
            f"{strange[0]:g} is no category.",
            subject="scores",
            remedy=f"The categories are {', '.join(f'{name:g}' for name in names)}.",
        )
    return names


def interval_around(value: float, error: float, factor: float) -> tuple[float, float]:
    """Return value ± factor standard errors, not beyond ±1; NaN for an error of 0 or none."""
    if not error > _NO_ERROR:
        return np.nan, np.nan
    return max(-1.0, value - factor * error), min(1.0, value + factor * error)


def without_width(error: float) -> Reason:
    """Return why there is no interval around a number with this standard error."""
    return because("no_width") if error <= _NO_ERROR else NO_REASON
