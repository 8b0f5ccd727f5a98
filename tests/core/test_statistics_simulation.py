"""Promises of the statistics, simulated in short; the benchmark runs them ten thousand times."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.statistics.permutation import compare_distances
from made.claim_simulations import CLAIMS
from made.statistics_simulations import COVERAGE, FALSE_ALARMS, Trial, from_middles
from made.tiers import slow
from scipy import stats
from scipy.spatial.distance import pdist, squareform

RUNS = 300


# Of odd units test_statistics_odd.py simulates the same, with fewer kinds of spread.
QUICK_OR_SLOW = [slow(t) if t.name.startswith("odd ") else t for t in FALSE_ALARMS]


@pytest.mark.parametrize("trial", QUICK_OR_SLOW, ids=lambda trial: trial.name)
def test_false_alarms_are_those_stated(trial: Trial):
    assert trial.kept(*trial.count(RUNS, seed=1))


@pytest.mark.parametrize("trial", COVERAGE, ids=lambda trial: trial.name)
def test_intervals_cover_the_truth_as_often_as_stated(trial: Trial):
    assert trial.kept(*trial.count(RUNS, seed=2))


@pytest.mark.slow
@pytest.mark.parametrize("trial", CLAIMS, ids=lambda trial: trial.name)
def test_false_claims_of_a_page_are_no_more_than_stated(trial: Trial):
    assert trial.kept(*trial.count(RUNS, seed=4))


@pytest.mark.slow
@pytest.mark.parametrize("ways", [1, 10, 30])
def test_four_against_twelve_of_the_same_spread_raise_no_more_false_alarms(ways: int):
    """A middle drawn from four units lies nearer to them than one of twelve: √(n/(n − 1)) makes up
    for that. Without it the four would seem the more precise: the same trial shows that.
    """
    rng, runs = np.random.default_rng(5), 1_000
    alarms = uncorrected = 0
    for _ in range(runs):
        places = [rng.normal(size=(n, ways)) + 5 * n for n in (4, 12)]
        distances = from_middles(places)
        alarms += compare_distances(distances, rng=rng).p <= 0.05
        raw = {name: d * ((len(d) - 1) / len(d)) ** 0.5 for name, d in distances.items()}
        uncorrected += compare_distances(raw, rng=rng).p <= 0.05
    assert stats.binom.sf(alarms - 1, runs, 0.05) > 1e-3
    if ways == 30:
        assert stats.binom.sf(uncorrected - 1, runs, 0.05) < 1e-6


def test_a_broken_promise_is_noticed():
    """The check itself can fail: thrice the stated share does, at this count of runs."""
    trial = Trial("thrice too many", 0.05, "at most", lambda rng: rng.random() < 0.15)
    assert not trial.kept(*trial.count(RUNS, seed=3))
    short = Trial("too narrow", 0.95, "at least", lambda rng: rng.random() < 0.88)
    assert not short.kept(*short.count(RUNS, seed=3))


def test_shuffling_the_units_of_groups_with_other_means_would_raise_false_alarms():
    """Why distances from each group's own middle are permuted, and not the units with their pairs:
    relabelled pairs take the gap between the mean surfaces for spread, and the test then sees
    nothing even where one group is three times as wide.
    """
    rng = np.random.default_rng(4)
    places = np.concatenate([rng.normal(size=(6, 5)), 3 * rng.normal(size=(10, 5)) + 40])
    pairs = squareform(pdist(places))

    def gap(first: np.ndarray) -> float:
        second = np.setdiff1d(np.arange(16), first)
        inside = [pairs[np.ix_(g, g)][np.triu_indices(len(g), 1)].mean() for g in (first, second)]
        return abs(inside[0] - inside[1])

    shuffled = np.array([gap(rng.permutation(16)[:6]) for _ in range(499)])
    naive = (1 + (shuffled >= gap(np.arange(6))).sum()) / 500
    ours = compare_distances(
        {
            "a": np.linalg.norm(places[:6] - np.median(places[:6], axis=0), axis=1),
            "b": np.linalg.norm(places[6:] - np.median(places[6:], axis=0), axis=1),
        },
        rng=rng,
    )
    assert ours.p < 0.01
    assert naive > 0.5
