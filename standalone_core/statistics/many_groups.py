"""Three or more groups at once, and then two by two."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import special, stats

from ..arrays import FloatArray
from .multiplicity import holm
from .reasons import NO_REASON, Reason, because
from .samples import GroupValues, Sample, as_samples, check_share, is_constant, too_few
from .studentised_range import studentised_range_isf, studentised_range_sf


@dataclass(frozen=True)
class AnovaTest:
    """Whether the means of several groups differ.

    Attributes
    ----------
    f, df_between, df_within, p : float
        Statistic, degrees of freedom, p-value.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    f: float
    df_between: float
    df_within: float
    p: float
    reason: Reason


@dataclass(frozen=True)
class KruskalWallis:
    """Whether some group tends to larger values than another.

    Attributes
    ----------
    h, df, p : float
        Tie-corrected statistic, degrees of freedom, p-value by χ².
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    h: float
    df: int
    p: float
    reason: Reason


@dataclass(frozen=True)
class GamesHowellPair:
    """Two of several groups by means: first minus second.

    Attributes
    ----------
    first, second : str
    difference, standard_error : float
        Of the means, in the unit of the values.
    t, df : float
        Welch's statistic and degrees of freedom.
    p : float
        Already allows for all pairs; needs no further correction over them.
    ci_low, ci_high, confidence : float
        Simultaneous interval.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    first: str
    second: str
    difference: float
    standard_error: float
    t: float
    df: float
    p: float
    ci_low: float
    ci_high: float
    confidence: float
    reason: Reason


@dataclass(frozen=True)
class DunnPair:
    """Two of several groups by ranks: first minus second.

    Attributes
    ----------
    first, second : str
    rank_difference : float
        Of mean ranks in the pooled values.
    z, p, p_holm : float
        Statistic, two-sided p-value, and that after Holm over all pairs.
    reason : Reason
        Why a number is NaN; empty otherwise.
    """

    first: str
    second: str
    rank_difference: float
    z: float
    p: float
    p_holm: float
    reason: Reason


@dataclass(frozen=True)
class ManyGroups:
    """All comparisons of several groups.

    Attributes
    ----------
    n, missing : mapping of group name to int
        Measured units; units without a value, left out.
    welch_anova : AnovaTest
    kruskal_wallis : KruskalWallis
    games_howell : tuple of GamesHowellPair
        Every pair, in the groups' order.
    dunn : tuple of DunnPair
        The same pairs.
    """

    n: Mapping[str, int]
    missing: Mapping[str, int]
    welch_anova: AnovaTest
    kruskal_wallis: KruskalWallis
    games_howell: tuple[GamesHowellPair, ...]
    dunn: tuple[DunnPair, ...]


def compare_many(groups: GroupValues, *, confidence: float = 0.95) -> ManyGroups:
    """Compare several groups by means and by ranks.

    Parameters
    ----------
    groups : mapping of group name to (n,) float
        Two or more; one value per unit; NaN counts as missing.
    confidence : float
        Of the simultaneous intervals.

    Returns
    -------
    ManyGroups

    Raises
    ------
    SettingError
        Fewer than two groups, an infinite value, or a confidence that is not a share.
    """
    samples = as_samples(groups, at_least=2)
    return ManyGroups(
        n={name: sample.n for name, sample in samples.items()},
        missing={name: sample.missing for name, sample in samples.items()},
        welch_anova=welch_anova(groups),
        kruskal_wallis=kruskal_wallis(groups),
        games_howell=games_howell(groups, confidence=confidence),
        dunn=dunn(groups),
    )


def welch_anova(groups: GroupValues) -> AnovaTest:
    """Compare means without assuming equal spreads.

    With w = n/s², W = Σw, x̃ = Σw x̄/W and c = Σ(1 − w/W)²/(n − 1):
    F = (Σw(x̄ − x̃)²/(k − 1)) / (1 + 2(k − 2)c/(k² − 1)) on k − 1 and (k² − 1)/(3c) degrees of
    freedom. Welch (1951), Biometrika 38: 330–336. For two groups it is t² of Welch's t test.
    """
    samples = as_samples(groups, at_least=2)
    k = len(samples)
    reason = too_few(samples, 2) or _without_spread(samples)
    if reason:
        return AnovaTest(np.nan, k - 1, np.nan, np.nan, reason)
    n, mean, variance = _moments(samples)
    weight = n / variance
    share = weight / weight.sum()
    spread = ((1 - share) ** 2 / (n - 1)).sum()
    between = (weight * (mean - (share * mean).sum()) ** 2).sum() / (k - 1)
    f = float(between / (1 + 2 * (k - 2) * spread / (k**2 - 1)))
    df = float((k**2 - 1) / (3 * spread))
    return AnovaTest(f, k - 1, df, float(stats.f.sf(f, k - 1, df)), NO_REASON)


