"""Gauge studies against AIAG's worked example, statsmodels and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.gauge import gauge_study
from scipy import stats
from statsmodels.stats.anova import anova_lm

# AIAG, Measurement Systems Analysis: 10 parts, 3 operators, 3 trials (one row a trial).
AIAG = {
    "A": """.29 -.56 1.34 .47 -.80 .02 .59 -.31 2.26 -1.36
            .41 -.68 1.17 .50 -.92 -.11 .75 -.20 1.99 -1.25
            .64 -.58 1.27 .64 -.84 -.21 .66 -.17 2.01 -1.31""",
    "B": """.08 -.47 1.19 .01 -.56 -.20 .47 -.63 1.80 -1.68
            .25 -1.22 .94 1.03 -1.20 .22 .55 .08 2.12 -1.62
            .07 -.68 1.34 .20 -1.28 .06 .83 -.34 2.19 -1.50""",
    "C": """.04 -1.38 .88 .14 -1.46 -.29 .02 -.46 1.77 -1.49
            -.11 -1.13 1.09 .20 -1.07 -.67 .01 -.56 1.45 -1.77
            -.15 -.96 .67 .11 -1.45 -.49 .21 -.49 1.87 -2.16""",
}


def aiag() -> tuple[np.ndarray, list[int], list[str]]:
    rows = [
        (float(value), part, operator)
        for operator, text in AIAG.items()
        for line in text.splitlines()
        for part, value in enumerate(line.split())
    ]
    values, parts, operators = zip(*rows, strict=True)
    return np.array(values), list(parts), list(operators)


def test_sums_of_squares_of_aiag():
    lines = {line.name: line for line in gauge_study(*aiag()).sources}
    assert lines["operator"].sum_of_squares == pytest.approx(3.16726, abs=5e-6)
    assert lines["part"].sum_of_squares == pytest.approx(88.36193, abs=5e-6)
    assert lines["interaction"].sum_of_squares == pytest.approx(0.35898, abs=5e-6)
    assert lines["repeat"].sum_of_squares == pytest.approx(2.75893, abs=5e-6)
    assert [lines[name].df for name in ("part", "operator", "interaction", "repeat")] == [
        9,
        2,
        18,
        60,
    ]


def test_components_of_aiag_with_the_interaction_pooled():
    result = gauge_study(*aiag())
    assert result.pooled
    assert result.repeatability**2 == pytest.approx(0.039973, abs=5e-7)
    assert result.reproducibility**2 == pytest.approx(0.051455, abs=5e-7)
    assert result.gauge**2 == pytest.approx(0.091429, abs=1e-6)
    assert result.part**2 == pytest.approx(1.086447, abs=5e-7)
    assert 100 * result.variance_share == pytest.approx(7.76, abs=5e-3)
    assert 100 * result.sd_share == pytest.approx(27.86, abs=5e-3)
    assert result.distinct_categories == 4
    assert result.repeatability_df == 78


def test_a_negative_component_is_clamped_and_named():
    """Unpooled, AIAG's interaction comes out at −.00868."""
    result = gauge_study(*aiag(), pool_above=1.0)
    lines = {line.name: line for line in result.sources}
    raw = (lines["interaction"].mean_square - lines["repeat"].mean_square) / 3
    assert raw == pytest.approx(-0.00868, abs=5e-6)
    assert not result.pooled
    assert result.clamped == ("interaction",)
    assert any("interaction" in str(note) for note in result.notes)
    assert result.repeatability**2 == pytest.approx(2.75893 / 60, rel=1e-5)
    operator = (lines["operator"].mean_square - lines["interaction"].mean_square) / 30
    assert result.reproducibility**2 == pytest.approx(operator)


def test_analysis_of_variance_equals_statsmodels():
    rng = np.random.default_rng(11)
    part, operator = np.repeat(np.arange(6), 8), np.tile(np.repeat(np.arange(4), 2), 6)
    values = rng.normal(size=48) + part + 0.5 * operator + rng.normal(size=24).repeat(2)
    frame = pd.DataFrame({"y": values, "p": part, "o": operator})
    expected = anova_lm(smf.ols("y ~ C(p) * C(o)", frame).fit())
    result = gauge_study(values, part.tolist(), operator.tolist())
    np.testing.assert_allclose(
        [line.sum_of_squares for line in result.sources], expected["sum_sq"], rtol=1e-9
    )
    assert result.interaction_p == pytest.approx(expected.loc["C(p):C(o)", "PR(>F)"], rel=1e-9)


def test_order_of_the_rows_does_not_matter():
    values, parts, operators = aiag()
    order = np.random.default_rng(12).permutation(len(values))
    mixed = gauge_study(values[order], [parts[i] for i in order], [operators[i] for i in order])
    assert mixed.gauge == pytest.approx(gauge_study(values, parts, operators).gauge, rel=1e-12)


