"""Kappa against statsmodels, textbooks and the definition."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.agreement import (
    cohen_kappa,
    fleiss_kappa,
    kappa_of_table,
)
from statsmodels.stats import inter_rater

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
    assert result.kappa == pytest.approx(0.4)
    assert (result.agreement, result.chance_agreement, result.percent) == pytest.approx(
        (0.7, 0.5, 0.7)
    )


def test_kappa_of_statsmodels_own_example():
    """statsmodels' test data: κ .4842, ASE .1380, interval .2137 to .7547, linear .4701."""
    table = [[0, 4, 1], [0, 8, 0], [0, 1, 5]]
    result = kappa_of_table(table)
    assert result.kappa == pytest.approx(0.4842, abs=5e-5)
    assert result.standard_error == pytest.approx(0.1380, abs=5e-5)
    assert (result.ci_low, result.ci_high) == pytest.approx((0.2137, 0.7547), abs=5e-5)
    assert kappa_of_table(table, weights="linear").kappa == pytest.approx(0.4701, abs=5e-5)


def test_weighted_kappa_of_fleiss_textbook():
    """Fleiss: 100 patients, two psychiatrists; κ .676 (from memory), weighted recomputed."""
    table = [[75, 1, 4], [5, 4, 1], [0, 0, 10]]
    assert kappa_of_table(table).kappa == pytest.approx(0.67647, abs=5e-6)
    assert kappa_of_table(table, weights="linear").kappa == pytest.approx(0.72222, abs=5e-6)
    assert kappa_of_table(table, weights="quadratic").kappa == pytest.approx(0.75532, abs=5e-6)


@pytest.mark.parametrize(
    ("ours", "theirs"), [("none", None), ("linear", "linear"), ("quadratic", "quadratic")]
)
def test_kappa_and_its_error_equal_statsmodels(ours, theirs):
    table = np.random.default_rng(9).integers(0, 12, (4, 4)) + np.diag([9, 7, 5, 3])
    expected = inter_rater.cohens_kappa(table, wt=theirs)
    result = kappa_of_table(table, weights=ours)
    assert result.kappa == pytest.approx(expected.kappa, rel=1e-10)
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
    assert result.kappa == expected.kappa
    assert result.percent == pytest.approx(3 / 5)


def test_unused_categories_count_in_weights():
    a, b = [1, 1, 4, 2], [1, 2, 4, 4]
    used = cohen_kappa(a, b, weights="quadratic")
    all_four = cohen_kappa(a, b, weights="quadratic", categories=[1, 2, 3, 4])
    assert used.categories == (1, 2, 4)
    assert all_four.categories == (1, 2, 3, 4)
    assert used.kappa != pytest.approx(all_four.kappa)
    assert cohen_kappa(a, b, categories=[1, 2, 3, 4]).kappa == cohen_kappa(a, b).kappa


def test_fleiss_kappa_of_the_worked_example_equals_statsmodels():
    result = fleiss_kappa(as_scores(FOURTEEN))
    assert result.kappa == pytest.approx(0.210, abs=5e-4)
    assert result.kappa == pytest.approx(inter_rater.fleiss_kappa(FOURTEEN), rel=1e-10)
    assert (result.n, result.raters) == (10, 14)


def test_fleiss_error_is_near_the_jackknife():
    """Leaving units out one by one estimates the same variance without any formula."""
    scores = np.random.default_rng(10).choice([1.0, 2.0, 3.0], (60, 3))
    scores[:35, 1:] = scores[:35, :1]
    full = fleiss_kappa(scores)
    left = np.array([fleiss_kappa(np.delete(scores, i, axis=0)).kappa for i in range(60)])
    jackknife = np.sqrt(59 / 60 * ((left - left.mean()) ** 2).sum())
    assert full.standard_error == pytest.approx(jackknife, rel=0.05)


def test_fleiss_with_missing_scores_by_hand():
    """Units 2 of 2 and 1 of 3 pairs agreeing; a unit with one score does not count."""
    scores = [[1, 1, np.nan], [1, 2, 2], [2, np.nan, np.nan]]
    result = fleiss_kappa(scores)
    p1 = (1 + 1 / 3) / 2
    chance = p1**2 + (1 - p1) ** 2
    assert (result.n, result.missing) == (2, 1)
    assert result.agreement == pytest.approx((1 + 1 / 3) / 2)
    assert result.kappa == pytest.approx((2 / 3 - chance) / (1 - chance))


def test_one_category_alone_is_said_not_computed():
    for result in (
        cohen_kappa([2, 2, 2], [2, 2, 2]),
        cohen_kappa([2, 2, 2], [2, 2, 2], categories=[1, 2, 3], weights="quadratic"),
        fleiss_kappa([[2, 2, 2], [2, 2, np.nan]]),
    ):
        assert "agree completely" in str(result.reason)
        assert np.isnan([result.kappa, result.ci_low]).all()
        assert result.percent == 1


def test_raters_who_never_agree_and_nothing_scored():
    worst = cohen_kappa([1, 2, 1, 2], [2, 1, 2, 1])
    assert worst.kappa == pytest.approx(-1)
    assert worst.ci_low >= -1
    one_sided = cohen_kappa([1, 1, 1], [1, 2, 2])
    assert one_sided.kappa == pytest.approx(0)
    for nothing in (cohen_kappa([np.nan], [1.0]), fleiss_kappa(np.full((3, 2), np.nan))):
        assert "scored by" in str(nothing.reason)
        assert np.isnan(nothing.percent)


def test_scores_that_cannot_be_meant_are_refused():
    with pytest.raises(SettingError, match="shapes"):
        cohen_kappa([1, 2], [1])
    with pytest.raises(SettingError, match="no category"):
        cohen_kappa([1, 5], [1, 2], categories=[1, 2, 3])
    with pytest.raises(SettingError, match="weights"):
        cohen_kappa([1, 2], [1, 2], weights="cubic")
    with pytest.raises(SettingError, match="two or more"):
        fleiss_kappa([[1], [2]])
    with pytest.raises(SettingError, match="square"):
        kappa_of_table([[1, 2, 3], [1, 2, 3]])
