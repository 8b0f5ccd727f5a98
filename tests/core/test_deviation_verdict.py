"""Verdicts and their words."""

from __future__ import annotations

import pickle
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest
from cuspwise.standalone_core.deviation.margin_summary import MarginSummary
from cuspwise.standalone_core.deviation.measures import AreaMeasures
from cuspwise.standalone_core.deviation.reasons import about_pieces
from cuspwise.standalone_core.deviation.tolerances import (
    COMMON_PRACTICE,
    COVERAGE_FACTOR,
    Tolerances,
)
from cuspwise.standalone_core.deviation.unmatched import UnmatchedPiece
from cuspwise.standalone_core.deviation.verdict import ScanEvidence, judge, with_verdicts
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.report.check.sentences import headline
from cuspwise.standalone_core.words.names import VERDICT_WORDS
from scipy.stats import norm

GOOD = SimpleNamespace(verdict="good", reason="The pose is well held.")


def row(area: str = "whole", mean_abs_um: float = 10.0, coverage: float = 1.0) -> AreaMeasures:
    known = {"area", "direction", "n", "area_mm2", "coverage", "mean_abs_um", "verdict"}
    known |= {"percentiles", "weighted", "reason", "peak_mm"}
    numbers = {field.name: np.nan for field in fields(AreaMeasures) if field.name not in known}
    return AreaMeasures(
        area=area,
        direction="design_to_scan",
        n=100,
        area_mm2=50.0,
        coverage=coverage,
        mean_abs_um=mean_abs_um,
        verdict="",
        percentiles="area-weighted Hazen",
        weighted=True,
        reason="",
        **numbers,
    )


def test_defaults_are_the_common_figures() -> None:
    """Mean absolute: whole ≤ 25, occlusal ≤ 20, margin ≤ 15 µm (common practice, no source)."""
    tolerances = Tolerances()
    assert dict(tolerances.tolerances_um) == {"whole": 25.0, "occlusal": 20.0, "margin": 15.0}
    assert tolerances.min_coverage == 0.9
    assert tolerances.source("margin") == COMMON_PRACTICE
    assert tolerances.changed({"margin": 30.0}).source("margin") == "set by the user"
    assert tolerances.source("axial") == ""


@pytest.mark.parametrize(
    ("mean_abs", "verdict", "words"),
    [
        (15.0, "within", "Mean absolute deviation 15.0 µm, at or below the limit of 15 µm."),
        (15.2, "outside", "Mean absolute deviation 15.2 µm, above the limit of 15 µm."),
    ],
)
def test_the_mean_absolute_deviation_decides(mean_abs: float, verdict: str, words: str) -> None:
    (found,) = judge([row("margin", mean_abs)], GOOD, Tolerances())
    assert (found.verdict, found.reason) == (verdict, words)
    assert (found.mean_abs_um, found.tolerance_um, found.coverage) == (mean_abs, 15.0, 1.0)


def test_a_figure_that_would_round_to_the_limit_keeps_its_digits() -> None:
    (found,) = judge([row("margin", 15.004)], GOOD, Tolerances())
    assert found.verdict == "outside"
    assert "15.004" in found.reason


def test_too_little_coverage_decides_nothing() -> None:
    (found,) = judge([row(coverage=0.8999)], GOOD, Tolerances())
    assert found.verdict == "not_decidable"
    assert found.reason == "Only 89.9 % of the area was measured; 90 % is needed."
    (found,) = judge([row(coverage=0.9)], GOOD, Tolerances())
    assert found.verdict == "within"


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("ambiguous", "fits its design in more than one position"),
        ("mirrored", "looks like the mirror image"),
        ("wrong_part", "does not look like this design"),
        ("not_converged", "did not settle"),
    ],
)
def test_a_doubtful_superimposition_decides_nothing(state: str, words: str) -> None:
    doubtful = SimpleNamespace(
        verdict=state,
        reason="Turning about z changes nothing.",
        remaining_mm=0.01 if state == "not_converged" else 0.0,
    )
    (found,) = judge([row()], doubtful, Tolerances())
    assert found.verdict == "not_decidable"
    assert words in found.reason
    assert "Turning about z changes nothing." in found.reason


