"""Groups of a study described and compared, against independent libraries."""

from __future__ import annotations

import inspect
from dataclasses import replace

import numpy as np
import pandas
import pingouin
import pytest
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.records import fields_of
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.comparisons import (
    comparison_steps,
    decided_comparisons,
)
from cuspwise.standalone_core.study.analysis.descriptions import assumption_rows, trueness_rows
from cuspwise.standalone_core.study.analysis.document import WRITERS
from cuspwise.standalone_core.study.analysis.overall import overall_steps
from cuspwise.standalone_core.study.analysis.precision import (
    pair_rows,
    precision_comparison_steps,
    precision_rows,
)
from cuspwise.standalone_core.study.analysis.tolerances import tolerance_rows
from cuspwise.standalone_core.study.plan import AnalysisPlan
from made.study_runs import AREAS, study
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import ttost_ind

RNG = np.random.default_rng(4)
THREE = {
    name: {area: RNG.normal(mean, sd, 8).tolist() for area in AREAS}
    for name, mean, sd in (("milled", 9.0, 1.0), ("upright", 11.0, 1.5), ("tilted", 16.0, 3.0))
}
TWO = {name: THREE[name] for name in ("milled", "tilted")}


def compare(groups, analysis=None, limits=None, **others):
    return compared(cohort_of(study(groups, analysis=analysis, **others)), limits)


def compared(cohort, limits=None):
    rows = run(comparison_steps(cohort, cohort.places, "exploratory"))
    return decided_comparisons(cohort, rows, limits or {})


def test_descriptions_are_those_of_scipy_and_keep_the_values():
    rows = trueness_rows(cohort_of(study(THREE)))
    assert len(rows) == 3 * 2 * 2
    got = next(r for r in rows if (r.group, r.area, r.measure) == ("tilted", "margin", "rms_um"))
    x = 1.25 * np.array(THREE["tilted"]["margin"])
    low, high = stats.t.interval(0.95, 7, x.mean(), stats.sem(x))
    assert got.summary.values == pytest.approx(tuple(x))
    assert (got.summary.description.mean, got.summary.description.sd) == pytest.approx(
        (x.mean(), x.std(ddof=1))
    )
    assert (got.summary.description.ci_low, got.summary.description.ci_high) == pytest.approx(
        (low, high)
    )
    assert (got.summary.description.q1, got.summary.description.q3) == pytest.approx(
        tuple(np.percentile(x, [25, 75]))
    )
    assert got.crowns[0] == "tilted_0"


def test_assumptions_are_those_of_scipy():
    rows = assumption_rows(cohort_of(study(THREE)))
    got = next(row for row in rows if (row.area, row.measure) == ("whole", "mean_abs_um"))
    values = [THREE[name]["whole"] for name in THREE]
    levene = stats.levene(*values, center="median")
    assert (got.tests.spread.f, got.tests.spread.p) == pytest.approx(tuple(levene))
    for test, x in zip(got.tests.normality.values(), values, strict=True):
        assert (test.w, test.p) == pytest.approx(tuple(stats.shapiro(x)))


def test_two_groups_equal_scipy_and_pingouin():
    got = next(r for r in compare(TWO) if (r.area, r.measure) == ("whole", "mean_abs_um"))
    a, b = TWO["milled"]["whole"], TWO["tilted"]["whole"]
    welch = stats.ttest_ind(b, a, equal_var=False)
    interval = welch.confidence_interval(0.95)
    assert (got.tests.welch.t, got.tests.welch.p) == pytest.approx((welch.statistic, welch.pvalue))
    assert (got.low, got.high) == pytest.approx((interval.low, interval.high))
    assert got.difference == pytest.approx(np.mean(b) - np.mean(a))
    ranks = stats.mannwhitneyu(b, a, method="exact")
    assert (got.tests.mann_whitney.u, got.tests.mann_whitney.p) == pytest.approx(
        (ranks.statistic, ranks.pvalue)
    )
    assert got.tests.shift.estimate == pytest.approx(np.median(np.subtract.outer(b, a)))
    # pingouin's J is the approximation 1 − 3/(4 df − 1): 0.94545 for 14, exactly 0.94531.
    g = pingouin.compute_effsize(b, a, eftype="hedges")
    assert got.tests.hedges_g.g == pytest.approx(g, rel=3e-4)
    assert got.tests.cliff_delta.delta == pytest.approx(2 * ranks.statistic / 64 - 1)


