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
