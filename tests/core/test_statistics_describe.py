"""Description, adjusted p-values and assumption tests against published and independent values."""

from __future__ import annotations

import numpy as np
import pingouin
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.assumptions import (
    brown_forsythe,
    check_assumptions,
    shapiro_wilk,
)
from cuspwise.standalone_core.statistics.describe import describe
from cuspwise.standalone_core.statistics.multiplicity import benjamini_hochberg, holm
from made.statistics_cases import PONDS
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import DescrStatsW


def test_description_equals_numpy_and_the_interval_equals_statsmodels():
    values = np.random.default_rng(1).normal(30, 4, 11)
    result = describe(values, confidence=0.9)
    assert result.mean == pytest.approx(values.mean(), rel=1e-14)
    assert result.sd == pytest.approx(values.std(ddof=1), rel=1e-14)
    assert result.median == np.median(values)
    assert (result.q1, result.q3) == tuple(np.percentile(values, [25, 75]))
    assert result.iqr == result.q3 - result.q1
    assert (result.min, result.max) == (values.min(), values.max())
    expected = DescrStatsW(values).tconfint_mean(alpha=0.1)
    np.testing.assert_allclose([result.ci_low, result.ci_high], expected, rtol=1e-12)
    assert not result.reason


def test_quartiles_of_one_to_ten_are_those_of_type_seven():
    """Hyndman & Fan 1996, type 7: 1 + 9/4 and 1 + 27/4."""
    result = describe(np.arange(1.0, 11.0))
    assert (result.q1, result.median, result.q3) == (3.25, 5.5, 7.75)
    assert "type 7" in result.quartiles


@pytest.mark.parametrize(
    ("values", "n", "missing", "sd", "word"),
    [
        ([], 0, 0, np.nan, "Nothing was measured"),
        ([np.nan, np.nan], 0, 2, np.nan, "Nothing was measured"),
        ([5.0], 1, 0, np.nan, "single value"),
        ([5.0, 5.0, 5.0, np.nan], 3, 1, 0.0, "the same"),
        ([0.1 + 0.2, 0.3, 0.3], 3, 0, 0.0, "the same"),
    ],
)
def test_what_cannot_be_described_says_why(values, n, missing, sd, word):
    result = describe(values)
    assert (result.n, result.missing) == (n, missing)
    np.testing.assert_equal(result.sd, sd)
    assert np.isnan([result.ci_low, result.ci_high]).all()
    assert word in str(result.reason)


@pytest.mark.parametrize("values", [[1.0, np.inf], [[1.0, 2.0]], ["a"], 3.0])
def test_values_that_cannot_be_meant_are_refused(values):
    with pytest.raises(SettingError):
        describe(values)


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0, np.nan])
def test_a_confidence_that_is_no_share_is_refused(confidence):
    with pytest.raises(SettingError, match="confidence"):
        describe([1.0, 2.0], confidence)


def test_holm_worked_example():
    """Arithmetic: 4 × .005, 3 × .01, 2 × .03, then 1 × .04 raised to .06."""
    np.testing.assert_allclose(holm([0.01, 0.04, 0.03, 0.005]), [0.03, 0.06, 0.06, 0.02])


@pytest.mark.parametrize(
    ("ours", "theirs"), [(holm, "holm"), (benjamini_hochberg, "fdr_bh")], ids=["holm", "bh"]
)
def test_adjusted_p_values_equal_statsmodels(ours, theirs):
    rng = np.random.default_rng(2)
    for m in (1, 2, 7, 500):
        p = rng.uniform(size=m) ** 3
        np.testing.assert_allclose(ours(p), multipletests(p, method=theirs)[1], rtol=1e-12)


@pytest.mark.parametrize("rule", [holm, benjamini_hochberg])
def test_tests_that_were_not_made_stay_nan_and_do_not_count(rule):
    p = np.array([[0.01, np.nan, 0.2], [np.nan, 0.03, 0.04]])
    made = ~np.isnan(p)
    adjusted = rule(p)
    np.testing.assert_array_equal(adjusted[made], rule(p[made]))
    assert np.isnan(adjusted[~made]).all()
    assert rule([]).shape == (0,)
    assert np.isnan(rule([np.nan])).all()


@pytest.mark.parametrize("bad", [-0.1, 1.1])
def test_a_p_value_outside_its_range_is_refused(bad):
    with pytest.raises(SettingError, match="outside 0 to 1"):
        holm([0.5, bad])


def test_benjamini_hochberg_of_a_whole_map_keeps_the_false_discoveries_down():
    """1e5 independent points, a tenth of them different: share of false ones ≤ 0.9 × 5 %."""
    rng = np.random.default_rng(3)
    p = rng.uniform(size=100_000)
    p[:10_000] *= 1e-4
    found = benjamini_hochberg(p) <= 0.05
    assert found[:10_000].mean() > 0.99
    assert found[10_000:].sum() / found.sum() == pytest.approx(0.045, abs=0.01)


def test_shapiro_wilk_equals_pingouin_for_zars_ponds():
    expected = pingouin.normality(next(iter(PONDS.values())))
    result = shapiro_wilk(PONDS["1"])
    assert result.w == pytest.approx(float(expected["W"].iloc[0]), rel=1e-9)
    assert result.p == pytest.approx(float(expected["pval"].iloc[0]), rel=1e-9)


def test_shapiro_wilk_of_the_original_paper():
    """Weights of 11 men, Shapiro & Wilk 1965: W = 0.79 (the data and W from memory)."""
    result = shapiro_wilk([148, 154, 158, 160, 161, 162, 166, 170, 182, 195, 236])
    assert result.w == pytest.approx(0.79, abs=0.005)
    assert result.p < 0.01


def test_brown_forsythe_equals_pingouin_for_zars_ponds():
    expected = pingouin.homoscedasticity(list(PONDS.values()), method="levene", center="median")
    result = brown_forsythe(PONDS)
    assert result.f == pytest.approx(float(expected["W"].iloc[0]), rel=1e-9)
    assert result.p == pytest.approx(float(expected["pval"].iloc[0]), rel=1e-9)
    assert (result.df_between, result.df_within) == (3, 27)


def test_assumptions_that_cannot_be_tested_say_why():
    result = check_assumptions({"a": [1.0, 2.0], "b": [3.0, 3.0, 3.0], "c": [1.0, np.nan]})
    assert "at least 3" in result.normality["a"].reason.words().lower()
    assert "the same" in str(result.normality["b"].reason)
    assert "c has 1" in str(result.spread.reason)
    assert np.isnan(result.spread.p)
    flat = brown_forsythe({"a": [1.0, 2.0], "b": [3.0, 3.0]})
    assert "equally far" in str(flat.reason)
    with pytest.raises(SettingError, match="too few"):
        brown_forsythe({"a": [1.0, 2.0]})