def test_equivalence_is_that_of_statsmodels():
    plan = AnalysisPlan(equivalence_um={"whole": 10.0, "default": 4.0})
    for row in compare(TWO, plan):
        factor = 1.25 if row.measure == "rms_um" else 1.0
        a, b = (factor * np.array(TWO[name][row.area]) for name in TWO)
        margin = 10.0 if row.area == "whole" else 4.0
        p = ttost_ind(b, a, -margin, margin, usevar="unequal")[0]
        assert row.equivalence.limit == margin
        assert row.equivalence.p_value == pytest.approx(p, rel=1e-6)
        assert row.equivalence.level == pytest.approx(0.9)


def test_three_groups_equal_pingouin_and_scipy():
    cohort = cohort_of(study(THREE))
    rows = run(overall_steps(cohort))
    got = next(row for row in rows if (row.area, row.measure) == ("margin", "mean_abs_um"))
    values = [THREE[name]["margin"] for name in THREE]
    table = {"um": np.concatenate(values), "group": np.repeat(list(THREE), 8)}

    welch = pingouin.welch_anova(pandas.DataFrame(table), dv="um", between="group").iloc[0]
    assert got.tests.welch_anova.f == pytest.approx(float(welch["F"]), rel=1e-4)
    kruskal = got.tests.kruskal_wallis
    assert (kruskal.h, kruskal.p) == pytest.approx(tuple(stats.kruskal(*values)))
    howell = stats.tukey_hsd(*values, equal_var=False) if _has_unequal_tukey() else None
    written = fields_of(got, WRITERS)["post_hoc"]
    for row, (means, _) in zip(written, got.pairs, strict=True):
        i, j = (list(THREE).index(name) for name in (row["first"], row["second"]))
        assert row["difference"] == pytest.approx(np.mean(values[j]) - np.mean(values[i]))
        assert row["low"] < row["difference"] < row["high"]
        if howell is not None:
            assert means.p == pytest.approx(howell.pvalue[i, j], rel=1e-4)
    assert got.primary
    assert got.sentence.startswith("Margin, mean absolute deviation, Milled, ")
    assert got.sentence.endswith(
        "at once: Welch's analysis of variance, p < 0.001, unadjusted and exploratory."
    )


def _has_unequal_tukey():
    return "equal_var" in inspect.signature(stats.tukey_hsd).parameters


def test_two_groups_have_no_overall_test():
    assert run(overall_steps(cohort_of(study(TWO)))) == ()


def test_ranks_lead_when_the_plan_says_so():
    row = compare(TWO, AnalysisPlan(lead="ranks"))[0]
    assert row.lead == "ranks"
    assert row.p_value == row.tests.mann_whitney.p
    shift = row.tests.shift
    assert (row.difference, row.low, row.high) == (shift.estimate, shift.ci_low, shift.ci_high)
    assert "Mann–Whitney test" in row.sentence
    assert "shift (Hodges–Lehmann)" in row.sentence


def test_trimmed_means_lead_when_the_plan_says_so_and_an_odd_crown_does_not_decide():
    """As scipy has Yuen's test; with one crown of eight spoiled, Welch's loses the difference."""
    groups = {
        "a": {"margin": [10.0 + k for k in range(8)]},
        "b": {"margin": [16.0 + k for k in range(8)]},
    }
    groups["b"]["margin"][7] = 90.0
    plan = AnalysisPlan(lead="trimmed", equivalence_um={"default": 20.0})
    (row, *_) = compare(groups, plan, measures=("mean_abs_um",))
    a, b = (groups[name]["margin"] for name in "ab")
    peer = stats.ttest_ind(b, a, equal_var=False, trim=0.2)
    low, high = peer.confidence_interval(0.95)
    assert row.p_value == pytest.approx(peer.pvalue)
    assert (row.low, row.high) == pytest.approx((low, high))
    above = stats.ttest_ind(np.array(b) + 20, a, equal_var=False, trim=0.2, alternative="greater")
    below = stats.ttest_ind(np.array(b) - 20, a, equal_var=False, trim=0.2, alternative="less")
    assert row.equivalence.p_value == pytest.approx(max(above.pvalue, below.pvalue))
    assert row.outcome == "different_within_limit"
    assert row.tests.welch.p > 0.05
    assert "6.0 µm larger for B than for A by trimmed means" in row.sentence
    assert "Yuen's test" in row.sentence


# Wording: (difference of means, margin) → outcome. Both groups have SD 1 and n = 8, so the 95 %
# interval is ± 1.07 and the 90 % interval ± 0.88 (Student's t, df 14).
UNIT = stats.norm.ppf((np.arange(8) + 0.5) / 8)
UNIT = (UNIT / UNIT.std(ddof=1)).tolist()
CELLS = {
    "different": (3.0, 2.5, "is not sure"),
    "equivalent": (0.3, 2.0, "differ by less than the equivalence limit of 2 µm"),
    "different_within_limit": (1.5, 4.0, "surely less than the equivalence limit of 4 µm"),
    "undecided": (0.6, 1.0, "neither shown nor ruled out"),
}


