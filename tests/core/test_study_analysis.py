"""A study analysed as a whole: the answer, odd crowns, scanner, and odd inputs."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.study.analysis.analyse import analyse_study, analyse_study_steps
from cuspwise.standalone_core.study.analysis.document import analysis_document
from cuspwise.standalone_core.study.analysis.notes import PRECISION_TERM
from cuspwise.standalone_core.study.analysis.sentences import p_words
from cuspwise.standalone_core.study.measuring.results import LeftOut
from cuspwise.standalone_core.study.plan import AnalysisPlan
from cuspwise.standalone_core.words.text import listed
from made.study_runs import AREAS, study, with_difference_map, with_repeats
from scipy import stats

RNG = np.random.default_rng(4)
SOUND = {
    name: {area: RNG.normal(mean, sd, 8).tolist() for area in AREAS}
    for name, mean, sd in (("milled", 9.0, 1.0), ("upright", 11.0, 1.5), ("tilted", 16.0, 3.0))
}
PAIR = {name: SOUND[name] for name in ("milled", "tilted")}  # much quicker than three groups
PLAN = AnalysisPlan(equivalence_um={"default": 5.0}, resamples=999)


def spoiled():
    margin = [*SOUND["upright"]["margin"][:7], 60.0]
    return SOUND | {"upright": {"whole": SOUND["upright"]["whole"], "margin": margin}}


def sentences(analysis, kind):
    return [line.sentence for line in analysis.verdict if line.kind == kind]


@pytest.fixture(scope="module")
def sound():
    return analyse_study(study(SOUND, analysis=PLAN))


@pytest.fixture(scope="module")
def with_odd():
    return analyse_study(study(spoiled(), analysis=PLAN))


def test_the_answer_comes_in_order_and_says_what_differs_and_whether_it_matters(sound):
    kinds = [line.kind for line in sound.verdict]
    expected = [k for k in ("tolerance", "primary", "secondary") for _ in "abc"]
    assert kinds == [*expected, "difference", *["precision"] * 3]
    first, _, third = sound.verdict[:3]
    assert first.status == "good"
    assert first.sentence.startswith("Milled meets the tolerance of the whole crown (8 of 8 ")
    assert third.status == "bad"
    out = [f"tilted_{k}" for k, x in enumerate(SOUND["tilted"]["margin"]) if x > 15.0]
    assert (
        f"Tilted does not meet the tolerance of the margin (4 of 8 crowns within, not "
        f"{listed(out)})" in third.sentence
    )
    tilted = next(s for s in sentences(sound, "secondary") if "of Milled and Tilted:" in s)
    assert tilted == (
        "Secondary comparisons of Milled and Tilted: larger values for Tilted in the whole "
        "crown (mean absolute deviation)."
    )
    assert sentences(sound, "difference") == [
        "6 other comparisons of trueness are exploratory: numbers without a claim, in the tables "
        "of each area."
    ]


def test_nothing_is_ever_said_to_show_no_difference(sound, with_odd):
    for analysis in (sound, with_odd):
        text = json.dumps(analysis_document(analysis), ensure_ascii=False).lower()
        for phrase in ("no difference", "not different", "no significant", "do not differ"):
            assert phrase not in text


def test_precision_is_told_apart_from_that_of_the_standard(sound):
    assert PRECISION_TERM in sound.notes


def test_the_document_is_plain_json_with_every_part(sound):
    document = json.loads(json.dumps(analysis_document(sound), allow_nan=False))
    assert document["schema"] == "cuspwise study analysis"
    assert document["schema_version"] == 3
    row = document["findings"]["comparisons"][0]
    assert {"outcome", "p_adjusted", "standing", "welch", "ranks", "effects"} <= {*row}
    assert {"equivalence", "sentence"} <= {*row}
    assert document["findings"]["trueness"][0]["summary"]["n"] == 8
    assert document["settings"]["seed"] == 2026
    assert document["without_odd"] is None


def test_an_odd_crown_is_flagged_kept_and_shown_beside(with_odd):
    flagged = [crown for crown in with_odd.odd_crowns if crown.odd]
    assert [crown.crown for crown in flagged] == ["upright_7"]
    assert flagged[0].score > flagged[0].limit
    *others, far = spoiled()["upright"]["margin"]
    apart = 1.25 * abs(far - np.mean(others))  # of pairs, and of root mean squares
    assert f"margin: its surface lies {apart:.3g} µm from the others' mean" in flagged[0].reason
    assert flagged[0].reason.startswith("Mean absolute deviation (margin) 60 µm, against a median")
    assert len(with_odd.odd_crowns) == 24
    assert "upright_7" in with_odd.findings.crowns
    assert with_odd.without_odd is not None
    assert "upright_7" not in with_odd.without_odd.crowns
    assert any("upright_7" in s for s in sentences(with_odd, "odd"))


def test_without_the_odd_crown_equals_a_study_without_it(with_odd):
    run = study(spoiled(), analysis=PLAN)
    gone = "upright_7"
    less = replace(
        run,
        crowns=tuple(c for c in run.crowns if c.name != gone),
        pairs=tuple(p for p in run.pairs if gone not in {p.first, p.second}),
    )
    expected = analyse_study(less).findings
    reduced = with_odd.without_odd
    assert reduced.comparisons == expected.comparisons
    assert reduced.precision_comparisons == expected.precision_comparisons
    assert reduced.tolerances == expected.tolerances


def test_conclusions_that_change_without_the_odd_crown_are_named(with_odd):
    changed = {(e.aspect, e.area, e.measure, e.first, e.second) for e in with_odd.odd_effects}
    assert ("trueness", "margin", "mean_abs_um", "upright", "tilted") in changed
    assert all(effect.with_odd != effect.without_odd for effect in with_odd.odd_effects)
    count = len(with_odd.odd_effects)
    assert f"{count} conclusions would not be the same" in sentences(with_odd, "odd")[0]


def test_sound_groups_have_no_odd_crown(sound):
    assert not any(crown.odd for crown in sound.odd_crowns)
    assert sound.without_odd is None
    assert sound.odd_effects == ()


def test_the_same_twice_and_in_any_order(with_odd):
    run = study(spoiled(), analysis=PLAN)
    shuffled = replace(
        run,
        crowns=tuple(reversed(run.crowns)),
        pairs=tuple(reversed(run.pairs)),
    )
    text = [
        json.dumps(analysis_document(analysis), allow_nan=False)
        for analysis in (with_odd, analyse_study(run), analyse_study(shuffled))
    ]
    assert text[0] == text[1] == text[2]


def test_progress_rises():
    fractions = [step.fraction for step in analyse_study_steps(study(PAIR, analysis=PLAN))]
    assert fractions == sorted(fractions)
    assert fractions[-1] <= 1.0


# Inputs that leave something undone.


def test_one_group_is_described_and_not_compared():
    found = analyse_study(study({"milled": SOUND["milled"]}, analysis=PLAN))
    assert len(found.findings.trueness) == 4
    assert found.findings.comparisons == found.findings.precision_comparisons == ()
    assert found.findings.assumptions == found.findings.overall == ()
    assert "one group only" in found.multiplicity
    assert any("one group only" in s for s in sentences(found, "caution"))


def test_one_crown_per_group_tests_nothing_and_says_so():
    groups = {"a": {"margin": [10.0]}, "b": {"margin": [30.0]}}
    found = analyse_study(study(groups, analysis=PLAN))
    (row, *_) = found.findings.comparisons
    assert row.outcome == "not_computed"
    assert row.difference == pytest.approx(20.0)
    assert "were not compared" in row.sentence
    assert "The difference is +20.0 µm." in row.sentence
    assert all(math.isnan(r.next_crown.limit) for r in found.findings.tolerances)
    assert [r.share.within for r in found.findings.tolerances] == [1, 0]
    assert any("One crown only: A and B" in s for s in sentences(found, "caution"))
    assert any(note.startswith("Not compared:") for note in found.findings.notes)
    assert {crown.reason for crown in found.odd_crowns} == {
        "Not judged: the group has only 1 crown."
    }
    json.dumps(analysis_document(found), allow_nan=False)


@pytest.mark.parametrize("lead", ["welch", "ranks"])
def test_identical_crowns(lead):
    groups = {"a": {"margin": [10.0] * 5}, "b": {"margin": [10.0] * 5}}
    found = analyse_study(study(groups, analysis=replace(PLAN, lead=lead)))
    outcomes = {row.outcome for row in found.findings.comparisons}
    assert outcomes <= {"not_computed", "undecided", "exploratory"}
    assert {row.outcome for row in found.findings.precision_comparisons} == {"not_computed"}
    assert not any(crown.odd for crown in found.odd_crowns)
    assert all(row.reason for row in found.findings.comparisons)
    json.dumps(analysis_document(found), allow_nan=False)


def test_constant_groups_apart_are_left_to_the_ranks():
    """All orders but one in 252 speak against no shift, and against one by the margin of 5 µm."""
    groups = {"a": {"margin": [10.0] * 5}, "b": {"margin": [12.0] * 5}}
    ranks = analyse_study(study(groups, analysis=replace(PLAN, lead="ranks")))
    found = ranks.findings.comparisons[0]
    assert found.outcome == "different_within_limit"
    assert found.equivalence.p_value == pytest.approx(1 / math.comb(10, 5))
    welch = analyse_study(study(groups, analysis=PLAN))
    assert welch.findings.comparisons[0].outcome == "not_computed"


def test_a_missing_number_is_counted_and_told():
    values = {"a": {"margin": [10.0, math.nan, 11.0, 12.0]}, "b": {"margin": [20.0, 21.0, 19.0]}}
    found = analyse_study(study(values, analysis=PLAN))
    row = next(r for r in found.findings.trueness if r.group == "a")
    assert (row.summary.description.n, row.summary.description.missing) == (3, 1)
    tolerance = next(r for r in found.findings.tolerances if r.group == "a")
    assert (tolerance.share.n, tolerance.undecided) == (3, 1)
    assert any("1 crown could not be judged" in note for note in found.findings.notes)
    assert found.findings.comparisons[0].tests.n_b == 3


def test_an_area_that_one_crown_lacks_altogether():
    run = study(PAIR, analysis=PLAN)
    first = run.crowns[0]
    less = replace(
        first,
        measures=tuple(r for r in first.measures if r.area != "margin"),
        verdicts=tuple(v for v in first.verdicts if v.area != "margin"),
    )
    found = analyse_study(replace(run, crowns=(less, *run.crowns[1:])))
    row = next(r for r in found.findings.trueness if (r.group, r.area) == ("milled", "margin"))
    assert row.summary.description.missing == 1
    assert found.findings.comparisons[0].tests.n_b == 7


def test_an_area_that_the_design_lacks_is_told():
    run = study(PAIR, analysis=PLAN)
    plan = replace(run.plan, areas=("margin", "fossae"))
    found = analyse_study(replace(run, plan=plan))
    assert found.areas == ("margin",)
    assert any("fossae was asked for and not found" in note for note in found.notes)


def test_scans_that_were_left_out_are_named():
    run = study(PAIR, analysis=PLAN)
    lost = LeftOut("milled_8", "milled", Path("milled_8.stl"), "It holds no triangles.", "Export.")
    found = analyse_study(replace(run, left_out=(lost,)))
    assert "milled_8 was left out: It holds no triangles." in sentences(found, "caution")


def test_without_tolerances_there_is_no_verdict_on_them():
    found = analyse_study(study(PAIR, analysis=PLAN, tolerances=Tolerances(tolerances_um={})))
    assert [line.status for line in found.verdict[:2]] == ["open"] * 2


# Scanner and map.


def test_the_scanner_is_that_of_a_one_way_analysis_for_one_operator():
    table = np.random.default_rng(8).normal(20, 0.5, (5, 1, 3)) + np.arange(5)[:, None, None]
    found = analyse_study(with_repeats(study(PAIR, analysis=PLAN), table))
    row = next(r for r in found.scanner if (r.area, r.measure) == ("margin", "mean_abs_um"))
    sd = table.reshape(5, 3).var(axis=1, ddof=1).mean() ** 0.5
    assert (row.gauge.parts, row.gauge.operators, row.gauge.trials) == (5, 1, 3)
    assert row.gauge.repeatability == pytest.approx(sd)
    assert row.smallest_difference == pytest.approx(stats.norm.ppf(0.975) * 2**0.5 * sd)
    missing = next(r for r in found.scanner if r.area == "whole")
    assert math.isnan(missing.smallest_difference)
    assert missing.reason
    for comparison in found.findings.comparisons:
        if (comparison.area, comparison.measure) == ("margin", "mean_abs_um"):
            # check_values.md, section 6: z σ √(1/n₁ + 1/n₂), eight crowns a group.
            limit = stats.norm.ppf(0.975) * sd * (1 / 8 + 1 / 8) ** 0.5
            assert comparison.scanner_limit == pytest.approx(limit)
            assert comparison.below_scanner == (abs(comparison.difference) < limit)
    # No crown of a group was scanned again: how a distance varies from scan to scan is unknown.
    assert row.distance is None
    assert all(math.isnan(row.scanner_limit) for row in found.findings.precision_comparisons)


def test_repeats_of_a_crown_with_a_lost_scan_are_left_out_of_the_scanners_row():
    table = np.random.default_rng(8).normal(20, 0.5, (4, 2, 3))
    run = with_repeats(study(PAIR, analysis=PLAN), table)
    found = analyse_study(replace(run, repeats=run.repeats[1:]))
    row = next(r for r in found.scanner if r.area == "margin")
    assert row.gauge.parts == 3
    assert "Without complete repeated scans of crown 0." in row.reason


def test_the_difference_map_is_summed_up_by_surface():
    run = with_difference_map(
        study(PAIR, analysis=PLAN), "milled", "tilted", [0.01, 0.2, 0.03, np.nan]
    )
    found = analyse_study(run)
    whole, margin = found.difference_shares
    # Corners of two triangles: 1/3, 1/6, 1/3, 1/6 of the square; differences 2, 4, −6, 8 µm.
    assert whole.tested == pytest.approx(5 / 6)
    assert whole.differing == pytest.approx(0.8)
    assert whole.mean_um == pytest.approx(-2.0)
    assert (margin.tested, margin.differing) == pytest.approx((1.0, 2 / 3))
    assert "does not say that they differ there" in found.difference_caveat


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.00001, "p < 0.001"),
        (0.0496, "p = 0.0496"),
        (0.0504, "p = 0.0504"),
        (0.0123, "p = 0.012"),
        (0.5, "p = 0.50"),
        (math.nan, "no p"),
    ],
)
def test_p_values_in_words(p, words):
    assert p_words(p) == words