def test_what_remains_to_settle_counts_against_each_limit() -> None:
    """5 % of 25 µm is 1.25 µm, of 15 µm 0.75 µm: 1 µm to go matters to the margin only."""
    rows = [row("whole", 30.0), row("margin", 5.0)]
    unsettled = SimpleNamespace(verdict="not_converged", reason="Off by 1 µm.", remaining_mm=0.001)
    whole, margin = judge(rows, unsettled, Tolerances())
    assert (whole.verdict, margin.verdict) == ("outside", "not_decidable")
    assert "only 1 µm may remain" in whole.reason
    assert "Off by 1 µm." in margin.reason
    strict = Tolerances(max_unsettled_share=0.0)
    assert {found.verdict for found in judge(rows, unsettled, strict)} == {"not_decidable"}


def test_an_unknown_remainder_decides_nothing() -> None:
    unsettled = SimpleNamespace(verdict="not_converged", reason="", remaining_mm=np.nan)
    assert judge([row()], unsettled, Tolerances())[0].verdict == "not_decidable"


def test_an_empty_area_decides_nothing() -> None:
    empty = replace(row(mean_abs_um=np.nan, coverage=0.0), reason="No point counts.")
    (found,) = judge([empty], GOOD, Tolerances())
    assert (found.verdict, found.reason) == ("not_decidable", "No point counts.")


def test_areas_without_a_tolerance_say_so() -> None:
    (found,) = judge([row("axial")], GOOD, Tolerances())
    assert VERDICT_WORDS[found.verdict] == "no tolerance set"
    tolerances = Tolerances().changed({"whole": None, "axial": 5.0})
    (axial, whole) = judge([row("axial"), row("whole")], GOOD, tolerances)
    assert (axial.verdict, whole.verdict) == ("outside", "no_tolerance")


def backward(area: str = "whole", mean_abs_um: float = 10.0, peak_um: float = 9.0) -> AreaMeasures:
    one = row(area, mean_abs_um)
    place = {"min_um": -1.0, "max_um": peak_um, "peak_mm": (1.0, -2.0, 3.04)}
    return replace(one, direction="scan_to_design", **place)


@pytest.mark.parametrize(
    ("there", "back", "verdict", "contradiction"),
    [
        (15.0, 15.0, "within", False),
        (7.7, 18.0, "outside", True),
        (18.0, 7.7, "outside", True),
        (16.0, 18.0, "outside", False),
    ],
)
def test_an_area_is_within_only_if_both_directions_say_so(
    there: float, back: float, verdict: str, contradiction: bool
) -> None:
    rows = [row("margin", there), backward("margin", back, 288.0)]
    (found,) = judge(rows, GOOD, Tolerances())
    assert (found.verdict, found.contradiction) == (verdict, contradiction)
    assert (found.mean_abs_um, found.back_mean_abs_um) == (there, back)
    assert ("contradict" in found.reason) is contradiction
    joined = with_verdicts(rows, [found])
    assert [measures.verdict for measures in joined] == [verdict, ""]


def test_a_contradiction_says_which_where_and_how_much() -> None:
    (found,) = judge([row("margin", 7.7), backward("margin", 18.0, 288.0)], GOOD, Tolerances())
    assert found.reason == (
        "The two directions contradict each other: mean absolute deviation 7.7 µm from design to "
        "scan, at or below the limit of 15 µm, but 18.0 µm from scan to design, above it (most "
        "+288 µm at (1.0, −2.0, 3.0) mm)."
    )


def piece(**changed: object) -> UnmatchedPiece:
    given = UnmatchedPiece(
        area_mm2=0.1,
        height_um=60.0,
        mean_um=30.0,
        beyond_search=False,
        loose=False,
        areas=("margin", "axial"),
        margin_mm=7.5,
        centre_mm=(0.0, 0.0, 0.0),
        peak_mm=(4.0, 0.0, 0.0),
        n=9,
    )
    return replace(given, **changed)


@pytest.mark.parametrize(
    ("count", "last"),
    [(3, "And 1 more such piece."), (4, "And 2 more such pieces.")],
)
def test_of_many_pieces_two_are_told_and_the_others_counted(count: int, last: str) -> None:
    told = about_pieces([piece()] * count)
    assert len(told) == 3
    assert told[-1] == last


