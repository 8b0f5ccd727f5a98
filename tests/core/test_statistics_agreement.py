"""Agreement of two raters and of many against publications, statsmodels and the definition."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.agreement import cohen_kappa, kappa_of_table
from cuspwise.standalone_core.statistics.many_raters import fleiss_kappa, gwet_coefficient
from statsmodels.stats import inter_rater
from statsmodels.stats.tests import test_inter_rater as statsmodels_examples

# The usual worked example of Fleiss' kappa: 10 subjects, 14 raters, 5 categories, κ = .210 (counts
# and value from memory; statsmodels confirms the value).
FOURTEEN = np.array(
    [
        [0, 0, 0, 0, 14],
        [0, 2, 6, 4, 2],
        [0, 0, 3, 5, 6],
        [0, 3, 9, 2, 0],
        [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0],
        [3, 2, 6, 3, 0],
        [2, 5, 3, 2, 2],
        [6, 5, 2, 1, 0],
        [0, 2, 2, 3, 7],
    ]
)


def as_scores(counts: np.ndarray) -> np.ndarray:
    return np.array([np.repeat(np.arange(counts.shape[1]), row) for row in counts], dtype=float)


def test_kappa_of_two_by_two():
    """[[20, 5], [10, 15]]: p_o .7, p_e .5, κ .4 (textbook example, from memory; arithmetic)."""
    result = kappa_of_table([[20, 5], [10, 15]])
    assert result.coefficient == pytest.approx(0.4)
    assert (result.agreement, result.chance_agreement, result.same_share) == pytest.approx(
        (0.7, 0.5, 0.7)
    )


def test_kappa_of_statsmodels_own_example():
    """statsmodels' test data: κ .4842, ASE .1380, interval .2137 to .7547, linear .4701."""
    table = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
    result = kappa_of_table(table)
    assert result.coefficient == pytest.approx(0.4842, abs=5e-5)
    assert result.standard_error == pytest.approx(0.1380, abs=5e-5)
    assert (result.ci_low, result.ci_high) == pytest.approx((0.2137, 0.7547), abs=5e-5)
    assert kappa_of_table(table, weights="linear").coefficient == pytest.approx(0.4701, abs=5e-5)


def test_weighted_kappa_of_fleiss_textbook():
    """Fleiss: 100 patients, two psychiatrists; κ .676 (from memory), weighted recomputed."""
    table = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]
    assert kappa_of_table(table).coefficient == pytest.approx(0.67647, abs=5e-6)
    assert kappa_of_table(table, weights="linear").coefficient == pytest.approx(0.72222, abs=5e-6)
    assert kappa_of_table(table, weights="quadratic").coefficient == pytest.approx(
        0.75532, abs=5e-6
    )


@pytest.mark.parametrize(
    ("ours", "theirs"), [("none", None), ("linear", "linear"), ("quadratic", "quadratic")]
)
def test_kappa_and_its_error_equal_statsmodels(ours, theirs):
    table = np.random.default_rng(9).integers(0, 12, (4, 4)) + np.diag([9, 7, 5, 3])
    expected = inter_rater.cohens_kappa(table, wt=theirs)
    result = kappa_of_table(table, weights=ours)
    assert result.coefficient == pytest.approx(expected.kappa, rel=1e-10)
    assert result.standard_error == pytest.approx(expected.std_kappa, rel=1e-10)
    np.testing.assert_allclose(
        [result.ci_low, result.ci_high], [expected.kappa_low, expected.kappa_upp], rtol=1e-9
    )


def test_scores_give_the_table_and_missing_ones_are_left_out():
    a = [1, 2, 3, 3, np.nan, 2, 1]
    b = [1, 3, 3, 3, 1, np.nan, 2]
    result = cohen_kappa(a, b)
    assert (result.n, result.missing, result.categories) == (5, 2, (1.0, 2.0, 3.0))
    expected = kappa_of_table([[1, 1, 0], [0, 0, 1], [0, 0, 2]])
    assert result.coefficient == expected.coefficient
    assert result.same_share == pytest.approx(3 / 5)


def test_unused_categories_count_in_weights():
    a, b = [1, 1, 4, 2], [1, 2, 4, 4]
    used = cohen_kappa(a, b, weights="quadratic")
    all_four = cohen_kappa(a, b, weights="quadratic", categories=[1, 2, 3, 4])
    assert used.categories == (1, 2, 4)
    assert all_four.categories == (1, 2, 3, 4)
    assert used.coefficient != pytest.approx(all_four.coefficient)
    assert cohen_kappa(a, b, categories=[1, 2, 3, 4]).coefficient == cohen_kappa(a, b).coefficient