@pytest.mark.parametrize("outcome", CELLS)
def test_the_four_conclusions(outcome):
    apart, margin, words = CELLS[outcome]
    groups = {
        "first": {"margin": [10 + u for u in UNIT]},
        "second": {"margin": [10 + apart + u for u in UNIT]},
    }
    plan = AnalysisPlan(equivalence_um={"margin": margin})
    (row,) = compare(groups, plan, measures=("mean_abs_um",))
    assert row.outcome == outcome
    assert words in row.sentence
    assert "no difference" not in row.sentence
    assert f"{apart:.1f} µm" in row.sentence


def test_a_difference_surely_beyond_the_margin_is_told_as_such():
    groups = {
        "first": {"margin": [10 + u for u in UNIT]},
        "second": {"margin": [20 + u for u in UNIT]},
    }
    plan = AnalysisPlan(equivalence_um={"default": 5.0}, primary_measure="rms_um")
    (row,) = compare(groups, plan, measures=("rms_um",))
    assert "The interval lies wholly beyond the equivalence limit of 5 µm." in row.sentence


def test_without_a_margin_nothing_is_called_equivalent():
    groups = {"first": {"margin": UNIT}, "second": {"margin": [u + 0.001 for u in UNIT]}}
    groups = {k: {"margin": [10 + u for u in v["margin"]]} for k, v in groups.items()}
    (row,) = compare(groups, measures=("mean_abs_um",))
    assert row.outcome == "undecided"
    assert "Equivalence was not tested: no equivalence limit is set." in row.sentence


def test_a_share_has_no_margin_and_is_told_in_points():
    found = study(TWO, measures=("within_tolerance",))
    crowns = []
    for k, c in enumerate(found.crowns):
        share = 0.5 + 0.01 * k
        rows = tuple(replace(r, within_tolerance=share) for r in c.measures)
        crowns.append(replace(c, measures=rows))
    chosen = AnalysisPlan(equivalence_um={"default": 5.0}, primary_measure="within_tolerance")
    plan = replace(found.plan, analysis=chosen)
    row = compared(cohort_of(replace(found, crowns=tuple(crowns), plan=plan)))[0]
    assert "8.0 percentage points larger for Tilted than for Milled" in row.sentence
    assert row.equivalence.reason == "Equivalence limits are lengths, and this measure is a share."


def test_below_the_scanner_is_marked():
    rows = compare(
        TWO,
        limits={
            ("margin", "mean_abs_um"): lambda *_: 1000.0,
            ("whole", "rms_um"): lambda *_: 0.001,
        },
    )
    marks = {(row.area, row.measure): row.below_scanner for row in rows}
    assert marks[("margin", "mean_abs_um")]
    assert not marks[("whole", "rms_um")]
    assert not marks[("margin", "rms_um")]


def test_tolerances_equal_statsmodels_and_the_tables():
    limits = Tolerances(tolerances_um={"margin": 12.0})
    rows = tolerance_rows(cohort_of(study(THREE, tolerances=limits)))
    by = {(row.group, row.area): row for row in rows}
    x = np.array(THREE["upright"]["margin"])
    got = by["upright", "margin"]
    assert (got.share.within, got.share.n) == (int((x <= 12).sum()), 8)
    low, high = proportion_confint(got.share.within, 8, method="wilson")
    assert (got.share.ci_low, got.share.ci_high) == pytest.approx((low, high))
    # One-sided factor for n = 8, 95 % content, 95 % confidence: 3.187 (ISO 16269-6, table D;
    # value from memory, and equal to scipy's noncentral t here). One area has a tolerance.
    assert got.next_crown.limit == pytest.approx(x.mean() + 3.187 * x.std(ddof=1), rel=1e-4)
    assert by["milled", "whole"].meets is None
    assert "no tolerance is set" in by["milled", "whole"].sentence


@pytest.mark.parametrize(
    ("limit", "meets", "words"),
    [
        (30.0, True, "meets the tolerance."),
        (5.0, False, "does not meet"),
        (14.0, None, "not shown"),
    ],
)
def test_meeting_a_tolerance(limit, meets, words):
    found = study(THREE, tolerances=Tolerances(tolerances_um={"margin": limit}))
    row = next(
        r for r in tolerance_rows(cohort_of(found)) if (r.group, r.area) == ("upright", "margin")
    )
    assert row.meets is meets
    assert words in row.sentence


