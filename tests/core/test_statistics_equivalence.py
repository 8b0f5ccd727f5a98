"""Equivalence and tolerance limits against statsmodels, handbook tables and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.equivalence import (
    OUTCOME_WORDS,
    compare_with_limit,
    decide,
    shift_with_limit,
)
from cuspwise.standalone_core.statistics.tolerance import (
    tolerance_factor,
    upper_tolerance_limit,
    wilson,
)
from made.statistics_cases import SLEEP
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW, ttost_ind


def test_two_one_sided_tests_of_the_sleep_data():
    """Recomputed from the Welch t of Student's sleep data (−1.58, se .849, df 17.78)."""
    narrow = compare_with_limit(*SLEEP, 0.5)
    assert narrow.p_above_low == pytest.approx(0.89011, abs=5e-6)
    assert narrow.p_below_high == pytest.approx(0.01245, abs=5e-6)
    assert narrow.p_equivalence == narrow.p_above_low
    assert narrow.outcome == "undecided"
    wide = compare_with_limit(*SLEEP, 5.0)
    assert wide.p_equivalence == pytest.approx(4.034e-4, abs=5e-8)
    assert wide.outcome == "equivalent"


def test_two_one_sided_tests_equal_statsmodels():
    rng = np.random.default_rng(8)
    a, b = rng.normal(20, 2, 9), rng.normal(21, 4, 14)
    p, low, high = ttost_ind(a, b, -3.0, 3.0, usevar="unequal")
    result = compare_with_limit(a, b, 3.0)
    assert result.p_equivalence == pytest.approx(p, rel=1e-10)
    assert result.p_above_low == pytest.approx(low[1], rel=1e-10)
    assert result.p_below_high == pytest.approx(high[1], rel=1e-10)
    interval = CompareMeans(DescrStatsW(a), DescrStatsW(b)).tconfint_diff(0.1, usevar="unequal")
    np.testing.assert_allclose([result.ci_low, result.ci_high], interval, rtol=1e-10)
    assert result.confidence == pytest.approx(0.90)


@pytest.mark.parametrize(
    ("shift", "spread", "limit", "outcome"),
    [
        (5.0, 1.0, 3.0, "different"),
        (0.0, 1.0, 3.0, "equivalent"),
        (2.0, 1.0, 10.0, "different_within_limit"),
        (1.0, 5.0, 3.0, "undecided"),
    ],
)
def test_all_four_outcomes(shift, spread, limit, outcome):
    base = spread * np.array([-1.5, -1.0, -0.5, 0.0, 0.0, 0.5, 1.0, 1.5])
    result = compare_with_limit(base + shift, base, limit)
    assert result.outcome == outcome
    inside = -limit < result.ci_low and result.ci_high < limit
    assert inside == (result.p_equivalence < 0.05)
    zero_inside = result.test.ci_low < 0 < result.test.ci_high
    assert zero_inside == (result.p_difference > 0.05)


def test_outcomes_at_the_boundary_and_without_a_test():
    assert decide(0.05, 0.05, 0.05) == "different_within_limit"
    assert decide(0.0501, 0.05, 0.05) == "equivalent"
    assert decide(0.05, 0.0501, 0.05) == "different"
    assert decide(0.06, np.nan, 0.05) == "undecided"
    assert decide(np.nan, np.nan, 0.05) == "not_computed"
    assert OUTCOME_WORDS["different_within_limit"] == "different but within the equivalence limit"


def test_margins_and_groups_that_cannot_be_used():
    for limit in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(SettingError, match="limit"):
            compare_with_limit([1.0, 2.0], [1.0, 2.0], limit)
    with pytest.raises(SettingError, match="alpha"):
        compare_with_limit([1.0, 2.0], [1.0, 2.0], 1.0, alpha=0.5)
    for a, b in (([5.0] * 4, [5.0] * 4), ([1.0], [1.0, 2.0]), ([], [1.0, 2.0])):
        result = compare_with_limit(a, b, 1.0)
        assert result.outcome == "not_computed"
        assert result.reason == result.test.reason
        assert str(result.reason)
        assert np.isnan(result.p_equivalence)


@pytest.mark.parametrize(("within", "n"), [(0, 8), (3, 8), (8, 8), (95, 100), (1, 1)])
def test_wilson_equals_statsmodels(within, n):
    result = wilson(within, n, confidence=0.9)
    expected = proportion_confint(within, n, alpha=0.1, method="wilson")
    np.testing.assert_allclose([result.ci_low, result.ci_high], expected, atol=1e-12)
    assert result.share == within / n