@pytest.mark.parametrize(
    ("changed", "verdict"),
    [
        ({"height_um": 100.0, "area_mm2": 0.2}, "within"),
        ({"height_um": 100.1}, "outside"),
        ({"area_mm2": 0.201}, "outside"),
        ({"height_um": 300.0, "loose": True}, "not_decidable"),
        ({"height_um": 300.0, "areas": ("occlusal",)}, "within"),
        ({"height_um": 1000.0, "areas": ()}, "within"),
    ],
)
def test_unmatched_surface_beside_an_area_has_limits(
    changed: dict[str, object], verdict: str
) -> None:
    """Higher than 0.1 mm or larger than 0.2 mm² (ours, no source) is too much."""
    evidence = ScanEvidence(unmatched=(piece(**changed),))
    (found,) = judge([row("margin", 5.0)], GOOD, Tolerances(), evidence)
    assert found.verdict == verdict
    assert ("7.5 mm of the margin" in found.reason) is (verdict != "within")


def test_the_whole_crown_has_every_piece_that_any_area_has() -> None:
    evidence = ScanEvidence(unmatched=(piece(height_um=300.0), piece(areas=(), height_um=1e3)))
    (whole,) = judge([row("whole", 5.0)], GOOD, Tolerances(), evidence)
    assert (whole.verdict, whole.unmatched_um, whole.unmatched_mm2) == ("outside", 300.0, 0.1)
    wide = Tolerances(max_unmatched_um=300.0)
    assert judge([row("whole", 5.0)], GOOD, wide, evidence)[0].verdict == "within"


def margin_summary(missing_mm: float) -> MarginSummary:
    numbers = dict.fromkeys((f.name for f in fields(MarginSummary)), np.nan)
    told = {"missing_mm": missing_mm, "missing_um": -212.0, "missing_words": "distal"}
    return MarginSummary(**{**numbers, **told, "length_mm": 30.0})


@pytest.mark.parametrize(("missing_mm", "verdict"), [(0.5, "within"), (0.6, "outside")])
def test_a_margin_is_outside_where_it_is_open_over_a_length(
    missing_mm: float, verdict: str
) -> None:
    """Its mean would hide a short piece; the limit of 0.5 mm is ours, no source."""
    evidence = ScanEvidence(margin=margin_summary(missing_mm))
    rows = [row("margin", 9.0), row("whole", 9.0)]
    margin, whole = judge(rows, GOOD, Tolerances(), evidence)
    assert (margin.verdict, whole.verdict) == (verdict, "within")
    told = (
        "The margin is short or broken along 0.6 of 30.0 mm (distal): up to 212 µm of material is "
        "missing there."
    )
    assert (told in margin.reason) is (verdict == "outside")
    longer = Tolerances(max_missing_mm=1.0)
    assert judge(rows, GOOD, longer, evidence)[0].verdict == "within"


@pytest.mark.parametrize(
    ("unseen_mm", "mean_um", "verdict"),
    [(0.5, 9.0, "within"), (0.6, 9.0, "not_decidable"), (0.6, 16.0, "outside")],
)
def test_a_margin_that_was_not_seen_over_a_length_is_not_within(
    unseen_mm: float, mean_um: float, verdict: str
) -> None:
    """What is known to be outside stays so, whatever was not seen."""
    summary = replace(margin_summary(0.0), unseen_mm=unseen_mm, unseen_words="distal")
    rows = [row("margin", mean_um), row("whole", 9.0)]
    margin, whole = judge(rows, GOOD, Tolerances(), ScanEvidence(margin=summary))
    assert (margin.verdict, whole.verdict) == (verdict, "within")
    unseen = "The margin was not measured along 0.6 of 30.0 mm (distal): it may be open there."
    assert (unseen in margin.reason) is (unseen_mm > 0.5)


def test_what_decides_comes_first() -> None:
    """ "Outside" and then "at or below the limit" would read as a contradiction."""
    rows = [row("margin", 9.0), backward("margin", 9.0)]
    summary = margin_summary(0.6)
    (found,) = judge(rows, GOOD, Tolerances(), ScanEvidence(margin=summary))
    assert found.reason.startswith("The margin is short or broken")
    assert found.reason.endswith("at or below the limit of 15 µm.")
    (above,) = judge([row("margin", 16.0)], GOOD, Tolerances(), ScanEvidence(margin=summary))
    assert above.reason.startswith("Mean absolute deviation 16.0 µm, above the limit")


