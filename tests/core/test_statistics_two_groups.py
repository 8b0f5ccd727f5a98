"""Comparisons of two groups against handbooks, enumeration and independent libraries."""

from __future__ import annotations

from itertools import combinations
from math import comb

import numpy as np
import pingouin
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.effect_size import (
    cliff_delta,
    hedges_correction,
    hedges_g,
    noncentrality_limits,
)
from cuspwise.standalone_core.statistics.rank_sum import (
    APPROXIMATE,
    EXACT,
    EXACT_WITH_TIES,
    hodges_lehmann,
    mann_whitney,
    u_distribution,
)
from cuspwise.standalone_core.statistics.two_groups import compare_two
from cuspwise.standalone_core.statistics.welch import welch_test
from made.statistics_cases import MEMBRANES, SLEEP
from scipy import stats
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW


def test_welch_of_the_sleep_data():
    """Student 1908; t, df, p and interval as R's documentation prints them, from memory."""
    result = welch_test(*SLEEP)
    assert result.t == pytest.approx(-1.86081, abs=5e-6)
    assert result.df == pytest.approx(17.7765, abs=5e-5)
    assert result.p == pytest.approx(0.079394, abs=5e-7)
    assert (result.ci_low, result.ci_high) == pytest.approx((-3.36548, 0.20548), abs=5e-6)
    assert result.difference == pytest.approx(-1.58)


def test_welch_equals_statsmodels_with_unequal_groups():
    rng = np.random.default_rng(4)
    a, b = rng.normal(10, 1, 6), rng.normal(11, 5, 13)
    both = CompareMeans(DescrStatsW(a), DescrStatsW(b))
    t, p, df = both.ttest_ind(usevar="unequal")
    interval = both.tconfint_diff(alpha=0.1, usevar="unequal")
    result = welch_test(a, b, confidence=0.9)
    np.testing.assert_allclose([result.t, result.p, result.df], [t, p, df], rtol=1e-10)
    np.testing.assert_allclose([result.ci_low, result.ci_high], interval, rtol=1e-10)


def test_welch_with_one_constant_group_is_a_one_sample_test():
    values = np.array([1.0, 2.0, 4.0, 8.0])
    result = welch_test(values, [3.0, 3.0, 3.0])
    expected = stats.ttest_1samp(values, 3.0)
    assert (result.t, result.p) == pytest.approx((expected.statistic, expected.pvalue))
    assert result.df == pytest.approx(3)


def test_mann_whitney_and_shift_of_hollander_and_wolfe():
    result = compare_two(*MEMBRANES)
    test = result.mann_whitney
    assert test.u == 35
    assert test.p_greater == pytest.approx(0.12721, abs=5e-6)
    assert test.p == pytest.approx(0.25441, abs=5e-6)
    assert test.method == EXACT
    assert result.shift.estimate == pytest.approx(0.305)
    assert result.cliff_delta.delta == pytest.approx(0.40)


def test_critical_value_of_two_groups_of_ten():
    """Handbook tables give 23 at .05 two-sided for 10 and 10."""
    share = u_distribution(10, 10)
    two_sided = 2 * np.cumsum(share)
    assert two_sided[23] == pytest.approx(0.043257, abs=5e-7)
    assert two_sided[24] == pytest.approx(0.052426, abs=5e-7)
    assert two_sided[0] == pytest.approx(1.0825e-5, abs=5e-10)
    assert share.sum() == pytest.approx(1.0, abs=1e-13)


@pytest.mark.parametrize(("n", "smallest"), [(3, 0.100), (4, 0.0286), (5, 0.0079)])
def test_smallest_reachable_p(n, smallest):
    """Arithmetic: 2/C(2n, n)."""
    result = mann_whitney(np.arange(n), np.arange(n) + 100.0)
    assert result.p == pytest.approx(smallest, abs=5e-5)
    assert result.p == pytest.approx(result.smallest_p, rel=1e-12)


@pytest.mark.parametrize(("n_a", "n_b"), [(9, 12), (12, 9), (10, 10), (20, 31), (1, 6)])
def test_exact_p_without_ties_equals_scipy_also_above_eight(n_a, n_b):
    rng = np.random.default_rng(n_a)
    a, b = rng.normal(0.8, 1, n_a), rng.normal(size=n_b)
    result = mann_whitney(a, b)
    for side, p in [
        ("two-sided", result.p),
        ("greater", result.p_greater),
        ("less", result.p_less),
    ]:
        expected = stats.mannwhitneyu(a, b, alternative=side, method="exact")
        assert (result.u, p) == pytest.approx((expected.statistic, expected.pvalue), rel=1e-10)