def test_fleiss_kappa_of_the_worked_example_equals_statsmodels():
    result = fleiss_kappa(as_scores(FOURTEEN))
    assert result.coefficient == pytest.approx(0.210, abs=5e-4)
    assert result.coefficient == pytest.approx(inter_rater.fleiss_kappa(FOURTEEN), rel=1e-10)
    assert (result.n, result.raters) == (10, 14)


def test_fleiss_error_is_near_the_jackknife():
    """Leaving units out one by one estimates the same variance without any formula."""
    scores = np.random.default_rng(10).choice([1.0, 2.0, 3.0], (60, 3))
    scores[:35, 1:] = scores[:35, :1]
    full = fleiss_kappa(scores)
    left = np.array([fleiss_kappa(np.delete(scores, i, axis=0)).coefficient for i in range(60)])
    jackknife = np.sqrt(59 / 60 * ((left - left.mean()) ** 2).sum())
    assert full.standard_error == pytest.approx(jackknife, rel=0.05)


def test_fleiss_with_missing_scores_by_hand():
    """Units 2 of 2 and 1 of 3 pairs agreeing; one with a single score counts for chance alone."""
    scores = [[1, 1, np.nan], [1, 2, 2], [2, np.nan, np.nan]]
    result = fleiss_kappa(scores)
    p1 = (1 + 1 / 3 + 0) / 3
    chance = p1**2 + (1 - p1) ** 2
    assert (result.n, result.missing, result.scores) == (2, 1, 6)
    assert result.agreement == pytest.approx((1 + 1 / 3) / 2)
    assert result.coefficient == pytest.approx((2 / 3 - chance) / (1 - chance))


def test_cohen_of_his_own_paper():
    """Cohen 1960, table 1 (from memory): 200 units, p_o .70, p_e .41, κ .492."""
    result = kappa_of_table([[88, 14, 18], [10, 40, 10], [2, 6, 12]])
    assert (result.agreement, result.chance_agreement) == pytest.approx((0.70, 0.41))
    assert result.coefficient == pytest.approx(0.492, abs=5e-4)
    assert (result.n, result.scores, result.rule) == (200, 400, "complete")


def test_fleiss_of_his_own_paper():
    """Fleiss 1971, 30 patients, 6 psychiatrists: κ .430; R's irr 0.4302445 (statsmodels' tests)."""
    result = fleiss_kappa(statsmodels_examples.diagnoses)
    assert result.coefficient == pytest.approx(0.4302445, abs=5e-8)
    assert (result.n, result.scores, result.rule) == (30, 180, "all_scores")


# What the README of Gwet's package irrCAC (R, its author's) prints of its data sets, which are
# those of the Handbook of Inter-Rater Reliability, 4th edition.
_ = np.nan
FOUR_RATERS = [
    [1, 1, _, 1],
    [2, 2, 3, 2],
    [3, 3, 3, 3],
    [3, 3, 3, 3],
    [2, 2, 2, 2],
    [1, 2, 3, 4],
    [4, 4, 4, 4],
    [1, 1, 2, 1],
    [2, 2, 2, 2],
    [_, 5, 5, 5],
    [_, _, 1, 1],
    [_, _, 3, _],
]
SIX_RATERS = np.array(
    [
        [0, 0, 0, 6, 0],
        [0, 3, 0, 0, 3],
        [0, 1, 4, 0, 1],
        [0, 0, 0, 0, 6],
        [0, 3, 0, 3, 0],
        [2, 0, 4, 0, 0],
        [0, 0, 4, 0, 2],
        [2, 0, 3, 1, 0],
        [2, 0, 0, 4, 0],
        [0, 0, 0, 0, 6],
        [1, 0, 0, 5, 0],
        [1, 1, 0, 4, 0],
        [0, 3, 3, 0, 0],
        [1, 0, 0, 5, 0],
        [0, 2, 0, 3, 1],
    ]
)


def test_missing_scores_as_gwet_has_them():
    """irrCAC's cac.raw4raters: Fleiss .76117 (.15302), AC1 .77544 (.14295); p_e .2387, .1903."""
    fleiss, ac1 = fleiss_kappa(FOUR_RATERS), gwet_coefficient(FOUR_RATERS)
    for found, value, error, chance, low in (
        (fleiss, 0.76117, 0.15302, 0.2387153, 0.424),
        (ac1, 0.77544, 0.14295, 0.1903212, 0.461),
    ):
        assert found.coefficient == pytest.approx(value, abs=5e-6)
        assert found.standard_error == pytest.approx(error, abs=5e-6)
        assert found.chance_agreement == pytest.approx(chance, abs=5e-8)
        assert found.agreement == pytest.approx(0.8181818, abs=5e-8)
        assert (found.ci_low, found.ci_high) == pytest.approx((low, 1.0), abs=5e-4)
        assert (found.n, found.missing, found.scores, found.raters) == (11, 1, 41, 4)


