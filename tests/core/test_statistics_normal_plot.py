"""Normal quantile–quantile plots: quantiles and band against scipy, Filliben and Grubbs."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.normal_plot import filliben_medians, normal_plot
from scipy import stats


@pytest.mark.parametrize("n", [3, 4, 5, 8, 12, 30])
def test_quantiles_are_scipys(n: int) -> None:
    values = np.random.default_rng(n).gamma(2.0, 5.0, n)
    theory, ordered = stats.probplot(values, fit=False)
    found = normal_plot(values)
    np.testing.assert_allclose(found.quantiles, theory, rtol=1e-12)
    np.testing.assert_array_equal(found.values, ordered)
    np.testing.assert_array_equal(values[list(found.order)], ordered)
    assert (found.mean, found.sd) == pytest.approx((values.mean(), values.std(ddof=1)))


def test_medians_are_near_those_of_the_beta_distribution() -> None:
    """The i-th of n uniform values is Beta(i, n + 1 − i), whose median Filliben approximates."""
    for n in (5, 10, 25):
        rank = np.arange(1, n + 1)
        np.testing.assert_allclose(
            filliben_medians(n), stats.beta.median(rank, n + 1 - rank), atol=6e-4
        )


@pytest.mark.parametrize(("n", "critical"), [(3, 1.155), (5, 1.715), (10, 2.290), (20, 2.709)])
def test_the_band_of_the_largest_ends_at_grubbs_critical_value(n: int, critical: float) -> None:
    """One-sided 2.5 % points of (x_n − mean)/SD: Grubbs FE, Beck G. Extension of sample sizes and
    percentage points for significance tests of outlying observations. Technometrics 1972; 14:
    847–854, table 1 (from memory), and by Student's distribution, exact as far as only one value
    can lie beyond.
    """
    t = stats.t.isf(0.025 / n, n - 2)
    assert critical == pytest.approx(
        (n - 1) / np.sqrt(n) * np.sqrt(t**2 / (n - 2 + t**2)), abs=2e-3
    )
    found = normal_plot(np.arange(n), resamples=100_000, seed=4)
    upper = (found.high[-1] - found.mean) / found.sd
    lower = (found.mean - found.low[0]) / found.sd
    assert upper == pytest.approx(critical, abs=0.02)
    assert lower == pytest.approx(critical, abs=0.02)


def test_a_normal_value_lies_in_its_band_as_often_as_said_and_a_skewed_one_less() -> None:
    """4 standard errors of a share of 2,000 samples are 0.02."""
    rng = np.random.default_rng(3)
    inside = {"normal": np.zeros(8), "skewed": np.zeros(8)}
    band = normal_plot(np.arange(8.0), resamples=50_000)
    low, high = (np.array((end - band.mean) / band.sd) for end in (band.low, band.high))
    for _ in range(2000):
        for name, drawn in (("normal", rng.normal(size=8)), ("skewed", rng.lognormal(0, 1.2, 8))):
            z = np.sort((drawn - drawn.mean()) / drawn.std(ddof=1))
            inside[name] += (z >= low) & (z <= high)
    np.testing.assert_allclose(inside["normal"] / 2000, 0.95, atol=0.02)
    assert (inside["skewed"] / 2000).min() < 0.7


def test_the_band_follows_unit_and_seed() -> None:
    values = np.array([3.0, 9.0, 4.0, 4.5])
    one, two = normal_plot(values, seed=7), normal_plot(10.0 * values - 5.0, seed=7)
    np.testing.assert_allclose(two.low, 10.0 * one.low - 5.0)
    np.testing.assert_allclose(two.high, 10.0 * one.high - 5.0)
    assert np.all(normal_plot(values, 0.5, seed=7).high < one.high)


def test_missing_values_are_left_out_and_their_places_kept() -> None:
    found = normal_plot([5.0, np.nan, 1.0, 3.0])
    assert found.values.tolist() == [1.0, 3.0, 5.0]
    assert found.order == (2, 3, 0)


@pytest.mark.parametrize(
    ("values", "code"), [([1.0, 2.0], "too_few_values"), ([2.0] * 5, "all_same")]
)
def test_what_cannot_be_drawn_says_why(values: list[float], code: str) -> None:
    found = normal_plot(values)
    assert len(found.values) == len(found.low) == 0
    assert found.reason.code == code


def test_bad_input_is_refused() -> None:
    with pytest.raises(SettingError, match="confidence"):
        normal_plot([1.0, 2.0, 3.0], 1.5)
    with pytest.raises(SettingError, match="values"):
        normal_plot([1.0, np.inf, 3.0])
