"""How far examiners agree beyond chance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from ..arrays import FloatArray
from ..errors import SettingError
from .reasons import NO_REASON, Reason, because
from .samples import check_share

Weights = Literal["none", "linear", "quadratic"]


@dataclass(frozen=True)
class Kappa:
    """Agreement beyond chance.

    Attributes
    ----------
    kappa : float
        1: complete; 0: as by chance; below: worse than chance.
    standard_error : float
        Large-sample, not assuming that kappa is 0.
    ci_low, ci_high, confidence : float
        kappa ± z standard errors, not beyond ±1.
    agreement, chance_agreement : float
        Observed and expected share of (weighted) agreement, 0 to 1.
    percent : float
        Share of equal scores, 0 to 1, never weighted.
    n, missing : int
        Units that count; units left out for want of two scores.
    raters : int
    categories : tuple of float
        In rising order.
    weights : {"none", "linear", "quadratic"}
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    kappa: float
    standard_error: float
    ci_low: float
    ci_high: float
    confidence: float
    agreement: float
    chance_agreement: float
    percent: float
    n: int
    missing: int
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
) -> Kappa:
    """Return the agreement of two raters.

    κ = (p_o − p_e)/(1 − p_e) with p_o = Σ w_ij p_ij, p_e = Σ w_ij p_i· p_·j and w 1 for equal
    scores, 0 otherwise ("none"), 1 − |i − j|/(k − 1) ("linear"), or 1 − (i − j)²/(k − 1)²
    ("quadratic"), i and j the places of the scores in ``categories``. Cohen (1960), Educational
    and Psychological Measurement 20: 37–46; (1968), Psychological Bulletin 70: 213–220. Standard
    error of Fleiss, Cohen & Everitt (1969), Psychological Bulletin 72: 323–327; for few units
    the interval is rough.

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
    Kappa

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
    given = _categories(np.concatenate([a[both], b[both]]), categories)
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
) -> Kappa:
    """Return the agreement of two raters from the table of their scores.

    Parameters
    ----------
    table : (k, k) counts
        Row: score of the first; column: of the second.
    weights, categories, confidence
        As for :func:`cohen_kappa`.

    Returns
    -------
    Kappa

    Examples
    --------
    >>> round(kappa_of_table([[20, 5], [10, 15]]).kappa, 4)
    0.4
    """
    check_share(confidence, "confidence")
    counts = np.asarray(table, dtype=np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or not (counts >= 0).all():
        raise SettingError(
            f"It has shape {counts.shape}, or a count below 0.",
            subject="table",
            remedy="Give a square table of counts.",
        )
    names = np.arange(len(counts)) if categories is None else np.asarray(categories)
    n = int(counts.sum())
    reason = because("not_scored_by_both") if n == 0 else NO_REASON
    if not reason and n == counts.diagonal().max(initial=0.0):
        reason = because("single_score_of_both")
    weight = _weights(len(counts), weights)
    share = counts / n if n else counts
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    seen, chance = float((weight * share).sum()), float(rows @ weight @ columns)
    kappa = (seen - chance) / (1 - chance) if not reason else np.nan
    error = np.nan if reason else _cohen_error(share, weight, kappa, chance) / n**0.5
    return _finish(
        kappa,
        error,
        seen if n else np.nan,
        chance if n else np.nan,
        float(share.trace()) if n else np.nan,
        n,
        2,
        tuple(names.tolist()),
        weights,
        confidence,
        reason,
    )


def fleiss_kappa(scores: ArrayLike, *, confidence: float = 0.95) -> Kappa:
    """Return the agreement of two or more raters on unordered scores.

    With r_ij raters giving unit i the score j, r_i in all, over units with r_i ≥ 2:
    p_o = mean of Σ_j r_ij(r_ij − 1)/(r_i(r_i − 1)), π_j = mean of r_ij/r_i, p_e = Σ π_j²,
    κ = (p_o − p_e)/(1 − p_e). Fleiss (1971), Psychological Bulletin 76: 378–382, in Gwet's form
    for missing scores. Standard error by linearisation, v = Σ(κ*_i − κ)²/(n(n − 1)) with
    κ*_i = κ_i − 2(1 − κ)(p_e,i − p_e)/(1 − p_e): Gwet (2008), British Journal of Mathematical and
    Statistical Psychology 61: 29–48 (form from memory). The raters count as fixed.

    Parameters
    ----------
    scores : (n, raters) float
        One row per unit; NaN where a score is missing.
    confidence : float

    Returns
    -------
    Kappa

    Raises
    ------
    SettingError
        Not a table of two or more raters.
    """
    check_share(confidence, "confidence")
    given = np.asarray(scores, dtype=np.float64)
    if given.ndim != 2 or given.shape[1] < 2:
        raise SettingError(
            f"The scores have shape {given.shape}.",
            subject="scores",
            remedy="Give one row per unit and one column per rater, two or more.",
        )
    names = _categories(given[~np.isnan(given)], None)
    counts = (given[:, :, None] == names).sum(axis=1).astype(np.float64)
    scored = counts.sum(axis=1) >= 2
    counts = counts[scored]
    n = len(counts)
    reason = because("not_scored_by_two") if n == 0 else NO_REASON
    if not reason and np.count_nonzero(counts.sum(axis=0)) == 1:
        reason = because("single_score_of_all")
    seen_i, chance_i, chance = _fleiss_parts(counts) if n else (counts, counts, np.nan)
    seen = float(seen_i.mean()) if n else np.nan
    kappa = (seen - chance) / (1 - chance) if not reason else np.nan
    error = np.nan
    if not reason and n > 1:
        each = ((seen_i - chance) - 2 * (1 - kappa) * (chance_i - chance)) / (1 - chance)
        error = float(((each - kappa) ** 2).sum() / (n * (n - 1))) ** 0.5
    return _finish(
        kappa,
        error,
        seen,
        chance,
        seen,
        n,
        given.shape[1],
        tuple(names.tolist()),
        "none",
        confidence,
        reason or (NO_REASON if n > 1 else because("single_unit")),
        missing=int((~scored).sum()),
    )


def _fleiss_parts(counts: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Return each unit's agreement, its part in the chance agreement, and that."""
    raters = counts.sum(axis=1)
    agree = (counts * (counts - 1)).sum(axis=1) / (raters * (raters - 1))
    share = counts / raters[:, None]
    usual = share.mean(axis=0)
    return agree, share @ usual, float(usual @ usual)