def test_weights_for_ordered_scores_as_irrcac():
    """The Python package irrcac 0.4.4: AC2 quadratic .91400072 (.10396224), linear .85874."""
    quadratic = gwet_coefficient(FOUR_RATERS, weights="quadratic")
    assert quadratic.coefficient == pytest.approx(0.91400072, abs=5e-9)
    assert quadratic.standard_error == pytest.approx(0.10396224, abs=5e-9)
    assert quadratic.ci_low == pytest.approx(0.68518137, abs=5e-9)
    assert quadratic.same_share == pytest.approx(0.8181818, abs=5e-8)
    linear = gwet_coefficient(FOUR_RATERS, weights="linear")
    assert (linear.coefficient, linear.standard_error) == pytest.approx(
        (0.85874, 0.11733), abs=5e-6
    )


def test_six_psychiatrists_of_gwet():
    """irrCAC's distrib.6raters: Fleiss .4139265 (.08119291), AC1 .4448007 (.08418757)."""
    scores = as_scores(SIX_RATERS)
    fleiss, ac1 = fleiss_kappa(scores), gwet_coefficient(scores)
    assert fleiss.coefficient == pytest.approx(0.4139265, abs=5e-8)
    assert fleiss.standard_error == pytest.approx(0.08119291, abs=5e-9)
    assert (fleiss.ci_low, fleiss.ci_high) == pytest.approx((0.240, 0.588), abs=5e-4)
    assert ac1.coefficient == pytest.approx(0.4448007, abs=5e-8)
    assert ac1.standard_error == pytest.approx(0.08418757, abs=5e-9)
    assert (ac1.ci_low, ac1.ci_high) == pytest.approx((0.264, 0.625), abs=5e-4)


def test_cohen_of_gwets_abstractors():
    """irrCAC's cont3x3abstractors: κ .7964094, error .05891072 (his formula, over n − 1)."""
    result = kappa_of_table([[13, 0, 0], [0, 20, 7], [0, 4, 56]])
    assert result.coefficient == pytest.approx(0.7964094, abs=5e-8)
    assert result.standard_error == pytest.approx(0.05891072, rel=0.01)


def test_gwet_is_not_low_because_most_scores_are_alike():
    """The paradox of kappa: 48 of 50 units agree, κ is near 0, AC1 is high."""
    scores = [[0, 0]] * 48 + [[0, 1], [1, 0]]
    assert fleiss_kappa(scores).coefficient < 0
    assert gwet_coefficient(scores).coefficient > 0.9
    same = gwet_coefficient([[0, 0]] * 9, weights="quadratic", categories=[0, 1, 2])
    assert same.coefficient == 1.0
    assert np.isnan([same.ci_low, same.ci_high]).all()
    assert same.reason.code == "no_width"


def test_one_category_alone_is_said_not_computed():
    for result in (
        cohen_kappa([2, 2, 2], [2, 2, 2]),
        cohen_kappa([2, 2, 2], [2, 2, 2], categories=[1, 2, 3], weights="quadratic"),
        fleiss_kappa([[2, 2, 2], [2, 2, np.nan]]),
        gwet_coefficient([[2, 2, 2], [2, 2, np.nan]]),
    ):
        assert "agree completely" in str(result.reason)
        assert np.isnan([result.coefficient, result.ci_low]).all()
        assert result.same_share == 1


def test_raters_who_never_agree_and_nothing_scored():
    worst = cohen_kappa([1, 2, 1, 2], [2, 1, 2, 1])
    assert worst.coefficient == pytest.approx(-1)
    assert np.isnan(worst.ci_low)
    assert worst.reason.code == "no_width"
    one_sided = cohen_kappa([1, 1, 1], [1, 2, 2])
    assert one_sided.coefficient == pytest.approx(0)
    empty = np.full((3, 2), np.nan)
    for nothing in (cohen_kappa([np.nan], [1.0]), fleiss_kappa(empty), gwet_coefficient(empty)):
        assert "scored by" in str(nothing.reason)
        assert np.isnan(nothing.same_share)


def test_scores_that_cannot_be_meant_are_refused():
    with pytest.raises(SettingError, match="shapes"):
        cohen_kappa([1, 2], [1])
    with pytest.raises(SettingError, match="no category"):
        cohen_kappa([1, 5], [1, 2], categories=[1, 2, 3])
    with pytest.raises(SettingError, match="weights"):
        cohen_kappa([1, 2], [1, 2], weights="cubic")
    with pytest.raises(SettingError, match="two or more"):
        fleiss_kappa([[1], [2]])
    with pytest.raises(SettingError, match="two or more"):
        gwet_coefficient([1, 2])
    with pytest.raises(SettingError, match="no category"):
        gwet_coefficient([[1, 5]], categories=[1, 2, 3])
    with pytest.raises(SettingError, match="square"):
        kappa_of_table([[1, 2, 3], [1, 2, 3]])