def test_shares_of_nothing_and_of_too_many():
    nothing = wilson(0, 0)
    assert nothing.reason
    assert np.isnan(nothing.share)
    with pytest.raises(SettingError, match="not a count"):
        wilson(3, 2)


@pytest.mark.parametrize(
    ("n", "content", "confidence", "factor"),
    [
        # Tables of one-sided factors: Natrella, Experimental Statistics, NBS Handbook 91, A-7
        # (from memory, three decimals).
        (5, 0.95, 0.95, 4.203),
        (10, 0.90, 0.95, 2.355),
        (10, 0.95, 0.95, 2.911),
        (20, 0.95, 0.95, 2.396),
        # real-statistics.com, tolerance interval example, by the noncentral t (four decimals).
        (40, 0.90, 0.99, 1.9017),
    ],
)
def test_tolerance_factors_of_handbooks(n, content, confidence, factor):
    decimals = 5e-5 if n == 40 else 1e-3
    assert tolerance_factor(n, content, confidence) == pytest.approx(factor, abs=decimals)


def test_limits_for_the_next_units():
    values = np.array([12.0, 14.0, 13.0, 17.0, 15.0, 11.0, 14.0, 16.0])
    result = upper_tolerance_limit(values, content=0.9, confidence=0.95)
    assert result.limit == pytest.approx(values.mean() + result.factor * values.std(ddof=1))
    ahead = stats.t.ppf(0.95, 7) * np.sqrt(1 + 1 / 8)
    assert result.next_limit == pytest.approx(values.mean() + ahead * values.std(ddof=1))
    assert result.largest == 17
    assert result.largest_confidence == pytest.approx(1 - 0.9**8)
    assert result.normality_p == pytest.approx(stats.shapiro(values).pvalue)
    assert "normal" in result.caveat


@pytest.mark.parametrize("values", [[], [5.0], [5.0, 5.0, 5.0]])
def test_limits_that_cannot_be_had_say_why(values):
    result = upper_tolerance_limit(values)
    assert result.reason
    assert np.isnan([result.limit, result.next_limit]).all()


def test_rank_tests_of_the_shift_are_scipys_after_a_shift_by_the_margin():
    rng = np.random.default_rng(21)
    a, b = rng.normal(1.0, 2.0, 9), rng.normal(0.0, 2.0, 7)
    found = shift_with_limit(a, b, 4.0)
    above = stats.mannwhitneyu(a + 4.0, b, alternative="greater", method="exact").pvalue
    below = stats.mannwhitneyu(a - 4.0, b, alternative="less", method="exact").pvalue
    assert (found.p_above_low, found.p_below_high) == pytest.approx((above, below))
    assert found.p_equivalence == max(found.p_above_low, found.p_below_high)


def test_the_shifts_interval_lies_within_the_margin_exactly_when_both_rank_tests_reject():
    rng = np.random.default_rng(22)
    seen = set()
    for _ in range(300):
        a, b = rng.normal(0.5, 1.0, 6), rng.normal(0.0, 1.0, 8)
        found = shift_with_limit(a, b, 1.6)
        inside = found.shift.ci_low > -1.6 and found.shift.ci_high < 1.6
        assert (found.p_equivalence <= 0.05) == inside
        seen.add(inside)
    assert seen == {True, False}


def test_rank_tests_at_the_margin_reject_no_more_than_stated():
    """At the boundary; binomial bound at 1e-3 above 5 %, which exact tests stay below."""
    rng = np.random.default_rng(23)
    runs = 1000
    wrong = sum(
        shift_with_limit(rng.normal(2.0, 1.0, 8), rng.normal(0.0, 1.0, 8), 2.0).p_equivalence
        <= 0.05
        for _ in range(runs)
    )
    assert 0.02 * runs <= wrong <= stats.binom.isf(1e-3, runs, 0.05)


def test_groups_without_spread_or_units_have_no_rank_test_of_equivalence():
    same = shift_with_limit([5.0] * 4, [5.0] * 4, 1.0)
    assert np.isnan(same.p_equivalence)
    assert "All values are the same" in str(same.reason)
    none = shift_with_limit([np.nan], [1.0, 2.0], 1.0)
    assert np.isnan(none.p_equivalence)
    assert none.reason