def precision_comparisons(cohort, limits=None):
    return run(precision_comparison_steps(cohort, precision_rows(cohort), limits or {}))


def test_precision_is_the_distance_from_the_middle_in_description_and_test():
    cohort = cohort_of(study(THREE, measures=("rms_um",)))
    row = next(r for r in precision_rows(cohort) if (r.group, r.area) == ("tilted", "margin"))
    x = np.array(THREE["tilted"]["margin"])
    # On a line the spatial median is the median; between the two middle crowns all are equal.
    assert row.summary.description.n == 8
    assert sum(row.summary.values) == pytest.approx(
        1.25 * np.abs(x - np.median(x)).sum() * (8 / 7) ** 0.5, rel=1e-6
    )
    rows = precision_comparisons(cohort)
    assert [[len(d) for d in r.test.distances.values()] for r in rows] == [[8, 8]] * 6
    assert all(r.test.exact and r.test.permutations == 12870 for r in rows)
    expected = multipletests([r.p_value for r in rows], method="holm")[1]
    assert [r.adjusted.p for r in rows] == pytest.approx(list(expected))
    assert {r.adjusted.family for r in rows} == {6}
    found = next(r for r in rows if (r.first, r.second, r.area) == ("milled", "tilted", "margin"))
    means = {
        r.group: r.summary.description.mean for r in precision_rows(cohort) if r.area == "margin"
    }
    assert found.difference == pytest.approx(means["tilted"] - means["milled"])


def test_pairs_are_described_beside():
    cohort = cohort_of(study(THREE, measures=("rms_um", "mean_um")))
    rows = {(r.group, r.area, r.measure): r for r in pair_rows(cohort)}
    assert len(rows) == 12
    x = np.array(THREE["tilted"]["margin"])
    apart = np.abs(np.subtract.outer(x, x))[np.triu_indices(8, 1)]
    found = rows["tilted", "margin", "rms_um"].description
    assert found.n == 28
    assert found.mean == pytest.approx(1.25 * apart.mean())
    assert found.max == pytest.approx(1.25 * apart.max())
    # Twice the mean square of the distances from the mean, corrected, is that of the pairs.
    square = x.var(ddof=1)
    assert np.mean((1.25 * apart) ** 2) == pytest.approx(2 * 1.25**2 * square)


def test_signed_measures_have_pairs_and_no_precision():
    cohort = cohort_of(study(TWO, measures=("mean_um",)))
    assert precision_rows(cohort) == ()
    assert precision_comparisons(cohort) == ()
    assert len(pair_rows(cohort)) == 4


def test_a_pair_that_could_not_be_superimposed_costs_one_crown():
    found = study(TWO, measures=("rms_um",))
    pairs = list(found.pairs)
    pairs[3] = replace(pairs[3], superimposed=(), reason="The scans do not fit.")
    cohort = cohort_of(replace(found, pairs=tuple(pairs)))
    place = ("milled", "margin")
    pair = next(r for r in pair_rows(cohort) if (r.group, r.area) == place)
    assert pair.description.n == 27
    assert pair.reason == "1 pair could not be superimposed."
    row = next(r for r in precision_rows(cohort) if (r.group, r.area) == place)
    assert row.summary.description.missing == 1
    (lost,) = (c for c, d in zip(row.crowns, row.summary.values, strict=True) if np.isnan(d))
    assert lost in {pairs[3].first, pairs[3].second}
    assert row.reason == f"Without a distance from the group's middle: {lost}."


def test_what_leads_decides_on_equivalence_too():
    """One crown far off moves a mean, and no rank: only the shift is surely within the margin."""
    a = [10.0, 10.3, 9.8, 10.1, 9.9, 10.2, 10.4, 9.7]
    groups = {"a": {"margin": a}, "b": {"margin": [*(x + 0.05 for x in a[:7]), 60.0]}}
    plan = AnalysisPlan(resamples=199, equivalence_um={"default": 2.0})
    by_mean, by_rank = (
        analyse_study(study(groups, analysis=replace(plan, lead=lead))).findings.primary[0]
        for lead in ("welch", "ranks")
    )
    assert (by_mean.equivalence.lead, by_rank.equivalence.lead) == ("welch", "ranks")
    assert by_mean.outcome == "undecided"
    assert by_rank.outcome == "equivalent"
    assert "two one-sided rank tests" in by_rank.sentence
    assert -2.0 < by_rank.equivalence.low <= by_rank.difference <= by_rank.equivalence.high < 2.0
