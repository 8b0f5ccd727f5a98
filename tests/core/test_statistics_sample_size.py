"""Group sizes against statsmodels, published tables and simulation."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.sample_size import (
    WORTH,
    power_for_difference,
    size_for_difference,
    size_for_equivalence,
)
from cuspwise.standalone_core.statistics.simulated_power import MOST as SIMULATED
from cuspwise.standalone_core.statistics.welch_power import (
    both_rejected,
    power_of_difference,
    power_of_equivalence,
)
from scipy import integrate, special, stats
from statsmodels.stats.power import TTestIndPower


def p_of_welch(a: np.ndarray, b: np.ndarray, shift: float) -> np.ndarray:
    """One-sided p of mean(a) − mean(b) ≥ shift for rows of samples, written out."""
    va, vb = a.var(axis=1, ddof=1) / a.shape[1], b.var(axis=1, ddof=1) / b.shape[1]
    df = (va + vb) ** 2 / (va**2 / (a.shape[1] - 1) + vb**2 / (b.shape[1] - 1))
    return special.stdtr(df, (a.mean(axis=1) - b.mean(axis=1) - shift) / np.sqrt(va + vb))


@pytest.mark.parametrize(("d", "n"), [(0.2, 394), (0.5, 64), (0.8, 26), (1.0, 17), (1.5, 9)])
def test_sizes_of_cohens_table(d, n):
    """Cohen 1988, power .80 at two-sided .05 (exact values, from memory), is for the pooled test;
    Welch's estimates its degrees of freedom, and may need one unit more, never fewer.
    """
    result = size_for_difference(d, 1.0)
    assert result.n in (n, n + 1)
    assert TTestIndPower().power(d, n - 1, 0.05) < 0.8
    assert result.power <= TTestIndPower().power(d, result.n, 0.05)


def test_power_of_many_units_is_that_of_the_pooled_test():
    n = np.array([30, 100, 400])
    pooled = [TTestIndPower().power(0.5, k, 0.05) for k in n]
    np.testing.assert_allclose(power_of_difference(n, 0.5, 1.0, 1.0), pooled, atol=3e-3)
    curve = size_for_difference(6.0, 5.0, power=0.9)
    assert curve.n in curve.curve_n
    assert (np.diff(curve.curve_power) >= 0).all()


@pytest.mark.parametrize(
    ("delta", "n", "power"), [(4.0, 2, 0.300), (4.0, 3, 0.884), (3.0, 2, 0.195), (3.0, 3, 0.677)]
)
def test_power_of_very_few_units_equals_a_published_simulation(delta, n, power):
    """check_values.md, section 6: Welch's test at .05, 60,000 runs, so ± 3 standard errors."""
    error = 3 * (power * (1 - power) / 60_000) ** 0.5 + 5e-4
    assert power_of_difference(n, delta, 1.0, 1.0)[0] == pytest.approx(power, abs=error)


@pytest.mark.parametrize(("n", "sd_a"), [(2, 1.0), (3, 3.0), (6, 0.2)])
def test_power_equals_an_integral_written_out(n, sd_a):
    """Over the angle and the length of (s_a, s_b), by adaptive quadrature."""
    margin, difference = 6.0, 1.0

    def power(rejects, angle):
        cos2, sin2 = np.cos(angle) ** 2, np.sin(angle) ** 2
        v_a, v_b = sd_a**2 * cos2 / (n - 1) / n, sin2 / (n - 1) / n
        df = (n - 1) * (v_a + v_b) ** 2 / (v_a**2 + v_b**2)
        error = np.sqrt((sd_a**2 + 1) / n)

        def inner(r):
            return rejects(df, r * np.sqrt(v_a + v_b), error) * stats.chi.pdf(r, 2 * n - 2)

        return integrate.quad(inner, 0, np.inf, limit=200)[0] * np.sin(2 * angle) ** (n - 2)

    def found(df, own, error):
        half = special.stdtrit(df, 0.975) * own
        return special.ndtr((difference - half) / error) + special.ndtr(
            (-difference - half) / error
        )

    def within(df, own, error):
        half = special.stdtrit(df, 0.95) * own
        inside = special.ndtr((margin - half - difference) / error)
        return max(inside - special.ndtr((-margin + half - difference) / error), 0.0)

    whole = integrate.quad(lambda angle: np.sin(2 * angle) ** (n - 2), 0, np.pi / 2)[0]
    means = [
        integrate.quad(lambda angle, r=r: power(r, angle), 0, np.pi / 2)[0] / whole
        for r in (found, within)
    ]
    assert power_of_difference(n, difference, sd_a, 1.0)[0] == pytest.approx(means[0], abs=1e-6)
    equivalent = power_of_equivalence(n, margin, sd_a, 1.0, difference=difference)
    assert equivalent[0] == pytest.approx(means[1], abs=1e-6)


