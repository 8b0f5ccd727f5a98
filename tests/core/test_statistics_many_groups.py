"""Comparisons of several groups against NIST, Zar, scikit-posthocs and pingouin."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import pytest
import scikit_posthocs
import scipy.stats
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.statistics.many_groups import (
    compare_many,
    dunn,
    games_howell,
    kruskal_wallis,
    welch_anova,
)
from cuspwise.standalone_core.statistics.permutation import compare_distances
from cuspwise.standalone_core.statistics.studentised_range import (
    studentised_range_isf,
    studentised_range_sf,
)
from cuspwise.standalone_core.statistics.welch import welch_test
from made.statistics_cases import MUCOCILIARY, PONDS, SLEEP
from statsmodels.stats.oneway import anova_oneway

NIST = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"


def read_nist(name: str) -> tuple[dict[str, list[float]], float]:
    """NIST StRD file: groups, and the certified F statistic from the file itself."""
    lines = (NIST / f"{name}.dat").read_text().splitlines()
    certified = next(line for line in lines if line.startswith("Between")).split()
    groups: dict[str, list[float]] = {}
    for line in lines[60:]:
        if line.split():
            label, value = line.split()
            groups.setdefault(label, []).append(float(value))
    return groups, float(certified[-1])


# Digits agreeing with the certified value: NIST grades the sets by constant leading digits, whose
# rounding on reading already costs 13 leading digits about all but two or three.
@pytest.mark.parametrize(
    ("name", "relative"),
    [
        ("SiRstv", 1e-12),
        ("AtmWtAg", 1e-8),
        *[(f"SmLs0{i}", 1e-12) for i in (1, 2, 3)],
        *[(f"SmLs0{i}", 1e-8) for i in (4, 5, 6)],
        *[(f"SmLs0{i}", 5e-3) for i in (7, 8, 9)],
    ],
)
def test_analysis_of_variance_of_nist(name, relative):
    groups, certified = read_nist(name)
    rng = np.random.default_rng(0)
    found = compare_distances(groups, rng=rng, permutations=1)
    assert found.f == pytest.approx(certified, rel=relative)


def test_certified_values_read_are_those_published():
    """NIST Statistical Reference Datasets."""
    assert read_nist("SiRstv")[1] == 1.18046237440255
    assert read_nist("AtmWtAg")[1] == 15.9467335677930
    assert read_nist("SmLs01")[1] == 21


@pytest.mark.parametrize("name", ["SiRstv", "AtmWtAg"])
def test_welch_anova_of_nist_data_equals_statsmodels(name):
    groups, _ = read_nist(name)
    expected = anova_oneway([np.array(x) for x in groups.values()], use_var="unequal")
    result = welch_anova(groups)
    assert result.f == pytest.approx(float(expected.statistic), rel=1e-6)
    assert result.p == pytest.approx(float(expected.pvalue), rel=1e-6)
    assert result.df_within == pytest.approx(float(expected.df_denom), rel=1e-6)


def test_welch_anova_equals_pingouin_and_is_t_squared_for_two_groups():
    table = pd.DataFrame(
        [(name, value) for name, values in PONDS.items() for value in values],
        columns=["pond", "ph"],
    )
    expected = pingouin.welch_anova(data=table, dv="ph", between="pond")
    result = welch_anova(PONDS)
    assert result.f == pytest.approx(float(expected["F"].iloc[0]), rel=1e-9)
    assert result.df_within == pytest.approx(float(expected["ddof2"].iloc[0]), rel=1e-9)
    two = welch_test(*SLEEP)
    pair = welch_anova({"a": SLEEP[0], "b": SLEEP[1]})
    assert (pair.f, pair.df_within, pair.p) == pytest.approx((two.t**2, two.df, two.p))


def test_kruskal_wallis_of_hollander_and_wolfe():
    """H and p as R's documentation of kruskal.test prints them, from memory."""
    result = kruskal_wallis(MUCOCILIARY)
    assert result.h == pytest.approx(0.771429, abs=5e-7)
    assert result.p == pytest.approx(0.67996, abs=5e-6)


