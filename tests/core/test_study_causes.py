"""What the crowns of a group share: told, sized over crowns, corrected, compared; truths known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from cuspwise.standalone_core.causes.result import Cause
from cuspwise.standalone_core.causes.rows import rows_of
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.causes.words import SCANNER_CLAUSE
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, Ring
from cuspwise.standalone_core.statistics.odd import OddUnit
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.causes import causes_analysis
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.results.analysis import OddCrown
from cuspwise.standalone_core.study.analysis.results.causes import CausesAnalysis
from cuspwise.standalone_core.study.analysis.shared_case import SharedCase, sized_by_crowns
from cuspwise.standalone_core.study.measuring.cause_predictions import PredictedVerdict
from cuspwise.standalone_core.study.measuring.common_causes import common_sizes
from cuspwise.standalone_core.study.measuring.scanner_uncertainty import repeatability_um
from cuspwise.standalone_core.study.measuring.shared_causes import GroupCauses, StudyCauses
from cuspwise.standalone_core.study.plan import AnalysisPlan
from made import caused_groups, study_runs
from made.caused import Flaws, together
from made.caused_form import FORMS
from scipy import stats

NAN = float("nan")


def grown(um: float) -> Flaws:
    return Flaws(ProductionErrors(growth_um=(um, um)))


def scaled(permille: float) -> Flaws:
    factor = 1.0 + 1e-3 * permille
    return Flaws(ProductionErrors(scale=(factor, factor, factor)))


def along_z(permille: float) -> Flaws:
    return Flaws(ProductionErrors(scale=(1.0, 1.0, 1.0 + 1e-3 * permille)))


def shared(group: GroupCauses, confidence: float = 0.95) -> SharedCase:
    assert group.case is not None
    assert group.parts is not None
    return sized_by_crowns(group.case, group.sizes, confidence, group.parts.mean_share)


def only_row(group: GroupCauses) -> Cause:
    (row,) = rows_of(shared(group), ())
    return row


def analysis_of(
    groups: Sequence[tuple[GroupCauses, caused_groups.Crowns]],
    plan: AnalysisPlan | None = None,
    facts: ProductionFacts | None = None,
) -> CausesAnalysis:
    """The analysis of a study whose crowns have these causes; its measures are made up."""
    values = {g.group: {"whole": np.linspace(8.0, 9.0, len(g.crowns)).tolist()} for g, _ in groups}
    run = study_runs.study(values, analysis=plan or AnalysisPlan(resamples=200))
    common = common_sizes([g for g, _ in groups], {g.group: made.cells for g, made in groups})
    causes = StudyCauses({g.group: g for g, _ in groups}, common, NAN, 1.5)
    found = analyse_study(replace(run, causes=causes)).causes
    assert found is not None
    return found


@pytest.fixture(scope="module")
def uniform() -> tuple[GroupCauses, caused_groups.Crowns]:
    """Eight crowns that grew by 8 µm all over, under 4 µm of form error of their own."""
    made = caused_groups.crowns([grown(8.0)] * 8, np.random.default_rng(5))
    return caused_groups.group(made), made


@pytest.fixture(scope="module")
def larger() -> tuple[GroupCauses, caused_groups.Crowns]:
    """Six crowns that are 2 ‰ too large, spread by 0.1 ‰."""
    each = [scaled(2.0 + 0.1 * k) for k in (-1.5, -0.5, 0.0, 0.0, 0.5, 1.5)]
    facts = ProductionFacts(enlargement=1.245)
    made = caused_groups.crowns(each, np.random.default_rng(6))
    return caused_groups.group(made, facts, "b"), made


def test_uniform_growth_that_no_crown_shows_is_told_in_the_group(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    row = only_row(uniform[0])
    assert (row.cause, row.family, row.stated) == ("growth_uniform", "growth", True)
    assert row.low <= 8.0 <= row.high
    assert row.estimate == pytest.approx(8.0, abs=1.0)
    assert row.rms_um == pytest.approx(row.estimate, rel=0.02)  # its field is 1 µm everywhere


def surface_half(group: GroupCauses, confidence_z: float = 1.959964) -> float:
    """Half the interval that the mean crown's surface bears, of a cause of one size."""
    assert group.case is not None
    (one,) = group.case.found.statements
    return confidence_z * float(group.case.found.evidence.sizes_of([one.place])[1][0, 0]) ** 0.5