@pytest.mark.parametrize("test", ["ranks", "trimmed"])
@pytest.mark.parametrize("n", [4, 7, 12])
def test_simulated_power_is_that_of_the_library_s_tests(test, n):
    """scipy's exact Mann–Whitney test and its trimmed t test, on other random values."""
    rng = np.random.default_rng(15)
    a, b = rng.normal(2, 1.5, (1500, n)), rng.normal(0, 1, (1500, n))
    if test == "ranks":
        p = stats.mannwhitneyu(a, b, axis=1, method="exact").pvalue
    else:
        p = stats.ttest_ind(a, b, axis=1, equal_var=False, trim=0.2).pvalue
    share = float((p <= 0.05).mean())
    error = 4 * (0.25 / 1500 + 0.25 / 20_000) ** 0.5
    found = power_for_difference(n, 2.0, 1.5, 1.0, test=test)[0]
    assert found == pytest.approx(share, abs=error)


def test_three_crowns_by_ranks_show_nothing():
    """Mann & Whitney's smallest two-sided p of 3 and 3 is .1 (exact tables)."""
    assert power_for_difference([3, 4], 100.0, 1.0, 1.0, test="ranks").tolist() == [0.0, 1.0]
    with pytest.raises(SettingError, match="units a group would be needed"):
        size_for_difference(1e-5, 1.0, test="ranks")


@pytest.mark.parametrize("test", ["ranks", "trimmed"])
def test_many_units_of_another_test_are_worth_as_many_of_welchs(test):
    """Where the simulation ends the efficiency of many units takes over, without a step."""
    n = np.array([SIMULATED, SIMULATED + 1])
    at, beyond = power_for_difference(n, 0.3, 1.0, 1.0, test=test)
    assert beyond == pytest.approx(at, abs=0.015)
    z = stats.norm.ppf(0.8)
    central = integrate.quad(lambda x: x**2 * stats.norm.pdf(x), -z, z)[0]
    of_trimmed = 0.6**2 / (central + 2 * 0.2 * z**2)
    assert WORTH["trimmed"] == pytest.approx(of_trimmed, abs=5e-5)


@pytest.mark.parametrize(("cv", "total", "power"), [(0.2, 20, 0.834680), (0.3, 40, 0.815845)])
def test_equivalence_power_of_bioequivalence_tables(cv, total, power):
    """Two-period crossover, ratio .95, limits .80 to 1.25, on the log scale: power as the
    handbooks of the PowerTOST package print it (from memory); sizes as in Diletti, Hauschke &
    Steinijans 1991. The standard error is σ√(2/n) on n − 2 degrees of freedom.
    """
    sigma = np.sqrt(np.log(1 + cv**2))
    n = np.array([total - 2, total])
    critical = special.stdtrit(n - 2, 0.95)
    error = sigma * np.sqrt(2 / n)
    found = both_rejected(error, n - 2, critical, np.log(1.25), np.log(0.95))
    assert found[1] == pytest.approx(power, abs=5e-7)
    assert found[0] < 0.8 <= found[1]


@pytest.mark.parametrize(
    ("n", "difference", "ratio"), [(6, 0.0, 1.0), (9, 1.0, 1.0), (9, 1.0, 3.0)]
)
def test_equivalence_power_equals_simulation(n, difference, ratio):
    rng = np.random.default_rng(13)
    runs, margin = 20_000, 4.0 * ratio
    a, b = rng.normal(difference, 2 * ratio, (runs, n)), rng.normal(0, 2, (runs, n))
    both = (p_of_welch(a, b, margin) <= 0.05) & (p_of_welch(b, a, margin) <= 0.05)
    claimed = power_of_equivalence(n, margin, 2 * ratio, 2.0, difference=difference)[0]
    assert claimed == pytest.approx(both.mean(), abs=0.011)


def test_power_of_difference_with_unequal_spreads_equals_simulation():
    rng = np.random.default_rng(14)
    a, b = rng.normal(4, 5, (20_000, 12)), rng.normal(0, 2, (20_000, 12))
    low = p_of_welch(a, b, 0.0)
    found = (2 * np.minimum(low, 1 - low) <= 0.05).mean()
    assert power_of_difference(12, 4.0, 5.0, 2.0)[0] == pytest.approx(found, abs=0.01)


def test_equivalence_power_is_alpha_at_the_margin_and_grows_to_one():
    many = power_of_equivalence([200, 20_000], 1.0, 1.0, 1.0, difference=1.0)
    np.testing.assert_allclose(many, 0.05, atol=1e-4)
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
