"""Simulations of what the statistics promise: false alarms and coverage, from known truths.

Every trial draws data of which the truth is known and counts how often a promise comes true. The
tests run each a few hundred times, ``tests/benchmarks/bench_statistics.py`` ten thousand times.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from cuspwise.standalone_core.statistics.agreement import cohen_kappa
from cuspwise.standalone_core.statistics.assumptions import brown_forsythe, shapiro_wilk
from cuspwise.standalone_core.statistics.describe import describe
from cuspwise.standalone_core.statistics.effect_size import cliff_delta, hedges_g
from cuspwise.standalone_core.statistics.equivalence import compare_with_limit
from cuspwise.standalone_core.statistics.gauge import gauge_study
from cuspwise.standalone_core.statistics.many_groups import (
    dunn,
    games_howell,
    kruskal_wallis,
    welch_anova,
)
from cuspwise.standalone_core.statistics.many_raters import fleiss_kappa, gwet_coefficient
from cuspwise.standalone_core.statistics.multiplicity import holm
from cuspwise.standalone_core.statistics.odd import find_odd
from cuspwise.standalone_core.statistics.permutation import compare_distances, distances_from_pairs
from cuspwise.standalone_core.statistics.rank_sum import hodges_lehmann, mann_whitney
from cuspwise.standalone_core.statistics.tolerance import upper_tolerance_limit, wilson
from cuspwise.standalone_core.statistics.welch import welch_test
from scipy import stats
from scipy.spatial.distance import pdist, squareform

Rng = np.random.Generator
Bound = Literal["equal", "at most", "at least"]


@dataclass(frozen=True)
class Trial:
    """One promise.

    Attributes
    ----------
    name : str
    nominal : float
        The share that is promised.
    bound : str
        ``equal``; or ``at most`` (false alarms) and ``at least`` (coverage) where the method is
        careful by nature: discrete tests, medians of few, corrections for any dependence.
    once : callable
        Draws data and tells whether it happened.
    """

    name: str
    nominal: float
    bound: Bound
    once: Callable[[Rng], bool]

    def count(self, runs: int, seed: int) -> tuple[int, int]:
        """Return how often it happened, of how many runs."""
        rng = np.random.default_rng(seed)
        return sum(bool(self.once(rng)) for _ in range(runs)), runs

    def kept(self, happened: int, runs: int, chance: float = 1e-3) -> bool:
        """Whether the count is credible if the promise holds (binomial, either side)."""
        high = stats.binom.sf(happened - 1, runs, self.nominal) > chance / 2
        low = stats.binom.cdf(happened, runs, self.nominal) > chance / 2
        return {"equal": high and low, "at most": high, "at least": low}[self.bound]


def _groups(rng: Rng, sizes, spreads, means=None):
    means = [0.0] * len(sizes) if means is None else means
    draws = [rng.normal(m, s, n) for m, s, n in zip(means, spreads, sizes, strict=True)]
    return {chr(97 + i): draw for i, draw in enumerate(draws)}


def _two(rng: Rng, sizes=(8, 8), spreads=(1.0, 1.0), shift=0.0):
    return rng.normal(shift, spreads[0], sizes[0]), rng.normal(0, spreads[1], sizes[1])


def _ties(rng: Rng) -> bool:
    return mann_whitney(*(rng.poisson(2.0, n).astype(float) for n in (9, 10))).p <= 0.05


def _margin(rng: Rng, sizes, spreads, margin) -> bool:
    a, b = _two(rng, sizes, spreads, shift=margin)
    return compare_with_limit(a, b, margin).p_equivalence <= 0.05


def _precision(rng: Rng, sizes, ways, tail=None):
    """Two groups, equally precise, with mean surfaces far apart."""
    weight = 0.8 ** (0.5 * np.arange(ways))
    places = [
        (rng.normal(size=(n, ways)) if tail is None else rng.standard_t(tail, size=(n, ways)))
        * weight
        + 5.0 * i
        for i, n in enumerate(sizes)
    ]
    return compare_distances(from_middles(places), rng=rng, permutations=999)


def from_middles(places):
    """How far the units of each group lie from its middle, from their pairs."""
    return {str(i): distances_from_pairs(squareform(pdist(x))) for i, x in enumerate(places)}


def _precision_covers(rng: Rng) -> bool:
    """Dispersion E|x − μ| of 10 independent ways, the second group half as wide."""
    true = float(stats.chi.mean(10))
    places = (rng.normal(size=(10, 10)), 0.5 * rng.normal(size=(12, 10)))
    result = compare_distances(from_middles(places), rng=rng, permutations=9)
    return result.ci_low <= 0.5 * true <= result.ci_high


def _odd_map(rng: Rng, n: int, spread: tuple[float, ...]) -> bool:
    """Whether a unit of a faultless group is flagged by its map alone."""
    places = rng.normal(size=(n, len(spread))) * np.sqrt(spread)
    return bool(find_odd({}, maps={"m": squareform(pdist(places))}, least_spread=1e-9).odd)


def _kappa_covers(rng: Rng) -> bool:
    """Two raters see the truth with chance .8, else guess among three: κ .64 exactly."""
    truth = rng.integers(0, 3, 100)
    seen = [np.where(rng.random(100) < 0.8, truth, rng.integers(0, 3, 100)) for _ in range(2)]
    result = cohen_kappa(*seen)
    return result.ci_low <= 0.64 <= result.ci_high


def _fleiss_covers(rng: Rng) -> bool:
    """The same with four raters."""
    truth = rng.integers(0, 3, (60, 1))
    seen = np.where(rng.random((60, 4)) < 0.8, truth, rng.integers(0, 3, (60, 4)))
    result = fleiss_kappa(seen)
    return result.ci_low <= 0.64 <= result.ci_high


def _gwet_covers(rng: Rng) -> bool:
    """The same, a fifth of the scores missing: AC1 too is .64 with three scores equally usual."""
    truth = rng.integers(0, 3, (24, 1))
    seen = np.where(rng.random((24, 3)) < 0.8, truth, rng.integers(0, 3, (24, 3))).astype(float)
    seen[rng.random((24, 3)) < 0.2] = np.nan
    result = gwet_coefficient(seen, categories=range(3))
    return result.ci_low <= 0.64 <= result.ci_high


def _gauge_covers(rng: Rng) -> bool:
    parts, operators = np.repeat(np.arange(4), 6), np.tile(np.repeat([0, 1], 3), 4)
    values = rng.normal(size=24) + 3 * rng.normal(size=4)[parts] + rng.normal(size=2)[operators]
    result = gauge_study(values, parts.tolist(), operators.tolist(), pool_above=1.0)
    true = 1.959964 * np.sqrt(2)
    return result.smallest_low <= true <= result.smallest_high


def _wilson_covers(rng: Rng) -> bool:
    """A single share may lie above or below; the promise is for the mean over all shares."""
    share = rng.random()
    result = wilson(int(rng.binomial(10, share)), 10)
    return result.ci_low <= share <= result.ci_high


def _interval(result, true: float) -> bool:
    return result.ci_low <= true <= result.ci_high


def _all_cover(rng: Rng) -> bool:
    groups = _groups(rng, (8, 8, 8), (1.0, 1.5, 2.0))
    return all(_interval(row, 0.0) for row in games_howell(groups))


def _holm_of_dependent(rng: Rng) -> bool:
    """Ten measures of the same crowns, strongly correlated, none different."""
    a, b = (rng.normal(size=(8, 1)) + 0.7 * rng.normal(size=(8, 10)) for _ in range(2))
    return holm(stats.ttest_ind(a, b, equal_var=False).pvalue).min() <= 0.05


FALSE_ALARMS = (
    Trial("Welch t, 8 + 8", 0.05, "equal", lambda r: welch_test(*_two(r)).p <= 0.05),
    Trial(
        "Welch t, 6 + 12, SD 1 : 3",
        0.05,
        "equal",
        lambda r: welch_test(*_two(r, (6, 12), (1.0, 3.0))).p <= 0.05,
    ),
    Trial(
        "Mann–Whitney, 10 + 10",
        0.05,
        "at most",
        lambda r: mann_whitney(*_two(r, (10, 10))).p <= 0.05,
    ),
    Trial("Mann–Whitney, 9 + 10 with ties", 0.05, "at most", _ties),
    Trial(
        "Welch analysis of variance, 3 × 8, SD 1 : 1.5 : 2",
        0.05,
        "equal",
        lambda r: welch_anova(_groups(r, (8, 8, 8), (1, 1.5, 2))).p <= 0.05,
    ),
    Trial(
        "Kruskal–Wallis, 3 × 8",
        0.05,
        "at most",
        lambda r: kruskal_wallis(_groups(r, (8, 8, 8), (1, 1, 1))).p <= 0.05,
    ),
    Trial(
        "Games–Howell, any of 3 pairs, SD 1 : 1.5 : 2",
        0.05,
        "equal",
        lambda r: min(row.p for row in games_howell(_groups(r, (8, 8, 8), (1, 1.5, 2)))) <= 0.05,
    ),
    Trial(
        "Dunn with Holm, any of 3 pairs",
        0.05,
        "at most",
        lambda r: min(row.p_holm for row in dunn(_groups(r, (8, 8, 8), (1, 1, 1)))) <= 0.05,
    ),
    Trial("Holm, any of 10 dependent tests", 0.05, "at most", _holm_of_dependent),
    Trial(
        "Shapiro–Wilk, n = 10",
        0.05,
        "equal",
        lambda r: shapiro_wilk(r.normal(size=10)).p <= 0.05,
    ),
    Trial(
        "Brown–Forsythe, 10 + 10",
        0.05,
        "at most",
        lambda r: brown_forsythe(_groups(r, (10, 10), (1, 1))).p <= 0.05,
    ),
    Trial(
        "equivalence at its margin, 8 + 8", 0.05, "equal", lambda r: _margin(r, (8, 8), (1, 1), 3.0)
    ),
    Trial(
        "equivalence at its margin, 6 + 12, SD 1 : 3",
        0.05,
        "equal",
        lambda r: _margin(r, (6, 12), (1, 3), 6.0),
    ),
    Trial(
        "equivalence at a margin that few units cannot show",
        0.05,
        "at most",
        lambda r: _margin(r, (5, 5), (1, 1), 0.8),
    ),
    Trial("precision, 8 + 8, 1 way", 0.05, "at most", lambda r: _precision(r, (8, 8), 1).p <= 0.05),
    Trial(
        "precision, 8 + 8, 3 ways", 0.05, "at most", lambda r: _precision(r, (8, 8), 3).p <= 0.05
    ),
    Trial(
        "precision, 8 + 8, 10 ways", 0.05, "at most", lambda r: _precision(r, (8, 8), 10).p <= 0.05
    ),
    Trial(
        "precision, 5 + 5, 10 ways", 0.05, "at most", lambda r: _precision(r, (5, 5), 10).p <= 0.05
    ),
    Trial(
        "precision, 8 + 8, 10 ways, long tails (t 5)",
        0.05,
        "at most",
        lambda r: _precision(r, (8, 8), 10, tail=5).p <= 0.05,
    ),
    Trial(
        "precision, 3 × 8, 10 ways",
        0.05,
        "at most",
        lambda r: _precision(r, (8, 8, 8), 10).p <= 0.05,
    ),
    *[
        Trial(
            f"odd unit in a faultless group of {n}",
            0.01,
            "at most",
            lambda r, n=n: bool(find_odd({"m": r.normal(size=n)}, least_spread=1e-9).odd),
        )
        for n in (5, 8, 12)
    ],
    *[
        Trial(
            f"odd map in a faultless group of {n}, {words}",
            0.01,
            "at most",
            lambda r, n=n, spread=spread: _odd_map(r, n, spread),
        )
        for n in (5, 6, 7, 8, 12)
        for words, spread in (
            ("1 way", (1.0,)),
            ("1 way and a little", (1.0, 0.1)),
            ("1 way and noise", (1.0, *[0.02] * 40)),
            ("2 ways and noise", (1.0, 0.7, *[0.01] * 40)),
            ("10 ways", (1.0,) * 10),
        )
    ],
)

COVERAGE = (
    Trial("mean, n = 8", 0.95, "equal", lambda r: _interval(describe(r.normal(size=8)), 0.0)),
    Trial(
        "difference of means, 8 + 8", 0.95, "equal", lambda r: _interval(welch_test(*_two(r)), 0)
    ),
    Trial(
        "difference of means, 6 + 12, SD 1 : 3",
        0.95,
        "equal",
        lambda r: _interval(welch_test(*_two(r, (6, 12), (1, 3))), 0.0),
    ),
    Trial(
        "Hodges–Lehmann shift, 8 + 8",
        0.95,
        "at least",
        lambda r: _interval(hodges_lehmann(*_two(r, shift=1.0)), 1.0),
    ),
    Trial(
        "Hedges g, true 1, 8 + 8",
        0.95,
        "equal",
        lambda r: _interval(hedges_g(*_two(r, shift=1.0)), 1.0),
    ),
    Trial(
        "Cliff δ, true .5, 10 + 10",
        0.95,
        "equal",
        lambda r: _interval(
            cliff_delta(*_two(r, (10, 10), shift=2**0.5 * stats.norm.ppf(0.75))), 0.5
        ),
    ),
    Trial("Games–Howell, all 3 pairs", 0.95, "equal", _all_cover),
    Trial(
        "tolerance limit holds its content, n = 8",
        0.95,
        "equal",
        lambda r: upper_tolerance_limit(r.normal(size=8)).limit >= stats.norm.ppf(0.95),
    ),
    Trial(
        "the next unit lies below its limit, n = 8",
        0.95,
        "equal",
        lambda r: upper_tolerance_limit(r.normal(size=8)).next_limit >= r.normal(),
    ),
    Trial("Wilson, n = 10, mean over all shares", 0.95, "equal", _wilson_covers),
    Trial("Cohen κ, n = 100", 0.95, "equal", _kappa_covers),
    Trial("Fleiss κ, 60 × 4", 0.95, "equal", _fleiss_covers),
    Trial("Gwet AC1, 24 × 3, a fifth missing", 0.95, "equal", _gwet_covers),
    Trial("smallest difference of a gauge study", 0.95, "equal", _gauge_covers),
    Trial("difference of precision, 10 + 12, 10 ways", 0.95, "at least", _precision_covers),
)