def test_dunn_of_zars_ponds():
    """Zar, Biostatistical Analysis: H tie-corrected 11.9435, and the multiple comparison."""
    overall = kruskal_wallis(PONDS)
    assert overall.h == pytest.approx(11.9435, abs=5e-5)
    assert overall.p == pytest.approx(0.007579, abs=5e-7)
    pairs = {(row.first, row.second): row for row in dunn(PONDS)}
    first = [pairs["1", other] for other in "234"]
    assert [row.z for row in first] == pytest.approx([-2.1370, -2.9493, -2.9918], abs=5e-5)
    assert [6 * row.p for row in first] == pytest.approx([0.1956, 0.0191, 0.0166], abs=5e-5)
    assert [row.p_holm for row in first] == pytest.approx([0.13039, 0.01664, 0.01664], abs=5e-6)


def test_dunn_equals_scikit_posthocs():
    expected = scikit_posthocs.posthoc_dunn(list(PONDS.values()), p_adjust="holm").to_numpy()
    i, j = np.triu_indices(4, 1)
    np.testing.assert_allclose([row.p_holm for row in dunn(PONDS)], expected[i, j], rtol=1e-9)


def test_games_howell_equals_pingouin():
    table = pd.DataFrame(
        [(name, value) for name, values in PONDS.items() for value in values],
        columns=["pond", "ph"],
    )
    expected = pingouin.pairwise_gameshowell(data=table, dv="ph", between="pond")
    rows = games_howell(PONDS)
    np.testing.assert_allclose([row.difference for row in rows], expected["diff"], rtol=1e-9)
    np.testing.assert_allclose([row.df for row in rows], expected["df"], rtol=1e-9)
    np.testing.assert_allclose([row.p for row in rows], expected["pval"], rtol=1e-4, atol=1e-6)


def test_games_howell_interval_touches_zero_where_p_is_alpha():
    row = games_howell(PONDS)[1]
    at_p = games_howell(PONDS, confidence=1 - row.p)[1]
    assert at_p.ci_high == pytest.approx(0.0, abs=1e-6)
    assert row.ci_high < 0


def test_games_howell_of_two_groups_is_welch():
    two = welch_test(*SLEEP)
    (row,) = games_howell({"a": SLEEP[0], "b": SLEEP[1]})
    assert (row.p, row.ci_low, row.ci_high) == pytest.approx(
        (two.p, two.ci_low, two.ci_high), rel=1e-6
    )


def test_studentised_range_equals_values_of_high_precision():
    """mpmath's values in scipy's wheel: 72 of them, k 3 to 20, 3 to 120 degrees of freedom."""
    path = NIST.parent / "studentized_range_mpmath_ref.json"
    cases = json.loads(path.read_text())["cdf_data"]
    assert len(cases) > 50
    for case in cases:
        at = case["src_case"]
        found = 1 - studentised_range_sf(at["q"], int(at["k"]), at["v"])
        assert found == pytest.approx(case["mp_result"], abs=1e-11)


@pytest.mark.parametrize(("q", "k", "df"), [(0.5, 3, 2.2), (20.0, 3, 1.3), (60.0, 2, 4.0)])
def test_studentised_range_equals_scipy_where_groups_are_tiny(q, k, df):
    expected = float(scipy.stats.studentized_range.sf(q, k, df))
    assert studentised_range_sf(q, k, df) == pytest.approx(expected, abs=1e-9)
    p = studentised_range_sf(q, k, df)
    assert studentised_range_isf(p, k, df) == pytest.approx(q, rel=1e-5)


def test_groups_that_cannot_be_compared_say_why():
    one = compare_many({"a": [1.0, 2.0, 4.0], "b": [3.0, np.nan], "c": [2.0, 5.0, 6.0]})
    assert one.n == {"a": 3, "b": 1, "c": 3}
    assert one.missing == {"a": 0, "b": 1, "c": 0}
    assert "b has 1" in str(one.welch_anova.reason)
    assert np.isfinite(one.kruskal_wallis.p)
    assert [bool(row.reason) for row in one.games_howell] == [True, False, True]
    flat = compare_many({"a": [5.0] * 4, "b": [5.0] * 4, "c": [5.0] * 4})
    assert "the same in a, b, c" in str(flat.welch_anova.reason)
    assert "All values are the same" in str(flat.kruskal_wallis.reason)
    assert all(row.reason and np.isnan(row.p_holm) for row in flat.dunn)
    assert all("any spread" in str(row.reason) for row in flat.games_howell)
    empty = compare_many({"a": [1.0, 2.0], "b": []})
    assert "b has 0" in str(empty.kruskal_wallis.reason)
    with pytest.raises(SettingError, match="too few"):
        compare_many({"a": [1.0, 2.0]})