def kruskal_wallis(groups: GroupValues) -> KruskalWallis:
    """Compare groups by the ranks of the pooled values.

    H = 12/(N(N + 1)) ΣR²/n − 3(N + 1), divided by 1 − Σ(t³ − t)/(N³ − N) for ties of t; against χ²
    with k − 1 degrees of freedom, which is a little too careful for groups below five. Kruskal &
    Wallis (1952), Journal of the American Statistical Association 47: 583–621, by
    ``scipy.stats.kruskal``.
    """
    samples = as_samples(groups, at_least=2)
    rows = [sample.values for sample in samples.values()]
    reason = too_few(samples, 1)
    if not reason and is_constant(np.concatenate(rows)):
        reason = because("all_same")
    if reason:
        return KruskalWallis(np.nan, len(rows) - 1, np.nan, reason)
    test = stats.kruskal(*rows)
    return KruskalWallis(float(test.statistic), len(rows) - 1, float(test.pvalue), NO_REASON)


def games_howell(groups: GroupValues, *, confidence: float = 0.95) -> tuple[GamesHowellPair, ...]:
    """Compare every pair of means without assuming equal spreads.

    Welch's t of each pair against the studentised range of k means: p = P(q > |t|√2) with Welch's
    degrees of freedom. Games & Howell (1976), Journal of Educational Statistics 1: 113–125. Holds
    the chance of any false difference near α by itself; a little liberal for very small groups.
    """
    check_share(confidence, "confidence")
    samples = as_samples(groups, at_least=2)
    return tuple(
        _games_howell_pair(first, second, samples, confidence)
        for first, second in combinations(samples, 2)
    )


def dunn(groups: GroupValues) -> tuple[DunnPair, ...]:
    """Compare every pair of mean ranks in the pooled values.

    z = (R̄1 − R̄2)/√((N(N + 1)/12 − Σ(t³ − t)/(12(N − 1)))(1/n1 + 1/n2)), with Holm's correction
    over the pairs. Dunn (1964), Technometrics 6: 241–252; worked example in Zar, Biostatistical
    Analysis.
    """
    samples = as_samples(groups, at_least=2)
    names = list(combinations(samples, 2))
    reason = too_few(samples, 1)
    pooled = np.concatenate([sample.values for sample in samples.values()])
    if not reason and is_constant(pooled):
        reason = because("all_same")
    if reason:
        return tuple(DunnPair(a, b, np.nan, np.nan, np.nan, np.nan, reason) for a, b in names)
    difference, z = _dunn_z(samples, stats.rankdata(pooled))
    p = 2 * special.ndtr(-np.abs(z))
    return tuple(
        DunnPair(a, b, d, z_ab, p_ab, adjusted, NO_REASON)
        for (a, b), (d, z_ab, p_ab, adjusted) in zip(
            names, np.column_stack([difference, z, p, holm(p)]).tolist(), strict=True
        )
    )


def _dunn_z(samples: Mapping[str, Sample], ranks: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return differences of mean ranks and z of every pair."""
    n = np.array([sample.n for sample in samples.values()])
    means = np.array([part.mean() for part in np.split(ranks, np.cumsum(n)[:-1])])
    total = len(ranks)
    ties = np.unique(ranks, return_counts=True)[1].astype(np.float64)
    variance = total * (total + 1) / 12 - (ties**3 - ties).sum() / (12 * (total - 1))
    i, j = np.triu_indices(len(n), 1)
    difference = means[i] - means[j]
    return difference, difference / np.sqrt(variance * (1 / n[i] + 1 / n[j]))


def _games_howell_pair(
    first: str, second: str, samples: Mapping[str, Sample], confidence: float
) -> GamesHowellPair:
    pair = {name: samples[name] for name in (first, second)}
    reason = too_few(pair, 2)
    if not reason and all(sample.constant for sample in pair.values()):
        reason = because("no_spread_in_pair")
    if reason:
        nan = np.nan
        return GamesHowellPair(first, second, nan, nan, nan, nan, nan, nan, nan, confidence, reason)
    n, mean, variance = _moments(pair)
    squared = variance / n
    error = float(np.sqrt(squared.sum()))
    df = float(squared.sum() ** 2 / (squared**2 / (n - 1)).sum())
    difference = float(mean[0] - mean[1])
    t = difference / error
    k = len(samples)
    critical = studentised_range_isf(1 - confidence, k, df)
    half = critical * error / 2**0.5
    return GamesHowellPair(
        first=first,
        second=second,
        difference=difference,
        standard_error=error,
        t=t,
        df=df,
        p=studentised_range_sf(abs(t) * 2**0.5, k, df),
        ci_low=difference - half,
        ci_high=difference + half,
        confidence=confidence,
        reason=NO_REASON,
    )


def _moments(samples: Mapping[str, Sample]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return counts, means and variances of groups of two or more."""
    values = [sample.values for sample in samples.values()]
    constant = np.array([sample.constant for sample in samples.values()])
    variance = np.where(constant, 0.0, [np.var(x, ddof=1) for x in values])
    return np.array([float(len(x)) for x in values]), np.array([x.mean() for x in values]), variance


def _without_spread(samples: Mapping[str, Sample]) -> Reason:
    """Return which groups have no spread; no reason if none."""
    names = tuple(name for name, sample in samples.items() if sample.constant)
    return because("no_spread_in", groups=names) if names else NO_REASON
