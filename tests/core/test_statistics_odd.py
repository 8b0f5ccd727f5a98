"""Odd units: a stated false-alarm rate kept, spoiled units found, with what is odd in them."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.odd import Sign, find_odd, most_judged
from scipy import stats
from scipy.optimize import brentq
from scipy.spatial.distance import pdist, squareform


def test_a_spoiled_unit_is_flagged_with_its_reason_and_no_other():
    margin = [13.0, 14.2, 61.0, 15.1, 13.8, 14.0, 12.9, 14.6]
    whole = [20.0, 21.0, 20.5, 19.8, 20.9, 20.2, 21.3, 20.4]
    result = find_odd({"margin": margin, "whole": whole}, names=list("ABCDEFGH"))
    (odd,) = result.odd
    assert odd.name == "C"
    assert odd.score > odd.limit
    assert odd.signs == (Sign("margin", 61.0, 14.0, 12.9, 15.1),)
    assert odd.worst == odd.signs[0]
    assert all(not unit.signs and unit.score <= unit.limit for unit in result.units if not unit.odd)


def test_score_and_limit_of_one_step_are_the_deleted_t_and_bonferronis_bound():
    values = np.array([10.0, 12.0, 11.0, 13.0, 30.0])
    result = find_odd({"m": values}, false_alarms=0.05, least_spread=1e-6)
    last = result.units[-1]
    others = values[:-1]
    t = (30 - others.mean()) / (others.std(ddof=1) * np.sqrt(1 + 1 / 4))
    assert last.score == pytest.approx(t)
    assert last.limit == pytest.approx(stats.t.isf(0.05 / 2 / 5, 3))
    assert last.odd


@pytest.mark.parametrize(("away", "flagged"), [(-0.003, False), (0.003, True)])
def test_one_odd_unit_is_flagged_from_grubbs_critical_value_on(away, flagged):
    """Grubbs & Beck 1972: (max − mean)/SD above 2.126 for n = 8, 5 % two-sided (from memory). Of
    eight units two are judged, each at half the rate asked for.
    """
    others = np.array([9.2, 9.7, 9.9, 10.0, 10.2, 10.4, 10.6])

    def grubbs(x: float) -> float:
        values = np.append(others, x)
        return (x - values.mean()) / values.std(ddof=1)

    x = brentq(lambda x: grubbs(x) - 2.126 - away, 11, 20)
    found = find_odd({"m": np.append(others, x)}, false_alarms=0.10, least_spread=1e-9)
    assert [unit.name for unit in found.odd] == ["8"] * flagged


def test_two_odd_units_do_not_hide_each_other():
    rng = np.random.default_rng(15)
    for shift in ([15, 15], [15, -15]):
        values = 50 + rng.normal(size=8)
        values[[1, 4]] += shift
        assert [unit.name for unit in find_odd({"m": values}).odd] == ["2", "5"]


@pytest.mark.parametrize("n", [3, 5, 8, 12])
@pytest.mark.parametrize("columns", [1, 4])
def test_faultless_groups_raise_no_more_false_alarms_than_stated(n, columns):
    """Binomial bound at 1e-3 above the nominal 5 % of groups, which needs fewer runs than 1 %."""
    rng = np.random.default_rng(100 * n + columns)
    runs = 250
    alarms = sum(
        bool(
            find_odd(
                {str(k): rng.normal(size=n) for k in range(columns)},
                false_alarms=0.05,
                least_spread=1e-9,
            ).odd
        )
        for _ in range(runs)
    )
    assert alarms <= stats.binom.isf(1e-3, runs, 0.05)


def test_a_map_unlike_the_others_is_found_though_no_measure_shows_it():
    rng = np.random.default_rng(16)
    places = rng.normal(size=(8, 10))
    places[5] = rng.normal(size=10) + 14 * np.eye(10)[0]
    pairs = squareform(pdist(places))
    result = find_odd({"m": rng.normal(20, 1, 8)}, maps={"map": pairs})
    (odd,) = result.odd
    assert (odd.name, odd.worst.measure, odd.worst.of_map) == ("6", "map", True)
    near = find_odd({}, maps={"map": squareform(pdist(places[[0, 1, 2, 3, 4, 6, 7]]))})
    assert not near.odd


def test_a_map_that_is_nearer_than_usual_is_not_odd():
    places = np.random.default_rng(17).normal(size=(8, 10))
    places[0] = places.mean(axis=0)
    assert not find_odd({}, maps={"map": squareform(pdist(places))}).odd


def test_maps_that_differ_in_one_way_are_judged_as_values_are():
    values = np.array([10.0, 12.0, 11.0, 13.0, 30.0, 9.0, 11.5, 12.5])
    pairs = np.abs(np.subtract.outer(values, values))
    for line, space in zip(
        find_odd({"m": values}).units, find_odd({}, maps={"map": pairs}).units, strict=True
    ):
        assert (line.odd, line.score, line.limit) == pytest.approx(
            (space.odd, space.score, space.limit), rel=1e-6
        )


@pytest.mark.parametrize(
    "spread", [(1.0,), (1.0, 0.1), (1.0, *[0.02] * 40), (1.0, 0.7, *[0.01] * 40), (1.0,) * 10]
)
@pytest.mark.parametrize("n", [5, 7])
def test_maps_of_small_groups_keep_the_promise_however_they_spread(n, spread):
    """One way that outweighs many small ones is the hardest: Box's ν fails there."""
    rng = np.random.default_rng(n)
    runs = 250
    alarms = sum(
        bool(
            find_odd(
                {},
                maps={"map": squareform(pdist(rng.normal(size=(n, len(spread))) * spread_root))},
                false_alarms=0.05,
                least_spread=1e-9,
            ).odd
        )
        for spread_root in [np.sqrt(spread)]
        for _ in range(runs)
    )
    assert alarms <= stats.binom.isf(1e-3, runs, 0.05)


