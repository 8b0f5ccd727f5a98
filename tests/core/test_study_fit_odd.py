"""Crowns whose fit is unlike their group's, and examiners' scores beside the measured fit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.statistics.odd import Sign, find_odd
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.cohort import cohort_of
from cuspwise.standalone_core.study.analysis.examiners import (
    BY_BOTH,
    BY_TRIPLE_SCAN,
    NOT_FIT,
    ON_VIRTUAL_SEAT,
    SIGNED,
    examiner_analysis,
)
from cuspwise.standalone_core.study.analysis.odd_crowns import odd_crowns, place_key, sign_words
from cuspwise.standalone_core.study.file.examiner_scores import CrownScore, ExaminerScores
from cuspwise.standalone_core.study.plan import AnalysisPlan
from cuspwise.standalone_core.study.score_scale import SCORES, ScoreScale
from made.fit_crowns import ABOVE, AXIAL_GAP, AXIAL_WALL, GAP, MESIAL, MOST, NAN, with_fit
from made.study_runs import AREAS, study
from scipy import stats

RNG = np.random.default_rng(8)
NAMES = ("milled", "tilted")
FORM = {name: {area: RNG.normal(10.0, 1.0, 8).tolist() for area in AREAS} for name in NAMES}
FIT = {
    name: {
        GAP: RNG.normal(mean, 4.0, 8).tolist(),
        ABOVE: RNG.normal(12.0, 2.0, 8).tolist(),
        AXIAL_GAP: RNG.normal(55.0, 3.0, 8).tolist(),
        AXIAL_WALL: RNG.normal(700.0, 30.0, 8).tolist(),
        MESIAL: RNG.normal(-20.0, 10.0, 8).tolist(),
    }
    for name, mean in (("milled", 40.0), ("tilted", 48.0))
}
PLAN = AnalysisPlan(resamples=100)


def seated(fit=FIT, analysis=PLAN, **how):
    return with_fit(study(FORM, analysis=analysis, measures=("mean_abs_um",)), fit, **how)


def spoiled(place, value, group="tilted"):
    return FIT | {group: FIT[group] | {place: [*FIT[group][place][:7], value]}}


def odd_of(study_run):
    return [crown for crown in odd_crowns(cohort_of(study_run)) if crown.odd]


def test_a_crown_of_usual_form_is_found_by_its_gap():
    assert odd_of(seated()) == []
    (crown,) = odd_of(seated(spoiled(GAP, 130.0)))
    assert crown.crown == "tilted_7"
    others = FIT["tilted"][GAP][:7]
    assert crown.reason == (
        f"Mean marginal gap 130 µm, against a median of {np.median(others):.3g} µm "
        f"({min(others):.3g} to {max(others):.3g})."
    )


def test_maps_and_numbers_of_fit_share_the_chance_of_a_false_alarm():
    groups = spoiled(GAP, 130.0)
    (crown,) = odd_of(seated(groups))
    maps = {
        area: np.abs(np.subtract.outer(x, x)) * 0.9 * 1.25 for area, x in FORM["tilted"].items()
    }
    values = {str(place): x for place, x in groups["tilted"].items()} | FORM["tilted"]
    found = find_odd(values, maps=maps, false_alarms=PLAN.odd_false_alarm)
    assert len(found.measures) == 2 + 2 + 5
    assert (crown.score, crown.limit) == pytest.approx((found.odd[0].score, found.odd[0].limit))
    x, others = 130.0, np.array(FIT["tilted"][GAP][:7])
    t = (x - others.mean()) / (others.std(ddof=1) * (1 + 1 / 7) ** 0.5)
    level = PLAN.odd_false_alarm / 9 / 2 / 8  # measures, two units at most, crowns
    assert (crown.score, crown.limit) == pytest.approx((t, stats.t.isf(level / 2, 6)))


def test_a_crown_that_was_not_seated_counts_for_its_form_only():
    fit = FIT | {"tilted": {place: [NAN, *x[1:]] for place, x in FIT["tilted"].items()}}
    rows = odd_crowns(cohort_of(seated(fit)))
    assert not any(crown.odd for crown in rows)
    first = next(crown for crown in rows if crown.crown == "tilted_0")
    assert first.unit.worst.of_map


def test_few_seated_crowns_show_nothing_odd_and_cost_the_maps_nothing():
    two = [NAN] * 6
    fit = {"tilted": {GAP: [*two, 40.0, 400.0], ABOVE: [*two, 10.0, 900.0]}}
    with_two = odd_crowns(cohort_of(seated(fit)))
    assert not any(crown.odd for crown in with_two)
    plain = odd_crowns(cohort_of(replace(seated(fit), plan=study(FORM).plan)))
    assert [c.unit.limit for c in with_two] == [c.unit.limit for c in plain]
    (crown,) = odd_of(seated({"tilted": {GAP: [40.0, 41.0, 42.0, 43.0, *[NAN] * 3, 4000.0]}}))
    assert crown.crown == "tilted_7"


def test_signs_of_fit_are_said_by_their_measure():
    said = {
        AXIAL_GAP: "mean gap inside (axial walls) 95 µm, against a median of 40 µm (35 to 47)",
        MESIAL: "gap at the mesial contact 95 µm, against a median of 40 µm (35 to 47)",
        ABOVE: "height above the intended seat 95 µm, against a median of 40 µm (35 to 47)",
    }
    for place, words in said.items():
        assert sign_words(Sign(place_key(*place), 95.0, 40.0, 35.0, 47.0)) == words
    deep = Sign(place_key(*MESIAL), -180.0, -20.0, -35.0, -4.56)
    assert "contact −180 µm, against a median of −20 µm (−35 to −4.56)" in sign_words(deep)


def test_conclusions_on_fit_that_an_odd_crown_changes_are_named():
    form = {name: FORM[name] for name in NAMES}
    fit = FIT | {"tilted": FIT["tilted"] | {GAP: [*FIT["tilted"][GAP][:7], 300.0]}}
    analysis = analyse_study(with_fit(study(form, analysis=PLAN, measures=("rms_um",)), fit))
    (effect,) = [e for e in analysis.odd_effects if e.aspect == "fit"]
    assert (effect.area, effect.measure) == GAP
    assert (effect.with_odd, effect.without_odd) == ("undecided", "different")
    assert effect.sentence == (
        "Mean marginal gap, fit of Tilted and Milled: undecided with all crowns, different "
        "without the odd ones."
    )
    rest = analysis.without_odd.fit
    assert next(r for r in rest.described if r.group == "tilted").crowns[-1] == "tilted_6"
    welch = stats.ttest_ind(fit["tilted"][GAP][:7], fit["milled"][GAP], equal_var=False)
    assert rest.comparisons[0].p_value == pytest.approx(welch.pvalue)


def scores_of(made, **items):
    rows = tuple(
        CrownScore(c.path, c.name, c.group, "A", {item: x[i] for item, x in items.items()})
        for i, c in enumerate(made.crowns)
    )
    return ExaminerScores(Path("e.csv"), tuple(items), ("A",), rows, ScoreScale(SCORES))


GAPS = [*FIT["milled"][GAP], *FIT["tilted"][GAP]]
FELT = [0 if gap < 42 else 1 if gap < 48 else 2 for gap in GAPS]


def test_the_gap_felt_stands_beside_the_deviation_and_the_gap_measured():
    made = seated()
    found = examiner_analysis(cohort_of(made), scores_of(made, gap=FELT))
    by_form, by_fit = found.correlations
    assert (by_form.area, by_form.measure) == ("margin", "mean_abs_um")
    assert (by_fit.area, by_fit.measure) == GAP
    expected = stats.spearmanr(FELT, GAPS)
    got = by_fit.correlation
    assert (got.rho, got.p) == pytest.approx((expected.statistic, expected.pvalue))
    assert by_fit.sentence.startswith("Marginal gap felt and mean marginal gap: Spearman's ρ 0.")
    rows = [row for row in found.crowns if row.measure == "marginal_gap_um"]
    assert [row.measured for row in rows] == GAPS
    assert [row.median for row in rows] == FELT
    assert found.notes[:2] == (NOT_FIT, ON_VIRTUAL_SEAT)


def test_contacts_and_seating_stand_beside_what_was_measured_of_them():
    made = seated()
    contact, seating = [0, 1, 2, 1] * 4, [0, 0, 1, 2] * 4
    found = examiner_analysis(cohort_of(made), scores_of(made, contact=contact, seating=seating))
    beside = {(row.item, row.area, row.measure): row for row in found.correlations}
    assert list(beside) == [
        ("contact", "margin", "mean_abs_um"),
        ("contact", *MESIAL),
        ("seating", "margin", "mean_abs_um"),
        ("seating", *ABOVE),
    ]
    for item, place, scores in (("contact", MESIAL, contact), ("seating", ABOVE, seating)):
        expected = stats.spearmanr(scores, [*FIT["milled"][place], *FIT["tilted"][place]])
        assert beside[item, *place].correlation.rho == pytest.approx(expected.statistic)
    assert not any("-" in row.sentence for row in found.correlations)  # minus signs are true ones
    assert SIGNED in found.notes
    assert ON_VIRTUAL_SEAT not in found.notes


def test_only_crowns_with_a_score_and_a_seat_are_beside_each_other():
    fit = {"milled": {GAP: [*FIT["milled"][GAP][:5], NAN, NAN, NAN]}}
    made = seated(fit)
    found = examiner_analysis(cohort_of(made), scores_of(made, gap=[None, *FELT[1:]]))
    _, by_fit = found.correlations
    assert by_fit.correlation.n == 4
    rows = [row for row in found.crowns if row.measure == "marginal_gap_um"]
    assert [row.crown for row in rows] == [f"milled_{i}" for i in range(5)]


def test_the_note_says_how_the_gap_was_measured():
    scanned = seated(by_triple_scan=True)
    note = examiner_analysis(cohort_of(scanned), scores_of(scanned, gap=FELT)).notes[1]
    assert note == BY_TRIPLE_SCAN
    first = replace(scanned.crowns[0], fit=replace(scanned.crowns[0].fit, by_triple_scan=False))
    mixed = replace(scanned, crowns=(first, *scanned.crowns[1:]))
    assert examiner_analysis(cohort_of(mixed), scores_of(mixed, gap=FELT)).notes[1] == BY_BOTH
    plain = study(FORM, analysis=PLAN)
    found = examiner_analysis(cohort_of(plain), scores_of(plain, gap=FELT))
    assert found.notes == (NOT_FIT,)
    assert [row.measure for row in found.correlations] == ["mean_abs_um"]


def test_a_gap_that_the_plan_does_not_compare_is_not_put_beside_scores():
    made = seated(plan={"measures": ("above_intended_um",)})
    found = examiner_analysis(cohort_of(made), scores_of(made, gap=FELT))
    assert MOST[1] not in {row.measure for row in found.correlations}
    assert [row.measure for row in found.correlations] == ["mean_abs_um"]
