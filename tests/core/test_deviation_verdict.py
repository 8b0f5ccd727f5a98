"""Verdicts and their words."""

from __future__ import annotations

import pickle
from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest
from cuspwise.standalone_core.deviation.measures import AreaMeasures
from cuspwise.standalone_core.deviation.verdict import (
    COMMON_PRACTICE,
    VERDICT_WORDS,
    Tolerances,
    judge,
    with_verdicts,
)
from cuspwise.standalone_core.errors import SettingError

GOOD = SimpleNamespace(verdict="good", reason="The pose is well held.")


def row(area: str = "whole", mean_abs_um: float = 10.0, coverage: float = 1.0) -> AreaMeasures:
    known = {"area", "direction", "n", "area_mm2", "coverage", "mean_abs_um", "verdict"}
    known |= {"percentiles", "weighted", "reason"}
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
    assert dict(tolerances.mean_abs_um) == {"whole": 25.0, "occlusal": 20.0, "margin": 15.0}
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


def test_only_design_to_scan_is_judged() -> None:
    forward = row()
    backward = replace(forward, direction="scan_to_design", mean_abs_um=90.0)
    verdicts = judge([forward, backward], GOOD, Tolerances())
    assert [found.verdict for found in verdicts] == ["within"]
    joined = with_verdicts([forward, backward], verdicts)
    assert [measures.verdict for measures in joined] == ["within", ""]


@pytest.mark.parametrize("wrong", [0.0, -5.0, np.nan, np.inf])
def test_limits_that_judge_nothing_are_refused(wrong: float) -> None:
    with pytest.raises(SettingError, match="tolerance of margin"):
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
