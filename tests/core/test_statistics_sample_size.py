"""Group sizes against statsmodels, published tables and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.sample_size import (
    power_of_difference,
    power_of_equivalence,
    size_for_difference,
    size_for_equivalence,
    two_one_sided_power,
)
from scipy import special
from statsmodels.stats.power import TTestIndPower


def p_of_welch(a: np.ndarray, b: np.ndarray, shift: float) -> np.ndarray:
    """One-sided p of mean(a) − mean(b) ≥ shift for rows of samples, written out."""
    va, vb = a.var(axis=1, ddof=1) / a.shape[1], b.var(axis=1, ddof=1) / b.shape[1]
    df = (va + vb) ** 2 / (va**2 / (a.shape[1] - 1) + vb**2 / (b.shape[1] - 1))
    return special.stdtr(df, (a.mean(axis=1) - b.mean(axis=1) - shift) / np.sqrt(va + vb))


@pytest.mark.parametrize(("d", "n"), [(0.2, 394), (0.5, 64), (0.8, 26), (1.0, 17), (1.5, 9)])
def test_sizes_of_cohens_table(d, n):
    """Cohen 1988, power .80 at two-sided .05 (exact values, from memory); statsmodels agrees."""
    result = size_for_difference(d, 1.0)
    assert result.n == n
    peer = TTestIndPower().power(d, n, 0.05)
    assert result.power == pytest.approx(peer, abs=1e-8)
    assert TTestIndPower().power(d, n - 1, 0.05) < 0.8 <= peer


def test_power_curve_equals_statsmodels():
    result = size_for_difference(6.0, 5.0, power=0.9)
    expected = [TTestIndPower().power(1.2, n, 0.05) for n in result.curve_n]
    np.testing.assert_allclose(result.curve_power, expected, atol=1e-8)
    assert result.n in result.curve_n
    assert (np.diff(result.curve_power) >= 0).all()


@pytest.mark.parametrize(("cv", "total", "power"), [(0.2, 20, 0.834680), (0.3, 40, 0.815845)])
def test_equivalence_power_of_bioequivalence_tables(cv, total, power):
    """Two-period crossover, ratio .95, limits .80 to 1.25, on the log scale: power as the
    handbooks of the PowerTOST package print it (from memory); sizes as in Diletti, Hauschke &
    Steinijans 1991. The standard error is σ√(2/n) on n − 2 degrees of freedom.
    """
    sigma = np.sqrt(np.log(1 + cv**2))
    n = np.array([total - 2, total])
    found = two_one_sided_power(sigma * np.sqrt(2 / n), n - 2, np.log(1.25), np.log(0.95))
    assert found[1] == pytest.approx(power, abs=5e-7)
    assert found[0] < 0.8 <= found[1]


@pytest.mark.parametrize(
    ("n", "difference", "ratio"), [(6, 0.0, 1.0), (9, 1.0, 1.0), (9, 1.0, 3.0)]
)
def test_equivalence_power_equals_simulation(n, difference, ratio):
    """Welch's test has fewer degrees of freedom than at the true spreads: within 1.5 points."""
    rng = np.random.default_rng(13)
    runs, margin = 20_000, 4.0 * ratio
    a, b = rng.normal(difference, 2 * ratio, (runs, n)), rng.normal(0, 2, (runs, n))
    both = (p_of_welch(a, b, margin) <= 0.05) & (p_of_welch(b, a, margin) <= 0.05)
    claimed = power_of_equivalence(n, margin, 2 * ratio, 2.0, difference=difference)[0]
    assert claimed == pytest.approx(both.mean(), abs=0.015)


def test_power_of_difference_with_unequal_spreads_equals_simulation():
    rng = np.random.default_rng(14)
    a, b = rng.normal(4, 5, (20_000, 12)), rng.normal(0, 2, (20_000, 12))
    low = p_of_welch(a, b, 0.0)
    found = (2 * np.minimum(low, 1 - low) <= 0.05).mean()
    assert power_of_difference(12, 4.0, 5.0, 2.0)[0] == pytest.approx(found, abs=0.01)


def test_equivalence_power_is_alpha_at_the_margin_and_grows_to_one():
    many = power_of_equivalence([200, 20_000], 1.0, 1.0, 1.0, difference=1.0)
    np.testing.assert_allclose(many, 0.05, atol=1e-9)
    assert power_of_equivalence(10_000, 1.0, 1.0, 1.0)[0] == pytest.approx(1.0)
    assert power_of_equivalence(2, 0.1, 1.0, 1.0)[0] < 0.05
    assert power_of_difference(10_000, 1.0, 1.0, 1.0)[0] == pytest.approx(1.0)


def test_the_size_found_is_the_smallest():
    for plan in (
        size_for_equivalence(5.0, 4.0, 6.0, difference=1.0, power=0.9),
        size_for_difference(5.0, 4.0, 6.0, power=0.9),
    ):
        at = dict(zip(plan.curve_n.tolist(), plan.curve_power.tolist(), strict=True))
        assert at[plan.n] == pytest.approx(plan.power)
        assert plan.power >= 0.9
        before = (
            power_of_equivalence(plan.n - 1, 5.0, 4.0, 6.0, difference=1.0)
            if plan.purpose == "equivalence"
            else power_of_difference(plan.n - 1, 5.0, 4.0, 6.0)
        )
        assert before[0] < 0.9
    assert size_for_difference(100.0, 1.0).n == 2


@pytest.mark.parametrize(
    "call",
    [
        lambda: size_for_difference(0.0, 1.0),
        lambda: size_for_difference(1.0, 0.0),
        lambda: size_for_difference(1.0, 1.0, power=1.0),
        lambda: size_for_difference(1e-6, 1.0),
        lambda: size_for_equivalence(1.0, 1.0, difference=1.0),
        lambda: size_for_equivalence(-1.0, 1.0),
        lambda: size_for_equivalence(1.0, 1.0, alpha=0.5),
        lambda: size_for_equivalence(np.nan, 1.0),
    ],
)
def test_plans_that_cannot_be_meant_are_refused(call):
    with pytest.raises(SettingError):
        call()