def _cohen_error(share: FloatArray, weight: FloatArray, kappa: float, chance: float) -> float:
    """Return √n times the standard error of a (weighted) kappa."""
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    usual = (weight @ columns)[:, None] + (rows @ weight)[None, :]
    inner = (share * (weight - usual * (1 - kappa)) ** 2).sum()
    variance = float(inner - (kappa - chance * (1 - kappa)) ** 2)
    return float(max(variance, 0.0) ** 0.5 / (1 - chance))


def _weights(k: int, kind: Weights) -> FloatArray:
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


def _categories(used: FloatArray, allowed: Sequence[float] | None) -> FloatArray:
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


def _finish(
    kappa: float,
    error: float,
    seen: float,
    chance: float,
    percent: float,
    n: int,
    raters: int,
    categories: tuple[float, ...],
    weights: Weights,
    confidence: float,
    reason: Reason,
    missing: int = 0,
) -> Kappa:
    half = float(stats.norm.ppf(0.5 + confidence / 2)) * error
    return Kappa(
        kappa=kappa,
        standard_error=error,
        ci_low=max(-1.0, kappa - half) if np.isfinite(half) else np.nan,
        ci_high=min(1.0, kappa + half) if np.isfinite(half) else np.nan,
        confidence=confidence,
        agreement=seen,
        chance_agreement=chance,
        percent=percent,
        n=n,
        missing=missing,
        raters=raters,
        categories=categories,
        weights=weights,
        reason=reason,
    )