@pytest.mark.parametrize("seed", range(6))
def test_exact_p_with_ties_equals_plain_enumeration_of_all_splits(seed):
    rng = np.random.default_rng(seed)
    n_a, n_b = rng.integers(2, 7, 2)
    pooled = rng.integers(0, 4, n_a + n_b).astype(float)
    pooled[0], pooled[-1] = 0.0, 3.0
    result = mann_whitney(pooled[:n_a], pooled[n_a:])
    ranks = stats.rankdata(pooled)
    us = np.array([sum(ranks[list(c)]) for c in combinations(range(n_a + n_b), n_a)])
    us = us - n_a * (n_a + 1) / 2
    middle = n_a * n_b / 2
    assert result.u == us[0]
    assert result.p_greater == pytest.approx((us >= us[0]).mean(), rel=1e-12)
    assert result.p_less == pytest.approx((us <= us[0]).mean(), rel=1e-12)
    far = np.abs(us - middle) >= abs(us[0] - middle)
    assert result.p == pytest.approx(far.mean(), rel=1e-12)
    assert result.method == EXACT_WITH_TIES


def test_large_groups_are_approximated_and_say_so():
    rng = np.random.default_rng(6)
    a, b = rng.normal(0.2, 1, 150), rng.normal(size=120)
    result = mann_whitney(a, b)
    assert result.method == APPROXIMATE
    assert result.p == pytest.approx(stats.mannwhitneyu(a, b, method="asymptotic").pvalue)
    shift = hodges_lehmann(a, b)
    assert shift.method == APPROXIMATE
    assert shift.ci_low < 0.2 < shift.ci_high


def test_hodges_lehmann_interval_holds_the_shifts_that_the_exact_test_does_not_reject():
    """The interval and the test are two faces of one distribution, so shift and test again."""
    rng = np.random.default_rng(7)
    a, b = rng.normal(3, 1, 8), rng.normal(size=7)
    result = hodges_lehmann(a, b)
    assert 0.95 <= result.achieved_confidence < 0.97
    just = 1e-9
    assert mann_whitney(a - result.ci_low - just, b).p > 0.05
    assert mann_whitney(a - result.ci_low + just, b).p <= 0.05
    assert mann_whitney(a - result.ci_high + just, b).p > 0.05
    assert mann_whitney(a - result.ci_high - just, b).p <= 0.05


def test_hodges_lehmann_interval_of_hollander_and_wolfe():
    """R's documentation of wilcox.test: (−0.76, 0.15) for y − x shown as x − y; from memory."""
    result = hodges_lehmann(*MEMBRANES)
    assert result.estimate == pytest.approx(0.305)
    assert (result.ci_low, result.ci_high) == pytest.approx((-0.15, 0.76))


def test_groups_too_small_for_the_interval_say_so():
    result = hodges_lehmann([1.0, 2.0, 3.0], [4.0, 5.0, 6.5])
    assert np.isnan([result.ci_low, result.ci_high]).all()
    assert "too small for an interval of 95 %" in str(result.reason)
    assert result.estimate == pytest.approx(-3.0)
    enough = hodges_lehmann([1.0, 2.0, 3.0], [4.0, 5.0, 6.5], confidence=0.9)
    assert enough.achieved_confidence == pytest.approx(0.9)
    assert (enough.ci_low, enough.ci_high) == (-5.5, -1.0)


def test_hedges_correction_is_exact():
    """df 18 by the gamma functions: .957646; Hedges' short form 1 − 3/(4df − 1) is near it."""
    assert hedges_correction(18) == pytest.approx(0.957646, abs=5e-7)
    assert hedges_correction(18) == pytest.approx(1 - 3 / 71, abs=1e-3)
    assert hedges_correction(2) == pytest.approx(1 / np.sqrt(np.pi), rel=1e-12)


def test_hedges_g_equals_pingouin_but_for_its_short_correction():
    a, b = SLEEP
    result = hedges_g(a, b)
    d = pingouin.compute_effsize(a, b, eftype="cohen")
    assert result.g == pytest.approx(d * hedges_correction(18), rel=1e-12)
    assert result.g == pytest.approx(pingouin.compute_effsize(a, b, eftype="hedges"), abs=1e-3)
    assert result.ci_low < result.g < result.ci_high