def test_one_crown_scanned_again_and_again_by_one_operator():
    values = np.array([14.1, 13.8, 14.4, 14.0, 14.6])
    result = gauge_study(values, ["crown"] * 5, ["first"] * 5)
    sd = values.std(ddof=1)
    assert result.repeatability == pytest.approx(sd)
    assert result.smallest_difference == pytest.approx(1.959964 * np.sqrt(2) * sd, rel=1e-6)
    low, high = sd * np.sqrt(4 / stats.chi2.ppf([0.975, 0.025], 4))
    assert (result.repeatability_low, result.repeatability_high) == pytest.approx((low, high))
    assert result.smallest_high == pytest.approx(1.959964 * np.sqrt(2) * high, rel=1e-6)
    assert np.isnan(
        [result.part, result.reproducibility, result.sd_share, result.variance_share]
    ).all()
    assert result.distinct_categories is None
    assert any("single part" in str(note) for note in result.notes)
    assert any("One operator" in str(note) for note in result.notes)


def test_one_crown_scanned_by_several_operators():
    """One-way analysis of variance over the operators."""
    values = np.array([10.0, 10.2, 10.1, 11.0, 11.3, 11.1])
    result = gauge_study(values, ["crown"] * 6, ["a"] * 3 + ["b"] * 3)
    within = np.array([values[:3].var(ddof=1), values[3:].var(ddof=1)]).mean()
    between = 3 * np.array([values[:3].mean(), values[3:].mean()]).var(ddof=1)
    assert result.repeatability**2 == pytest.approx(within)
    assert result.reproducibility**2 == pytest.approx((between - within) / 3)
    assert result.smallest_difference_operators > result.smallest_difference
    assert np.isnan(result.part)


def test_several_crowns_and_one_operator():
    values = np.array([10.0, 10.2, 12.0, 12.3, 15.0, 15.1])
    result = gauge_study(values, [1, 1, 2, 2, 3, 3], ["a"] * 6)
    f = stats.f_oneway(values[:2], values[2:4], values[4:])
    lines = {line.name: line for line in result.sources}
    assert lines["part"].mean_square / lines["repeat"].mean_square == pytest.approx(f.statistic)
    assert np.isnan(result.reproducibility)
    assert result.gauge == result.repeatability
    assert result.distinct_categories > 5


def test_a_single_trial_each_leaves_the_interaction_in_the_repeatability():
    values = [1.0, 2.0, 3.0, 1.5, 2.1, 3.3]
    result = gauge_study(values, [1, 2, 3, 1, 2, 3], ["a"] * 3 + ["b"] * 3)
    assert result.trials == 1
    assert result.repeatability_df == 2
    assert any("Nothing was repeated" in str(note) for note in result.notes)


def test_categories_are_counted_as_the_handbook_does():
    """1.41 part/gauge rounded down, but never below 1; unknown is none, not 0."""
    rng = np.random.default_rng(3)
    parts, trial = np.repeat(np.arange(8), 3), rng.normal(0, 1, 24)
    for apart in (0.0, 0.5, 2.0, 4.0):
        values = trial + apart * np.sqrt(8) * (parts - 3.5)
        found = gauge_study(values, parts.tolist(), ["a"] * 24)
        ratio = 1.41 * found.part / found.gauge
        assert found.distinct_categories == max(1, math.floor(ratio))
    alike = gauge_study([1.0, 2.0, 2.0, 1.0], [1, 1, 2, 2], ["a"] * 4)
    assert alike.part == 0
    assert alike.distinct_categories == 1
    assert alike.variance_share == alike.sd_share == 1
    exact = gauge_study([1.0, 1.0, 2.0, 2.0], [1, 1, 2, 2], ["a"] * 4)
    assert exact.distinct_categories is None


def test_identical_repeats_are_remarked_on():
    result = gauge_study([5.0, 5.0, 5.0], ["crown"] * 3, ["a"] * 3)
    assert result.repeatability == result.smallest_difference == 0
    assert any("identical" in str(note) for note in result.notes)


@pytest.mark.parametrize(
    ("values", "parts", "operators", "word"),
    [
        ([1.0, 2.0, 3.0], [1, 1, 2], ["a"] * 3, "not balanced: a measured 2 1 times"),
        ([1.0, 2.0, np.nan, 3.0], [1, 1, 2, 2], ["a"] * 4, "missing"),
        ([1.0, 2.0], [1, 2], ["a", "a"], "Nothing was measured twice"),
        ([1.0], [1], ["a"], "Nothing was measured twice"),
        ([], [], [], "0 values"),
        ([1.0, 2.0], [1], ["a", "a"], "2 values, 1 parts"),
    ],
)
def test_studies_that_cannot_be_analysed_are_refused(values, parts, operators, word):
    with pytest.raises(SettingError, match=word):
        gauge_study(values, parts, operators)
