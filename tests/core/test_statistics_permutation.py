"""Precision of groups by permuting units: closed forms, enumeration, false alarms."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from cuspwise.standalone_core.statistics.permutation import (
    compare_distances,
    distances_from_pairs,
)
from scipy.spatial.distance import pdist, squareform


def table(places: np.ndarray) -> np.ndarray:
    return squareform(pdist(places))


def from_middles(**places: np.ndarray) -> dict[str, np.ndarray]:
    """How far the units of each group lie from its middle, from their pairs."""
    return {name: distances_from_pairs(table(x)) for name, x in places.items()}


def rng() -> np.random.Generator:
    return np.random.default_rng(0)


def test_distances_from_pairs_in_one_dimension_are_those_from_the_median():
    values = np.array([1.0, 4.0, 5.0, 9.0, 20.0])
    expected = np.abs(values - 5.0) * np.sqrt(5 / 4)
    found = distances_from_pairs(np.abs(np.subtract.outer(values, values)))
    np.testing.assert_allclose(found, expected, atol=1e-6)


def test_distances_from_pairs_of_a_regular_simplex_are_its_circumradius():
    """n units all a apart: each lies a √((n − 1)/2n) from the middle, corrected a/√2."""
    for n in (2, 3, 8):
        pairs = 10.0 * (1 - np.eye(n))
        np.testing.assert_allclose(distances_from_pairs(pairs), 10 / np.sqrt(2), rtol=1e-6)


def test_distances_from_pairs_need_no_places():
    """The least sum of distances in the space itself, by a general optimiser."""
    from scipy.optimize import minimize

    places = rng().normal(size=(7, 3)) * [3, 2, 1]
    best = minimize(
        lambda c: np.linalg.norm(places - c, axis=1).sum(),
        places.mean(axis=0),
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12},
    )
    expected = np.linalg.norm(places - best.x, axis=1) * np.sqrt(7 / 6)
    np.testing.assert_allclose(distances_from_pairs(table(places)), expected, rtol=1e-5)


PLACES = np.array(
    [
        *((1.2, 3.4, 0.3), (2.1, 2.2, 1.9), (0.4, 1.1, 2.5), (3.3, 0.7, 1.4)),
        *((6, 8, 1), (2, 9, 5), (4, 3, 9), (9, 2, 2), (1, 6, 7), (8, 8, 8), (5, 0, 4)),
    ]
)


def test_distances_and_f_equal_those_of_r_in_unequal_groups():
    """R 4.2.2, vegan 2.6-4: betadisper(dist(x), g, bias.adjust = TRUE) and its anova; its median
    is found by an optimiser that ends some 1e-5 away.
    """
    places = {"a": PLACES[:4], "b": PLACES[4:]}
    result = compare_distances(from_middles(**places), rng=rng())
    a = [2.4874394647, 0.1680732918, 2.3446555205, 2.2476161753]
    b = [5.7932402301, 4.9400862181, 4.6358590659, 6.9679227177, 4.3673813775, 5.3812295078]
    np.testing.assert_allclose(result.distances["a"], a, atol=1e-4)
    np.testing.assert_allclose(result.distances["b"], [*b, 5.9592247658], atol=1e-4)
    assert result.means == pytest.approx({"a": 1.811946113, "b": 5.434991983}, abs=1e-5)
    assert result.f == pytest.approx(35.75065225, rel=1e-4)


def test_f_of_equal_groups_is_that_of_another_library():
    """scikit-bio 0.7.4: permdisp(…, test="median"), which corrects no bias: F is the same for
    groups of one size.
    """
    places = {"a": PLACES[:4], "b": PLACES[4:8]}
    result = compare_distances(from_middles(**places), rng=rng())
    assert result.f == pytest.approx(19.04754235500785, rel=1e-5)


def test_pairs_that_are_no_distances_in_a_space_equal_r():
    """R 4.2.2, vegan 2.6-4: betadisper(as.dist(D), factor(rep("a", 5)), bias.adjust = TRUE);
    eigenvalues 41.17, 33.55, 2.36 and −17.68 there.
    """
    rows = [[0, 9, 3, 4, 6], [9, 0, 4, 3, 5], [3, 4, 0, 5, 4], [4, 3, 5, 0, 8], [6, 5, 4, 8, 0]]
    expected = [3.3189885018, 3.7393325675, 0.9489442533, 4.9000242929, 4.4588343293]
    np.testing.assert_allclose(distances_from_pairs(np.array(rows)), expected, atol=1e-5)


def test_exact_p_equals_plain_enumeration():
    a, b = np.array([1.0, 2.0, 2.5, 4.0]), np.array([3.0, 6.0, 5.0, 5.0, 7.0])
    result = compare_distances({"a": a, "b": b}, rng=rng())
    pooled = np.concatenate([a, b])
    total = pooled.sum()
    sums = np.array([pooled[list(c)].sum() for c in combinations(range(9), 4)])
    gaps = np.abs(sums / 4 - (total - sums) / 5)
    assert result.p == pytest.approx((gaps >= gaps[0] - 1e-12).mean(), rel=1e-12)
    assert result.exact
    assert result.permutations == 126
    assert result.difference == pytest.approx(a.mean() - b.mean())
    assert result.ci_low < result.difference < result.ci_high


def test_f_is_that_of_the_analysis_of_variance():
    from scipy.stats import f_oneway

    groups = {name: rng().normal(5, 1, n) + n for name, n in (("a", 5), ("b", 6), ("c", 9))}
    result = compare_distances(groups, rng=rng(), permutations=99)
    assert result.f == pytest.approx(f_oneway(*groups.values()).statistic, rel=1e-10)
    assert not result.exact
    assert result.permutations == 100
    assert result.p * 100 == pytest.approx(round(result.p * 100))


def test_drawn_permutations_agree_with_all_of_them(monkeypatch):
    groups = {"a": rng().gamma(2, size=8), "b": rng().gamma(2, size=7) + 0.8}
    exact = compare_distances(groups, rng=rng())
    home = "cuspwise.standalone_core.statistics.permutation.EXACT_SPLITS"
    monkeypatch.setattr(home, 10)
    drawn = compare_distances(groups, rng=rng(), permutations=19_999)
    assert (exact.exact, drawn.exact) == (True, False)
    error = np.sqrt(exact.p * (1 - exact.p) / 20_000)
    assert drawn.p == pytest.approx(exact.p, abs=4 * error)
    again = compare_distances(groups, rng=rng(), permutations=19_999)
    assert again.p == drawn.p


def test_a_shift_between_the_groups_changes_nothing():
    places = rng().normal(size=(16, 5))
    far = places + np.repeat([[0.0], [100.0]], 8, axis=0)
    near = compare_distances(from_middles(a=places[:8], b=places[8:]), rng=rng())
    shifted = compare_distances(from_middles(a=far[:8], b=far[8:]), rng=rng())
    assert shifted.p == pytest.approx(near.p)
    assert shifted.means["b"] == pytest.approx(near.means["b"], rel=1e-6)


def test_a_wider_group_is_found_with_its_size():
    places = rng().normal(size=(16, 10))
    places[8:] *= 3
    result = compare_distances(from_middles(a=places[:8], b=places[8:]), rng=rng())
    assert result.p < 0.001
    assert result.ci_high < 0
    assert result.means["b"] / result.means["a"] == pytest.approx(3, rel=0.25)


def test_missing_and_identical_crowns():
    distances = from_middles(a=rng().normal(size=(6, 3)))["a"]
    holed = np.append(distances, np.nan)
    result = compare_distances({"a": holed, "b": distances}, rng=rng())
    assert result.missing == {"a": 1, "b": 0}
    np.testing.assert_array_equal(result.distances["a"], distances)
    same = compare_distances({"a": np.zeros(5), "b": np.zeros(5)}, rng=rng())
    assert "equally far" in str(same.reason)
    assert np.isnan(same.p)
    one_flat = compare_distances({"a": np.zeros(6), "b": distances}, rng=rng())
    assert one_flat.p == pytest.approx(2 / 924)
    small = compare_distances(
        {"a": from_middles(a=np.zeros((1, 3)))["a"], "b": distances}, rng=rng()
    )
    assert "a has 0" in str(small.reason)