@pytest.mark.parametrize(("peak_um", "words"), [(100.0, ""), (294.0, "+294"), (-285.0, "−285")])
def test_a_mean_within_its_limit_tells_of_a_place_far_off(peak_um: float, words: str) -> None:
    lowest_highest = {"min_um": min(peak_um, -1.0), "max_um": max(peak_um, 1.0)}
    rows = [row("whole", 5.0), replace(backward("whole", 5.0), **lowest_highest)]
    (found,) = judge(rows, GOOD, Tolerances())
    assert found.verdict == "within"
    told = f"A mean hides single places: look at {words} µm at (1.0, −2.0, 3.0) mm."
    assert (told in found.reason) is bool(words)
    assert ("hides" in found.reason) is bool(words)


def test_loose_pieces_do_not_excuse_what_the_design_sees() -> None:
    evidence = ScanEvidence(unmatched=(piece(height_um=300.0, loose=True),))
    outside = [row("margin", 16.0), backward("margin", 40.0)]
    assert judge(outside, GOOD, Tolerances(), evidence)[0].verdict == "outside"
    spoiled = [row("margin", 4.0), backward("margin", 40.0)]
    assert judge(spoiled, GOOD, Tolerances(), evidence)[0].verdict == "not_decidable"


def test_the_design_itself_is_no_crown() -> None:
    evidence = ScanEvidence(is_design=True)
    (whole, axial) = judge([row("whole", 0.0), row("axial", 0.0)], GOOD, Tolerances(), evidence)
    assert (whole.verdict, axial.verdict) == ("not_decidable", "no_tolerance")
    assert "The scan is the design itself (or a copy of it)" in whole.reason
    assert whole.mean_abs_um == 0.0


@pytest.mark.parametrize(
    ("there", "back", "verdict"),
    [
        (13.35, 13.35, "within"),
        (13.36, 13.35, "not_decidable"),
        (13.35, 13.36, "not_decidable"),
        (16.64, 10.0, "not_decidable"),
        (16.65, 10.0, "outside"),
        (10.0, 16.65, "outside"),
    ],
)
def test_the_scanners_uncertainty_decides_too(there: float, back: float, verdict: str) -> None:
    """Guarded on both sides by 1.645 u (ISO 14253-1, from memory): 15 ∓ 1.645 µm for u = 1 µm."""
    assert pytest.approx(norm.ppf(0.95), abs=5e-4) == COVERAGE_FACTOR
    tolerances = Tolerances(scanner_um={"margin": 1.0})
    (found,) = judge([row("margin", there), backward("margin", back)], GOOD, tolerances)
    assert (found.verdict, found.caveat, found.scanner_um) == (verdict, "", 1.0)


def test_without_the_scanners_uncertainty_the_verdict_is_of_this_scan() -> None:
    (found,) = judge([row("margin", 5.0)], GOOD, Tolerances(scanner_um={"whole": 1.0}))
    assert found.caveat == "Of this scan; the scanner's uncertainty was not given."
    (found,) = judge([row("margin", 5.0)], GOOD, Tolerances(scanner_um={"default": 1.0}))
    assert (found.caveat, found.scanner_um) == ("", 1.0)
    assert found.caveat not in headline([found]).sentences


@pytest.mark.parametrize("wrong", [-1.0, np.nan, np.inf])
def test_uncertainties_and_unmatched_limits_that_mean_nothing_are_refused(wrong: float) -> None:
    with pytest.raises(SettingError, match="scanner_um of margin"):
        Tolerances(scanner_um={"margin": wrong})
    for name in ("max_unmatched_um", "max_unmatched_mm2", "max_missing_mm"):
        if wrong != np.inf:  # no limit
            with pytest.raises(SettingError, match=name):
                Tolerances(**{name: wrong})


@pytest.mark.parametrize("wrong", [0.0, -5.0, np.nan, np.inf])
def test_limits_that_judge_nothing_are_refused(wrong: float) -> None:
    with pytest.raises(SettingError, match="tolerances_um of margin"):
        Tolerances({"margin": wrong})
    with pytest.raises(SettingError, match="min_coverage"):
        Tolerances(min_coverage=wrong if wrong != 0 else 1.5)
    with pytest.raises(SettingError, match="max_unsettled_share"):
        Tolerances(max_unsettled_share=wrong if wrong != 0 else 1.5)


def test_tolerances_keep_their_own_copy() -> None:
    given = {"whole": 25.0}
    tolerances = Tolerances(given)
    given["whole"] = 1.0
    assert tolerances.limit_um("whole") == 25.0
    assert pickle.loads(pickle.dumps(tolerances)) == tolerances