def test_noncentrality_limits_solve_their_equation():
    low, high = noncentrality_limits(2.0, 8, 0.95)
    assert stats.nct.cdf(2.0, 8, low) == pytest.approx(0.975, abs=1e-8)
    assert stats.nct.cdf(2.0, 8, high) == pytest.approx(0.025, abs=1e-8)
    mirrored = noncentrality_limits(-2.0, 8, 0.95)
    assert mirrored == pytest.approx((-high, -low), abs=1e-7)


@pytest.mark.parametrize("df", [2, 8, 198])
def test_noncentrality_limits_of_a_huge_t_are_those_of_the_standard_deviation(df):
    """As t grows the limits tend to t √(χ²/df)."""
    limits = noncentrality_limits(1e6, df, 0.95)
    expected = 1e6 * np.sqrt(stats.chi2.ppf([0.025, 0.975], df) / df)
    np.testing.assert_allclose(limits, expected, rtol=1e-4)


def test_cliff_delta_interval_solves_its_equation_and_stays_inside():
    a, b = MEMBRANES
    result = cliff_delta(a, b)
    theta_hat, z = 0.7, stats.norm.ppf(0.975)
    for limit in (result.ci_low, result.ci_high):
        theta = (1 + limit) / 2
        spare = (10 + 5) / 2 - 1
        inner = 1 + spare * (1 - theta) / (2 - theta) + spare * theta / (1 + theta)
        half = z * np.sqrt(theta * (1 - theta) * inner / 50)
        assert abs(theta_hat - theta) == pytest.approx(half, rel=1e-6)
    apart = cliff_delta([5.0, 6.0, 7.0], [1.0, 2.0, 3.0])
    assert apart.delta == apart.ci_high == 1
    assert -1 < apart.ci_low < 0.5
    turned = cliff_delta([1.0, 2.0, 3.0], [5.0, 6.0, 7.0])
    assert (turned.ci_low, turned.ci_high) == pytest.approx((-1, -apart.ci_low))


def test_ties_count_half():
    result = compare_two([1.0, 2.0, 2.0], [2.0, 3.0])
    assert result.mann_whitney.u == 1.0
    assert result.cliff_delta.delta == pytest.approx(2 * 1.0 / 6 - 1)


def test_swapping_the_groups_swaps_every_result():
    there, back = compare_two(*SLEEP), compare_two(*SLEEP[::-1])
    assert there.welch.t == pytest.approx(-back.welch.t)
    assert there.mann_whitney.p == pytest.approx(back.mann_whitney.p)
    assert there.mann_whitney.p_greater == pytest.approx(back.mann_whitney.p_less)
    assert there.shift.ci_low == pytest.approx(-back.shift.ci_high)
    assert there.hedges_g.ci_low == pytest.approx(-back.hedges_g.ci_high)
    assert there.cliff_delta.ci_low == pytest.approx(-back.cliff_delta.ci_high)


def test_identical_crowns_are_told_apart_by_nothing():
    result = compare_two([5.0] * 8, [5.0] * 8)
    assert result.mann_whitney.p == 1
    assert "the same" in str(result.mann_whitney.reason)
    assert "any spread" in str(result.welch.reason)
    assert "any spread" in str(result.hedges_g.reason)
    assert "the same" in str(result.cliff_delta.reason)
    assert (result.shift.estimate, result.shift.ci_low, result.shift.ci_high) == (0, 0, 0)


@pytest.mark.parametrize("other", [[], [np.nan], [4.0]])
def test_an_empty_group_or_one_crown_says_why(other):
    result = compare_two([1.0, 2.0, 3.0, np.nan], other)
    assert result.missing_a == 1
    assert "At least 2" in str(result.welch.reason)
    assert np.isnan([result.welch.p, result.hedges_g.g]).all()
    if len(other) and other == [4.0]:
        assert result.mann_whitney.p == pytest.approx(2 / comb(4, 1))
        assert np.isnan(result.shift.ci_low)
    else:
        assert "At least 1" in str(result.mann_whitney.reason)
        assert "At least 1" in str(result.shift.reason)
        assert "At least 1" in str(result.cliff_delta.reason)


def test_nothing_infinite_is_compared():
    with pytest.raises(SettingError, match=r"first group.*infinite"):
        compare_two([1.0, np.inf], [1.0, 2.0])