def test_the_interval_is_that_of_a_mean_over_crowns_or_of_the_mean_crown(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    case = shared(uniform[0], 0.9)
    (row,) = rows_of(case, ())
    values = case.crowns_values(row)
    of_crowns = stats.ttest_1samp(values, 0.0).confidence_interval(0.9)
    half = max((of_crowns.high - of_crowns.low) / 2.0, surface_half(uniform[0]))
    assert row.estimate == pytest.approx(values.mean(), rel=1e-12)
    assert (row.low, row.high) == pytest.approx(
        (values.mean() - half, values.mean() + half), rel=1e-6
    )


def test_form_error_that_all_crowns_share_widens_the_interval() -> None:
    """Crowns with the same surface differ by noise alone: that says nothing of their way."""
    shared_form = FORMS["smooth"](np.random.default_rng(1), caused_groups.design(), 4.0)
    made = caused_groups.crowns(
        [together(scaled(2.0), shared_form)] * 6, np.random.default_rng(2), form_um=1e-6
    )
    group = caused_groups.group(made)
    row = only_row(group)
    assert row.cause == "scale"
    assert (row.high - row.low) / 2.0 == pytest.approx(surface_half(group), rel=1e-6)
    assert row.low <= 2.0 <= row.high


def test_sizes_of_crowns_without_gaps_average_to_the_fit_of_their_mean(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    group = uniform[0]
    assert group.case is not None
    for place, sizes in group.sizes.items():
        np.testing.assert_allclose(sizes.mean(axis=0), group.case.sizes(place), rtol=1e-8)


def test_cells_that_a_crown_lacks_are_left_out_of_its_fit_alone(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    group, made = uniform
    cells = made.cells.copy()
    cells[2, ::5] = NAN
    assert group.case is not None
    before, after = group.sizes, caused_groups.crowns_sizes(group.case.found, cells)
    for place in before:
        same = np.isclose(before[place], after[place], rtol=1e-9).all(axis=1)
        np.testing.assert_array_equal(same, np.arange(8) != 2)
        np.testing.assert_allclose(after[place][2], before[place][2], atol=2.0)


def test_parts_of_the_mean_square_are_those_of_the_truth(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    parts = uniform[0].parts
    assert parts is not None
    # Growth of 8 µm; form error of 4 µm less what the rigid motion takes of it, and little noise.
    assert parts.causes_um == pytest.approx(8.0, abs=0.8)
    assert 3.0 < parts.between_um < 4.8
    assert parts.total_um == pytest.approx(
        np.sqrt(parts.causes_um**2 + parts.between_um**2), rel=0.03
    )
    assert parts.shared_um < 1.5


def test_the_next_factor_of_a_way_has_the_interval_of_its_crowns(
    larger: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    found = analysis_of([larger])
    (row,), (factor,) = found.groups[0].stated, found.groups[0].corrections
    values = np.array(row.values)
    over_crowns = stats.t.ppf(0.975, 5) * values.std(ddof=1) / np.sqrt(6)
    half = max(over_crowns, surface_half(larger[0]))
    assert (row.cause.cause, row.n) == ("scale", 6)
    assert row.sd_between == pytest.approx(values.std(ddof=1), rel=1e-12)
    assert factor.axis == "all"
    assert factor.factor_next == pytest.approx(1.245 / (1 + 1e-3 * values.mean()), rel=1e-12)
    assert factor.low == pytest.approx(1.245 / (1 + 1e-3 * (values.mean() + half)), rel=1e-7)
    assert factor.high == pytest.approx(1.245 / (1 + 1e-3 * (values.mean() - half)), rel=1e-7)
    assert factor.low <= 1.245 / 1.002 <= factor.high
    assert factor.condition == SCANNER_CLAUSE
    told = " ".join(found.groups[0].sentences)
    assert SCANNER_CLAUSE in told
    assert "Between the 6 crowns it scatters by 0.0" in told
    assert "Try a correction on one crown first" in told


def test_a_known_scanner_takes_the_clause_away_and_widens_the_interval() -> None:
    settings = CausesSettings(
        scanner_scale_permille=0.0, scanner_scale_uncertainty_permille=0.5, least_um=1.5
    )
    facts = ProductionFacts(enlargement=1.245)
    rng = np.random.default_rng(6)
    made = caused_groups.crowns([scaled(2.0)] * 6, rng, settings=settings)
    group = caused_groups.group(made, facts, "b", settings)
    found = analysis_of([(group, made)])
    (row,) = found.groups[0].stated
    over_crowns = stats.t.ppf(0.975, 5) * row.sd_between / np.sqrt(6)
    expected = np.hypot(over_crowns, stats.norm.ppf(0.975) * 0.5)
    expected = max(expected, surface_half(group))
    assert row.cause.high - row.cause.estimate == pytest.approx(expected, rel=1e-6)
    assert SCANNER_CLAUSE not in " ".join(found.groups[0].sentences)
    assert found.groups[0].corrections[0].condition == ""


def test_scale_along_the_build_direction_has_a_factor_of_its_own() -> None:
    facts = ProductionFacts(build_direction=(0.0, 0.0, 2.0), enlargement=1.245)
    made = caused_groups.crowns([along_z(4.0)] * 6, np.random.default_rng(8))
    found = analysis_of([(caused_groups.group(made, facts), made)])
    (row,) = found.groups[0].stated
    assert row.cause.cause == "scale_along_build"
    assert row.cause.low <= 4.0 <= row.cause.high
    (factor,) = found.groups[0].corrections
    assert (factor.axis, factor.direction) == ("along", (0.0, 0.0, 1.0))
    assert factor.low <= 1.245 / 1.004 <= factor.high


def test_an_oval_margin_is_sized_by_diameters_along_its_long_axis() -> None:
    oval = Flaws(ProductionErrors(rings=(Ring(2, 15.0, 30.0),)))
    made = caused_groups.crowns([oval] * 5, np.random.default_rng(9))
    case = shared(caused_groups.group(made))
    rows = rows_of(case, ())
    (row,) = [row for row in rows if row.cause == "oval_margin"]
    values = case.crowns_values(row)
    assert row.estimate == pytest.approx(values.mean(), rel=1e-9)
    assert row.low <= 60.0 <= row.high  # long less short diameter: 4 A


def test_groups_are_compared_by_the_tests_of_the_study(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
    larger: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    found = analysis_of([uniform, larger])
    assert [row.cause for row in found.comparisons] == ["growth_uniform", "scale"]
    sizes = common_sizes([uniform[0], larger[0]], {"a": uniform[1].cells, "b": larger[1].cells})
    p_values = []
    for row, size in zip(found.comparisons, sizes, strict=True):
        welch = stats.ttest_ind(size.values["b"], size.values["a"], equal_var=False)
        interval = welch.confidence_interval(0.95)
        assert row.p_value == pytest.approx(welch.pvalue, rel=1e-9)
        assert (row.low, row.high) == pytest.approx((interval.low, interval.high), rel=1e-9)
        p_values.append(welch.pvalue)
    # Holm's correction of two: the smaller p twice, the other at least as large.
    order = np.argsort(p_values)
    holm = np.empty(2)
    holm[order[0]] = min(1.0, 2 * p_values[order[0]])
    holm[order[1]] = max(holm[order[0]], p_values[order[1]])
    assert [row.adjusted.p for row in found.comparisons] == pytest.approx(holm, rel=1e-9)
    growth, scale = found.comparisons
    assert (growth.outcome, scale.outcome) == ("different", "different")
    assert growth.low <= -8.0 <= growth.high
    assert scale.low <= 2.0 <= scale.high
    assert "the difference is free of it" in scale.sentence
    assert "the difference is free of it" not in growth.sentence
    assert "2 causes × 1 pair of groups" in found.notes[0]


def test_ranks_lead_where_the_plan_says_so(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
    larger: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    found = analysis_of([uniform, larger], AnalysisPlan(lead="ranks", resamples=200))
    sizes = common_sizes([uniform[0], larger[0]], {"a": uniform[1].cells, "b": larger[1].cells})
    for row, size in zip(found.comparisons, sizes, strict=True):
        expected = stats.mannwhitneyu(size.values["b"], size.values["a"], method="exact").pvalue
        assert row.p_value == pytest.approx(expected, rel=1e-9)


def test_no_cause_no_comparison() -> None:
    rng = np.random.default_rng(10)
    both = [caused_groups.crowns([Flaws()] * 4, rng) for _ in range(2)]
    groups = [caused_groups.group(made, name=name) for name, made in zip("ab", both, strict=True)]
    found = analysis_of(list(zip(groups, both, strict=True)))
    assert not any(group.stated for group in found.groups)
    assert (found.comparisons, found.notes) == ((), ())
    assert (
        found.groups[0].sentences[0] == "Nothing systematic above 1.5 µm that the 4 crowns share."
    )


def test_repeatability_is_the_pooled_spread_between_scans_of_a_crown() -> None:
    rng = np.random.default_rng(11)
    scans = {"x": 1e-3 * rng.normal(0.0, 2.0, (3, 40)), "y": 5.0 + 1e-3 * rng.normal(size=(4, 40))}
    area = rng.uniform(0.5, 1.0, 40)
    pooled = (2 * np.var(scans["x"], axis=0, ddof=1) + 3 * np.var(scans["y"], axis=0, ddof=1)) / 5
    expected = 1e3 * np.sqrt(np.average(pooled, weights=area))
    found = repeatability_um({name: list(rows) for name, rows in scans.items()}, area)
    assert found == pytest.approx(expected, rel=1e-9)
    assert np.isnan(repeatability_um({"x": list(scans["x"])}, area))  # too few scans


def test_sizes_without_an_odd_crown_stand_beside(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    group = uniform[0]
    run = study_runs.study({"a": {"whole": [8.0] * 8}})
    run = replace(run, causes=StudyCauses({"a": group}, (), NAN, 1.5))
    odd = OddCrown("a3", "a", cast(OddUnit, SimpleNamespace(odd=True)), "Unlike.")
    found = causes_analysis(cohort_of(run), run, [odd])
    assert found is not None
    (row,) = found.groups[0].stated
    rest = np.delete(np.array(row.values), 3)
    expected = stats.ttest_1samp(rest, 0.0).confidence_interval(0.95)
    half = max((expected.high - expected.low) / 2.0, surface_half(group))
    assert row.without_odd == pytest.approx(
        (rest.mean(), rest.mean() - half, rest.mean() + half), rel=1e-6
    )
    assert row.n == 8  # it stays in
    assert any(text.startswith("Without the odd crowns: ") for text in found.groups[0].sentences)


def test_predictions_are_counted_and_marked_as_such(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    told = [
        PredictedVerdict(f"a{k}", "growth_uniform", "margin", 20.0, 9.0, 15.0, now, "within")
        for k, now in enumerate(["within"] * 3 + ["outside"] * 4 + ["not_decidable"])
    ]
    group = replace(uniform[0], predicted=tuple(told))
    found = analysis_of([(group, uniform[1])]).groups[0]
    (row,) = found.predicted
    assert (row.n, row.within, row.would_be_within) == (7, 3, 7)
    assert (row.mean_abs_um, row.predicted_um) == (20.0, 9.0)
    assert (
        "Prediction, without uniform growth: 7 of 7 would meet the tolerance of the margin (now 3)."
        in found.sentences
    )


def test_a_cause_whose_correction_makes_things_worse_is_doubted(
    uniform: tuple[GroupCauses, caused_groups.Crowns],
) -> None:
    told = [
        PredictedVerdict(f"a{k}", "growth_uniform", "whole", 9.0, 11.0, 25.0, "within", "within")
        for k in range(8)
    ]
    found = analysis_of([(replace(uniform[0], predicted=tuple(told)), uniform[1])]).groups[0]
    (said,) = [text for text in found.sentences if text.startswith("Prediction")]
    assert "no crown's verdict changes" in said
    assert "do not correct by it" in said


def test_growth_of_one_side_alone_is_not_named_even_growth() -> None:
    outside = Flaws(ProductionErrors(growth_um=(10.0, 2.0)))
    made = caused_groups.crowns([outside] * 6, np.random.default_rng(14))
    names = {row.cause for row in rows_of(shared(caused_groups.group(made)), ())}
    assert "growth_uniform" not in names


@pytest.mark.slow
def test_intervals_over_crowns_cover_and_nothing_false_is_told() -> None:
    rng = np.random.default_rng(12)
    covered, named = 0, 0
    for _ in range(50):
        made = caused_groups.crowns([grown(8.0)] * 8, rng)
        rows = rows_of(shared(caused_groups.group(made)), ())
        assert [row.family for row in rows] == ["growth"]
        named += rows[0].cause == "growth_uniform"
        covered += rows[0].low <= 8.0 <= rows[0].high
    assert covered >= 46
    assert named >= 45


@pytest.mark.slow
def test_groups_without_a_cause_are_told_none() -> None:
    rng = np.random.default_rng(13)
    false = 0
    for _ in range(50):
        made = caused_groups.crowns([Flaws()] * 6, rng)
        case = caused_groups.group(made).case
        assert case is not None
        false += bool(case.found.statements)
    assert false <= 2
