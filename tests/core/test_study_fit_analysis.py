"""The fit of a study's crowns described, compared and held against its limits."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.statistics.multiplicity import step_down_exclusive
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.comparisons import decided_comparisons
from cuspwise.standalone_core.study.analysis.document import analysis_document
from cuspwise.standalone_core.study.analysis.families_words import families_words
from cuspwise.standalone_core.study.analysis.fit import fit_finding_steps
from cuspwise.standalone_core.study.measuring.crown_fit import NotFitted
from cuspwise.standalone_core.study.plan import AnalysisPlan
from cuspwise.standalone_core.words.headline import Headline
from made.fit_crowns import (
    ABOVE,
    AXIAL_GAP,
    AXIAL_WALL,
    GAP,
    HOLDS,
    MESIAL,
    MOST,
    NAN,
    RELIEF,
    with_fit,
)
from made.study_runs import AREAS, study
from scipy import stats
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import ttost_ind

RNG = np.random.default_rng(20)
NAMES = ("milled", "upright", "tilted")
FORM = {name: {area: RNG.normal(10.0, 1.0, 8).tolist() for area in AREAS} for name in NAMES}
_MEANS = {"milled": 40.0, "upright": 44.0, "tilted": 70.0}
FIT = {
    name: {
        GAP: RNG.normal(mean, 4.0, 8).tolist(),
        MOST: RNG.normal(mean + 30.0, 6.0, 8).tolist(),
        ABOVE: RNG.normal(mean / 4, 2.0, 8).tolist(),
        AXIAL_GAP: RNG.normal(55.0, 3.0, 8).tolist(),
        AXIAL_WALL: RNG.normal(700.0, 30.0, 8).tolist(),
        MESIAL: RNG.normal(-20.0, 10.0, 8).tolist(),
    }
    for name, mean in _MEANS.items()
}
PLAN = AnalysisPlan(resamples=100)
COMPARED = (GAP, AXIAL_GAP, ABOVE, AXIAL_WALL, MESIAL)  # in the order of the plan's usual measures


def unseated(names=("milled", "tilted"), analysis=PLAN):
    form = {name: FORM[name] for name in names}
    return study(form, analysis=analysis, measures=("mean_abs_um",))


def seated(names=("milled", "tilted"), fit=FIT, analysis=PLAN, plan=None, **how):
    made = unseated(names, analysis)
    return with_fit(made, {name: fit[name] for name in names if name in fit}, plan=plan, **how)


def findings(*args, **how):
    cohort = cohort_of(seated(*args, **how))
    found = run(fit_finding_steps(cohort))
    return replace(found, comparisons=decided_comparisons(cohort, found.comparisons, {}))


def lines(analysis, kind):
    return [line.sentence for line in analysis.verdict if line.kind == kind]


@pytest.fixture(scope="module")
def two():
    return analyse_study(seated())


def test_what_is_compared_is_what_any_crown_has_in_the_plans_order():
    assert cohort_of(seated()).fit_pairs == COMPARED
    wanted = {"measures": ("least_wall_um", "marginal_gap_most_um")}
    assert cohort_of(seated(plan=wanted)).fit_pairs == (AXIAL_WALL, MOST)
    other = ("contact_35", "contact_gap_um")
    fit = {"milled": {other: [1.0] * 8, MESIAL: [2.0] * 8, GAP: [NAN] * 8}}
    assert cohort_of(seated(fit=fit)).fit_pairs == (MESIAL, other)


def test_groups_are_described_by_their_crowns():
    rows = findings().described
    assert [(row.area, row.measure) for row in rows[:5]] == list(COMPARED)
    row = next(r for r in rows if r.group == "tilted")
    x = FIT["tilted"][GAP]
    assert row.summary.values == tuple(x)
    assert row.crowns[0] == "tilted_0"
    got = row.summary.description
    low, high = stats.t.interval(0.95, 7, np.mean(x), stats.sem(x))
    assert (got.mean, got.sd) == pytest.approx((np.mean(x), np.std(x, ddof=1)))
    assert (got.ci_low, got.ci_high) == pytest.approx((low, high))


def test_two_groups_are_compared_as_by_scipy():
    rows = findings().comparisons
    assert [(row.area, row.measure) for row in rows] == list(COMPARED)
    for row in rows:
        a, b = (FIT[name][row.area, row.measure] for name in ("milled", "tilted"))
        welch = stats.ttest_ind(b, a, equal_var=False)
        low, high = welch.confidence_interval(0.95)
        assert (row.tests.welch.t, row.p_value) == pytest.approx((welch.statistic, welch.pvalue))
        assert (row.low, row.high) == pytest.approx((low, high))
        ranks = stats.mannwhitneyu(b, a, method="exact")
        found = row.tests.mann_whitney
        assert (found.u, found.p) == pytest.approx((ranks.statistic, ranks.pvalue))
        assert np.isnan(row.scanner_limit)
    assert rows[0].outcome == "different"
    assert rows[0].sentence.startswith("Mean marginal gap: different; ")
    assert rows[1].sentence.startswith("Mean gap inside (axial walls): undecided; ")


def test_ranks_lead_where_the_plan_says_so():
    for row in findings(analysis=replace(PLAN, lead="ranks")).comparisons:
        a, b = (FIT[name][row.area, row.measure] for name in ("milled", "tilted"))
        assert row.p_value == pytest.approx(stats.mannwhitneyu(b, a, method="exact").pvalue)
        assert row.difference == pytest.approx(np.median(np.subtract.outer(b, a)))


def test_fit_is_a_family_of_its_own(two):
    rows = two.findings.fit.comparisons
    expected = multipletests([row.p_value for row in rows], method="holm")[1]
    assert [row.adjusted.p for row in rows] == pytest.approx(list(expected))
    assert {row.adjusted.family for row in rows} == {5}
    alone = analyse_study(unseated())
    with_, without = (analysis_document(one)["findings"] for one in (two, alone))
    assert with_["comparisons"] == without["comparisons"]
    assert "and fit (5 comparisons) are families of their own, each" in two.multiplicity
    assert [row.measure for row in two.findings.primary] == ["mean_abs_um"]


def test_a_primary_comparison_of_fit_leads_the_order_and_trueness_comes_after_it():
    plan = replace(PLAN, primary_measure="marginal_gap_um")
    analysis = analyse_study(seated(analysis=plan))
    (primary,) = analysis.findings.primary
    assert (primary.area, primary.measure) == GAP
    assert primary.adjusted.p == primary.p_value
    (whole,) = analysis.findings.secondary
    assert (whole.area, whole.measure) == ("whole", "mean_abs_um")
    assert whole.adjusted.p == max(primary.p_value, whole.p_value)
    rest = analysis.findings.fit.comparisons[1:]
    expected = multipletests([row.p_value for row in rest], method="holm")[1]
    assert [row.adjusted.p for row in rest] == pytest.approx(list(expected))
    assert lines(analysis, "primary") == [primary.sentence]
    assert (
        "the mean marginal gap and the whole crown (mean absolute deviation)."
        in analysis.multiplicity
    )
    one = families_words(cohort_of(seated(("milled",), analysis=plan)))
    assert one.startswith("There is one group only")
    none = families_words(cohort_of(seated(fit={"milled": FIT["milled"]}, analysis=plan)))
    assert none.startswith(
        "The plan's primary comparison (the mean marginal gap) could not be made."
    )


def test_the_primary_comparison_may_be_of_another_measure_than_the_usual():
    plan = replace(PLAN, primary_measure="marginal_gap_most_um")
    measures = {"measures": ("marginal_gap_um", "marginal_gap_most_um")}
    rows = findings(analysis=plan, plan=measures).comparisons
    assert [(row.area, row.measure) for row in rows] == [MOST, GAP]
    assert [row.primary for row in rows] == [True, False]


def test_equivalence_is_tested_by_measure_as_by_statsmodels():
    margins = {"cement_space_um": 8.0, "contact_gap_um": 12.0}
    rows = findings(plan={"equivalence_um": margins}).comparisons
    tested = [row for row in rows if row.measure in margins]
    p = []
    for row in tested:
        a, b = (np.array(FIT[name][row.area, row.measure]) for name in ("milled", "tilted"))
        limit = margins[row.measure]
        p.append(ttost_ind(b, a, -limit, limit, usevar="unequal")[0])
    assert [row.equivalence.p_value for row in tested] == pytest.approx(p)
    different, equal = step_down_exclusive(
        [row.p_value for row in rows], [row.equivalence.p_value for row in rows]
    )
    assert [row.adjusted.p for row in rows] == pytest.approx(list(different))
    got = [row.equivalence.p_adjusted for row in rows]
    assert got == pytest.approx(list(equal), nan_ok=True)
    assert tested[0].outcome == "equivalent"
    assert "less than the equivalence limit of 8 µm" in tested[0].sentence
    assert rows[0].equivalence.reason == "No equivalence limit is set for this measure of fit."
    assert rows[0].sentence.endswith("no equivalence limit is set.")


def test_margins_of_areas_are_not_those_of_fit():
    plan = replace(PLAN, equivalence_um={"default": 5.0})
    assert all(np.isnan(row.equivalence.limit) for row in findings(analysis=plan).comparisons)


def test_three_groups_are_compared_at_once_and_two_by_two():
    found = findings(NAMES)
    assert len(found.comparisons) == 3 * 5
    assert {row.adjusted.family for row in found.comparisons} == {15}
    row = found.overall[0]
    values = [FIT[name][GAP] for name in NAMES]
    kruskal = stats.kruskal(*values)
    assert (row.tests.kruskal_wallis.h, row.tests.kruskal_wallis.p) == pytest.approx(
        (kruskal.statistic, kruskal.pvalue)
    )
    levene = stats.levene(*values, center="median")
    spread = found.assumptions[0].tests.spread
    assert (spread.f, spread.p) == pytest.approx(tuple(levene))


def test_one_group_is_described_and_not_compared():
    analysis = analyse_study(seated(("milled",)))
    found = analysis.findings.fit
    assert len(found.described) == 5
    assert (found.comparisons, found.overall, found.assumptions) == ((), (), ())
    assert analysis.fit.limits[0].share.n == 8


def test_a_value_that_is_missing_is_left_out_and_said():
    fit = {name: dict(FIT[name]) for name in ("milled", "tilted")}
    fit["tilted"][GAP] = [NAN, *FIT["tilted"][GAP][1:]]
    analysis = analyse_study(seated(fit=fit))
    row = analysis.findings.fit.comparisons[0]
    welch = stats.ttest_ind(FIT["tilted"][GAP][1:], FIT["milled"][GAP], equal_var=False)
    assert row.p_value == pytest.approx(welch.pvalue)
    assert "tilted, mean marginal gap: 1 crown without a number." in analysis.findings.notes


def test_a_crown_that_could_not_be_seated_is_a_missing_one():
    fit = {"milled": FIT["milled"], "tilted": {k: [NAN, *x[1:]] for k, x in FIT["tilted"].items()}}
    lost = NotFitted("tilted_0", "tilted", "It has no intaglio.", "Scan it again.")
    analysis = analyse_study(replace(seated(fit=fit), not_fitted=(lost,)))
    row = next(r for r in analysis.findings.fit.described if r.group == "tilted")
    assert (row.summary.description.n, row.summary.description.missing) == (7, 1)
    assert analysis.fit.not_fitted == (lost,)
    assert "tilted_0 could not be seated: It has no intaglio." in lines(analysis, "caution")
    (line,) = [s for s in lines(analysis, "fit") if s.startswith("Tilted:")]
    assert line.endswith("1 crown could not be seated.")
    assert len(analysis.fit.crowns) == 15


def test_only_three_crowns_of_all_are_described_and_nothing_else_is_missing():
    chosen = {"milled_0": 0, "upright_2": 2, "tilted_5": 5}
    fit = {
        name.split("_")[0]: {
            place: [x if i == k else NAN for i, x in enumerate(values)]
            for place, values in FIT[name.split("_")[0]].items()
        }
        for name, k in chosen.items()
    }
    analysis = analyse_study(seated(NAMES, fit=fit, plan={"crowns": tuple(chosen)}))
    found = analysis.findings.fit
    row = found.described[0]
    assert row.crowns == ("milled_0",)
    assert row.summary.values == (FIT["milled"][GAP][0],)
    assert row.summary.description.missing == 0
    assert {r.outcome for r in found.comparisons} == {"not_computed"}
    assert not any(s.startswith("Fit of") for s in lines(analysis, "fit"))
    assert len(lines(analysis, "fit")) == 3
    assert any(note.startswith("The plan asks for 3 of 24 crowns") for note in analysis.fit.notes)
    assert any("described and not compared" in note for note in analysis.fit.notes)
    assert all("mean marginal gap" not in crown.reason for crown in analysis.odd_crowns)


def test_a_group_of_which_none_was_seated_is_not_said_to_lack_anything():
    analysis = analyse_study(seated(NAMES, fit={n: FIT[n] for n in ("milled", "tilted")}))
    found = analysis.findings.fit
    assert {row.group for row in found.described} == {"milled", "tilted"}
    assert {row.adjusted.family for row in found.comparisons} == {5}
    assert found.overall == ()
    assert "No crown was seated of Upright: nothing is said of its fit." in analysis.fit.notes


def test_without_fit_nothing_is_said_of_it(two):
    analysis = analyse_study(unseated())
    assert analysis.fit is None
    assert analysis.findings.fit is None
    assert lines(analysis, "fit") == []
    assert "fit" not in analysis.multiplicity.lower()
    assert lines(analysis, "difference") == lines(two, "difference")
    document = analysis_document(analysis)
    assert (document["fit"], document["findings"]["fit"]) == (None, None)


def test_groups_are_held_against_each_limit_with_wilsons_interval():
    fit = {"milled": dict(FIT["milled"]), "tilted": FIT["tilted"]}
    fit["milled"][MOST] = [*FIT["milled"][MOST][:6], 130.0, 140.0]
    fit["milled"][ABOVE] = [90.0, *FIT["milled"][ABOVE][1:]]
    rows = [row for row in analyse_study(seated(fit=fit)).fit.limits if row.group == "milled"]
    assert [row.part for row in rows] == ["", "seat", "margin", "walls"]
    assert [row.share.within for row in rows] == [5, 7, 6, 8]
    assert [row.limit for row in rows] == ["", "at most 50 µm", "at most 120 µm", "at least 0.5 mm"]
    for row in rows:
        low, high = proportion_confint(row.share.within, 8, method="wilson")
        assert (row.share.ci_low, row.share.ci_high) == pytest.approx((low, high))
    assert rows[1].sentence == (
        "Milled, seat: 7 of 8 crowns go down on their dies (95 % interval of the share 52.9 % to "
        "97.7 %)."
    )
    assert rows[2].sentence.startswith(
        "Milled, marginal gap, largest: at most 120 µm on 6 of 8 crowns (95 % interval"
    )


def test_the_answer_counts_crowns_and_names_the_one_that_stays_up():
    fit = {"milled": FIT["milled"], "tilted": dict(FIT["tilted"])}
    fit["tilted"][ABOVE] = [*FIT["tilted"][ABOVE][:7], 640.0]
    analysis = analyse_study(seated(fit=fit))
    milled, tilted, up, apart = [line for line in analysis.verdict if line.kind == "fit"]
    assert (milled.status, tilted.status, up.status, apart.status) == ("good", "bad", "bad", "note")
    assert milled.sentence.startswith(
        "Milled: 8 of 8 crowns go down on their dies; 8 of 8 are within"
    )
    assert tilted.sentence.startswith(
        "Tilted: 7 of 8 crowns go down on their dies; 7 of 8 are within"
    )
    assert up.sentence == f"tilted_7: The crown cannot go on: it rests 640 µm too high. {HOLDS}"
    assert apart.sentence == (
        "Fit of Milled and Tilted: larger values for Tilted in the mean marginal gap; undecided in "
        "4 other measures."
    )
    answer = next(crown for crown in analysis.fit.crowns if crown.stays_up)
    assert answer.crown == "tilted_7"
    assert {HOLDS, RELIEF} <= {*answer.sentences}
    (note,) = [n for n in analysis.fit.notes if "held up" in n]
    assert note.startswith("tilted_7 is held up by its die")
    values = next(r for r in analysis.findings.fit.described if r.group == "tilted").summary.values
    assert not np.isnan(values).any()


def test_the_answer_names_limits_that_are_not_kept_and_what_is_open():
    fit = {"milled": dict(FIT["milled"]), "tilted": FIT["tilted"]}
    fit["milled"][MOST] = [*FIT["milled"][MOST][:6], 130.0, 140.0]
    made = seated(fit=fit)
    last = made.crowns[-1]
    open_ = Headline("not_decidable", "The crown goes down on its die; its margin is unknown", ())
    unsure = replace(last, fit=replace(last.fit, headline=open_, judged=last.fit.judged[:1]))
    analysis = analyse_study(replace(made, crowns=(*made.crowns[:-1], unsure)))
    milled, tilted = [line for line in analysis.verdict if line.kind == "fit"][:2]
    assert (milled.status, tilted.status) == ("bad", "open")
    assert milled.sentence.endswith(
        "; marginal gap, largest, outside its limit (at most 120 µm) on 2 crowns."
    )
    assert tilted.sentence.endswith("; of 1 crown the fit could not be decided.")
    rows = [row for row in analysis.fit.limits if row.group == "tilted"]
    assert [(row.share.n, row.undecided) for row in rows] == [(7, 1), (8, 0), (7, 1), (7, 1)]
    assert rows[2].sentence.endswith("1 crown could not be judged.")


def test_groups_of_which_nothing_is_sure_are_told_apart_from_the_answer_on_fit():
    fit = {name: {AXIAL_GAP: FIT[name][AXIAL_GAP]} for name in ("milled", "tilted")}
    analysis = analyse_study(seated(fit=fit))
    said = "Fit of Milled and Tilted: undecided in all measures."
    assert said in lines(analysis, "difference")
    assert said not in lines(analysis, "fit")


def test_what_rests_without_a_known_seat_is_not_said_to_go_down():
    fit = {n: {k: x for k, x in FIT[n].items() if k != ABOVE} for n in ("milled", "tilted")}
    analysis = analyse_study(seated(fit=fit, plan={"in_design_frame": False}))
    seat = next(row for row in analysis.fit.limits if row.part == "seat")
    assert (seat.share.n, seat.undecided, seat.limit) == (0, 8, "")
    assert seat.sentence == "Milled, seat: no crown could be judged."
    assert "go down" not in " ".join(lines(analysis, "fit"))
    assert any("no intended seat is known" in note for note in analysis.fit.notes)


def test_notes_tell_a_virtual_seat_from_a_scan_of_the_seated_crown():
    virtual = analyse_study(seated()).fit.notes
    assert virtual[0].startswith("A virtual seat has no cement, no friction and no elasticity")
    assert virtual[1] == (
        "Gap and margin are those of a virtual seat, not of a scan of the seated crown."
    )
    scanned = analyse_study(seated(by_triple_scan=True, stop="")).fit
    assert scanned.notes[0].startswith("Gap and margin are those of a scan of each seated crown")
    assert "seat" not in {row.part for row in scanned.limits if row.undecided}
    made = seated()
    first = replace(made.crowns[0], fit=replace(made.crowns[0].fit, by_triple_scan=True))
    mixed = analyse_study(replace(made, crowns=(first, *made.crowns[1:]))).fit.notes
    assert any("on milled_0, and of a virtual seat on 15 crowns" in note for note in mixed)


def test_the_document_holds_all_of_it(two):
    document = json.loads(json.dumps(analysis_document(two), allow_nan=False))
    found = document["findings"]["fit"]
    assert set(found) == {"described", "assumptions", "comparisons", "overall"}
    assert {"p_adjusted", "welch", "ranks", "equivalence", "outcome"} <= set(
        found["comparisons"][0]
    )
    assert set(document["fit"]) == {"limits", "crowns", "not_fitted", "notes"}
    limit = document["fit"]["limits"][1]
    assert (limit["within"], limit["n"], limit["part"]) == (8, 8, "seat")
    assert {"share", "share_low", "share_high", "limit", "sentence"} <= set(limit)
    assert document["fit"]["crowns"][0]["verdict"] == "within"
