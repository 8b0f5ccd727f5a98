"""Spearman's rank correlation against scipy, and its interval's coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.rank_correlation import spearman
from scipy import stats


def test_equals_scipy_and_leaves_missing_values_out():
    rng = np.random.default_rng(2)
    a = rng.integers(0, 3, 20).astype(float)
    b = a + rng.normal(0, 1, 20)
    a[3], b[7] = np.nan, np.nan
    got = spearman(a, b)
    both = ~np.isnan(a) & ~np.isnan(b)
    expected = stats.spearmanr(a[both], b[both])
    assert (got.rho, got.p) == pytest.approx((expected.statistic, expected.pvalue))
    assert (got.n, got.missing) == (18, 2)


def test_the_interval_is_that_of_bonett_and_wright():
    # artanh ρ ± z √((1 + ρ²/2)/(n − 3)), written out for n = 28 and some ρ beyond 0.5.
    ranks = np.arange(28.0)
    for seed in range(10_000):
        other = np.random.default_rng(seed).permutation(ranks)
        if abs(stats.spearmanr(ranks, other).statistic) > 0.5:
            break
    got = spearman(ranks, other)
    half = 1.959964 * math.sqrt((1 + got.rho**2 / 2) / 25)
    assert got.ci_low == pytest.approx(math.tanh(math.atanh(got.rho) - half), rel=1e-6)
    assert got.ci_high == pytest.approx(math.tanh(math.atanh(got.rho) + half), rel=1e-6)


def test_the_interval_covers_the_true_correlation():
    rng = np.random.default_rng(5)
    true = 6 / math.pi * math.asin(0.6 / 2)  # Spearman's ρ of a normal pair with r = 0.6
    inside = 0
    for _ in range(400):
        x = rng.normal(size=24)
        y = 0.6 * x + 0.8 * rng.normal(size=24)
        got = spearman(x, y)
        inside += got.ci_low <= true <= got.ci_high
    assert inside >= stats.binom.ppf(0.001, 400, 0.95)


@pytest.mark.parametrize(
    ("a", "b", "reason"),
    [([1, 2, 3], [1, 2, 3], "At least 4"), ([1, 1, 1, 1], [1, 2, 3, 4], "the same for all")],
)
def test_what_cannot_be_told(a, b, reason):
    got = spearman(a, b)
    assert math.isnan(got.rho)
    assert reason in str(got.reason)


def test_a_perfect_order_has_no_width():
    got = spearman([1, 2, 3, 4, 5], [2, 4, 6, 8, 9])
    assert (got.rho, got.ci_low, got.ci_high) == pytest.approx((1, 1, 1))


def test_different_counts_are_refused():
    with pytest.raises(SettingError, match="shapes"):
        spearman([1, 2, 3], [1, 2])
