"""Yuen's test against scipy, and what an odd unit does to it."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.statistics.trimmed import trimmed_test
from cuspwise.standalone_core.statistics.welch import welch_test
from scipy import stats


@pytest.mark.parametrize(("n_a", "n_b"), [(5, 5), (11, 7), (8, 20)])
@pytest.mark.parametrize("trim", [0.1, 0.2, 0.25])
def test_as_scipy_has_it(n_a, n_b, trim):
    rng = np.random.default_rng(n_a * 100 + n_b)
    a, b = rng.normal(0, 1, n_a), rng.normal(1, 3, n_b)
    peer = stats.ttest_ind(a, b, equal_var=False, trim=trim)
    interval = peer.confidence_interval(0.9)
    found = trimmed_test(a, b, trim=trim, confidence=0.9)
    assert (found.t, found.p) == pytest.approx((peer.statistic, peer.pvalue), rel=1e-10)
    assert (found.ci_low, found.ci_high) == pytest.approx((interval.low, interval.high), rel=1e-9)
    assert found.mean_a == pytest.approx(stats.trim_mean(a, trim))


def test_up_to_four_units_it_is_welchs_test():
    a, b = [1.0, 2.0, 4.0, 4.5], [3.0, 8.0, 9.0, 1.0]
    assert trimmed_test(a, b).p == pytest.approx(welch_test(a, b).p)


def test_an_odd_unit_does_not_move_it():
    a, b = [10.0, 11.0, 12.0, 13.0, 14.0, 15.0], [20.0, 21.0, 22.0, 23.0, 24.0, 25.0]
    spoiled = [*b[:-1], 400.0]
    assert trimmed_test(a, spoiled).p == pytest.approx(trimmed_test(a, b).p)
    assert trimmed_test(a, b).p < 0.05 < welch_test(a, spoiled).p


def test_what_cannot_be_computed_says_why():
    assert np.isnan(trimmed_test([1.0], [2.0, 3.0]).p)
    assert trimmed_test([1.0], [2.0, 3.0]).reason
    assert trimmed_test([2.0] * 5, [3.0] * 5).reason.code == "no_spread"
    assert trimmed_test([], [1.0]).reason