def test_maps_find_in_a_group_of_six_what_values_cannot():
    """A unit ten times as far off as is usual, in six measures: rarely found, but by its maps."""
    rng = np.random.default_rng(6)
    by_value = by_map = 0
    for _ in range(100):
        places = rng.normal(size=(6, 6, 4)) / 2  # measure, unit, way
        places[0, 3] += 10 * np.eye(4)[0]
        sizes = {str(k): np.linalg.norm(x + 20, axis=1) for k, x in enumerate(places)}
        maps = {str(k): squareform(pdist(x)) for k, x in enumerate(places)}
        by_value += "4" in [unit.name for unit in find_odd(sizes, least_spread=1e-9).odd]
        by_map += "4" in [unit.name for unit in find_odd({}, maps=maps, least_spread=1e-9).odd]
    assert by_map >= 90
    assert by_value <= 60


@pytest.mark.parametrize("ways", [1, 3, 10])
def test_faultless_maps_raise_no_more_false_alarms_than_stated(ways):
    rng = np.random.default_rng(ways)
    runs, weight = 300, 0.9 ** np.arange(ways)
    alarms = sum(
        bool(
            find_odd(
                {},
                maps={"map": squareform(pdist(rng.normal(size=(8, ways)) * weight))},
                false_alarms=0.05,
                least_spread=1e-9,
            ).odd
        )
        for _ in range(runs)
    )
    assert alarms <= stats.binom.isf(1e-3, runs, 0.05)


def test_identical_units_are_not_flagged_nor_divided_by_zero():
    pairs = np.zeros((6, 6))
    result = find_odd({"m": [14.0] * 6}, maps={"map": pairs})
    assert not result.odd
    assert all(np.isfinite(unit.score) for unit in result.units)
    hair = find_odd({"m": [14.0] * 5 + [14.001]}, maps={"map": pairs})
    assert not hair.odd
    far = find_odd({"m": [14.0] * 5 + [60.0]}, maps={"map": pairs})
    assert [unit.name for unit in far.odd] == ["6"]


def test_missing_values_and_small_groups():
    values = [14.0, np.nan, 15.0, 14.5, 14.2, 80.0]
    result = find_odd({"m": values, "n": [np.nan] * 6})
    assert [unit.name for unit in result.odd] == ["6"]
    assert result.units[1].worst is None
    assert np.isnan(result.units[1].score)
    assert result.unjudged == ("n",)
    two = find_odd({"m": [1.0, 100.0]})
    assert not two.odd
    assert all(unit.worst is None for unit in two.units)
    assert [most_judged(n) for n in (2, 3, 5, 8, 11)] == [0, 1, 1, 2, 3]
    assert find_odd({"m": []}).units == ()


def test_a_missing_map_is_left_out():
    places = np.random.default_rng(18).normal(size=(6, 4))
    pairs = squareform(pdist(places))
    pairs[2] = pairs[:, 2] = np.nan
    result = find_odd({}, maps={"map": pairs})
    assert np.isnan(result.units[2].score)
    assert np.isfinite(result.units[0].score)
    single = squareform(pdist(places))
    single[1, 4] = single[4, 1] = single[1, 5] = single[5, 1] = np.nan
    judged = np.isfinite([unit.score for unit in find_odd({}, maps={"map": single}).units])
    assert judged.tolist() == [True, False, True, True, True, True]
    assert np.isnan(
        [unit.score for unit in find_odd({}, maps={"map": np.full((4, 4), np.nan)}).units]
    ).all()


def test_every_measure_that_a_unit_is_odd_in_is_named():
    base = [10.0, 11.0, 10.5, 9.8, 10.2, 10.7, 90.0]
    result = find_odd(dict.fromkeys("abcde", base))
    (odd,) = result.odd
    assert [sign.measure for sign in odd.signs] == list("abcde")


@pytest.mark.parametrize(
    "call",
    [
        lambda: find_odd({}),
        lambda: find_odd({"a": [1.0, 2.0], "b": [1.0]}),
        lambda: find_odd({"a": [[1.0, 2.0]]}),
        lambda: find_odd({"a": [1.0, np.inf, 2.0]}),
        lambda: find_odd({"a": [1.0, 2.0]}, names=["x"]),
        lambda: find_odd({"a": [1.0, 2.0]}, maps={"map": [[0.0, -1.0], [-1.0, 0.0]]}),
        lambda: find_odd({"a": [1.0, 2.0]}, false_alarms=0.0),
        lambda: find_odd({"a": [1.0, 2.0]}, least_spread=0.0),
    ],
)
def test_what_cannot_be_meant_is_refused(call):
    with pytest.raises(SettingError):
        call()
