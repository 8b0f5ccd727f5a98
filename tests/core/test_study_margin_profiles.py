"""Margin profiles of a study's groups: means and spreads place by place, their table and axis."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import MarginLine
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.deviation.margin_directions import Directions, directions_about
from cuspwise.standalone_core.deviation.margin_places import margin_places
from cuspwise.standalone_core.deviation.settings import MarginProfileSettings
from cuspwise.standalone_core.report.study.analysis_tables import analysis_tables
from cuspwise.standalone_core.report.study.angle_axis import AngleAxis
from cuspwise.standalone_core.report.study.figures import _jobs
from cuspwise.standalone_core.report.study.margin_figure import margin_figure
from cuspwise.standalone_core.report.study.margin_profiles import MarginProfiles, margin_profiles
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.study.analysis.results.analysis import StudyAnalysis
from cuspwise.standalone_core.study.measuring.results import StudyRun
from made.study_examples import make_analysis, make_run

GROUPS = ("milled", "tilted")
LEVELS_UM = (-6.0, -2.0, 1.0, 7.0)
UP = np.array([0.0, 0.0, 1.0])


def wave(angle_deg: np.ndarray, group: str) -> np.ndarray:
    """What all crowns of a group share."""
    return (10.0 if group == "milled" else -4.0) * np.cos(np.radians(angle_deg))


@pytest.fixture(scope="module")
def study() -> tuple[StudyRun, StudyAnalysis]:
    """Crowns that follow a cosine around the crown, each moved by its own level.

    Of each group the first does not count within 30° of buccal, at 90°.
    """
    run = make_run(GROUPS, len(LEVELS_UM), repeats=False, left_out=False)
    areas = replace(run.area_set, margin_line=MarginLine(demo_crown(0.45).margin_line_mm))
    assert areas.margin_line is not None
    angle = margin_places(areas.margin_line, areas, MarginProfileSettings().step_mm).angle_deg
    crowns = []
    for group in GROUPS:
        for k, crown in enumerate(run.crowns_of(group)):
            values = wave(angle, group) + LEVELS_UM[k]
            if not k:
                values[np.abs(angle - 90.0) < 30.0] = np.nan
            crowns.append(replace(crown, margin_um=values.astype(np.float32)))
    tolerances = replace(run.plan.check.tolerances, tolerances_um={"margin": 12.0})
    plan = replace(run.plan, check=replace(run.plan.check, tolerances=tolerances))
    run = replace(run, area_set=areas, crowns=tuple(crowns), plan=plan)
    return run, make_analysis(run, scores=False)


@pytest.fixture(scope="module")
def profiles(study: tuple[StudyRun, StudyAnalysis]) -> MarginProfiles:
    found = margin_profiles(*study)
    assert found is not None
    return found


def test_means_and_spreads_are_those_of_the_formula(profiles: MarginProfiles) -> None:
    angle = profiles.angle_deg
    missing = np.abs(angle - 90.0) < 30.0
    assert 0.1 < missing.mean() < 0.25
    for group in profiles.groups:
        shared = wave(angle, group.group)
        for rows, levels in ((~missing, LEVELS_UM), (missing, LEVELS_UM[1:])):
            level = np.array(levels)
            assert set(group.counted[rows].tolist()) == {len(levels)}
            assert group.mean_um[rows] == pytest.approx(shared[rows] + level.mean(), abs=1e-5)
            assert group.sd_um[rows] == pytest.approx(np.std(level, ddof=1), abs=1e-5)
            assert group.least_um[rows] == pytest.approx(shared[rows] + level.min(), abs=1e-5)
            assert group.most_um[rows] == pytest.approx(shared[rows] + level.max(), abs=1e-5)


def test_places_that_no_crown_has_are_told_as_such(study: tuple[StudyRun, StudyAnalysis]) -> None:
    run, analysis = study
    crowns = []
    for crown in run.crowns:
        assert crown.margin_um is not None
        values = crown.margin_um.copy()
        values[:7] = np.nan
        crowns.append(replace(crown, margin_um=values))
    found = margin_profiles(replace(run, crowns=tuple(crowns)), analysis)
    assert found is not None
    for group in found.groups:
        assert group.counted[:8].tolist() == [0] * 7 + [4]
        for values in (group.mean_um, group.sd_um, group.least_um, group.most_um):
            assert np.isnan(values[:7]).all()
            assert np.isfinite(values[7])
    one = replace(run, crowns=run.crowns[:1])
    (alone,) = margin_profiles(one, analysis).groups
    assert np.isnan(alone.sd_um).all()


def test_the_table_is_long_and_its_band_is_one_sd(
    study: tuple[StudyRun, StudyAnalysis], profiles: MarginProfiles
) -> None:
    rows = list(csv.DictReader(io.StringIO(analysis_tables(*study)["margin_profile"].text)))
    assert len(rows) == len(GROUPS) * len(profiles.place_mm)
    assert {row["place_words"] for row in rows} >= {"mesial", "distal"}
    for row in rows:
        mean, sd = float(row["profile_mean_um"]), float(row["profile_sd_um"])
        assert float(row["profile_low_um"]) == pytest.approx(mean - sd, abs=2e-4)
        assert float(row["profile_high_um"]) == pytest.approx(mean + sd, abs=2e-4)
        assert row["n_crowns"] == "4"
        assert row["n_counted"] == ("3" if abs(float(row["angle_deg"]) - 90.0) < 30.0 else "4")
        level = np.mean(LEVELS_UM if row["n_counted"] == "4" else LEVELS_UM[1:])
        shared = float(wave(np.array(float(row["angle_deg"])), row["group"]))
        assert mean == pytest.approx(shared + level, abs=1e-3)


def test_the_figure_draws_means_bands_and_tolerance(
    profiles: MarginProfiles, study: tuple[StudyRun, StudyAnalysis]
) -> None:
    figure = margin_figure(profiles)
    words = ["".join(e.itertext()).strip() for e in ET.fromstring(figure.page_svg).iter()]
    for text in (
        "tolerance ±12 µm",
        "± SD between crowns",
        "mesial",
        "distal",
        "Milled (4 crowns)",
    ):
        assert text in words
    assert [job.func for job in _jobs(study[1], study[0])].count(margin_figure) == 1
    assert "every 0.1 mm" in methods_text(*study).text
    bare = margin_figure(replace(profiles, tolerance_um=math.nan))
    assert "tolerance" not in bare.page_svg
    assert "mean from " in figure.alt


def test_without_profiles_there_is_neither_figure_nor_table() -> None:
    run = make_run(GROUPS, 2, repeats=False, left_out=False)
    analysis = make_analysis(run, scores=False)
    assert margin_profiles(run, analysis) is None
    assert "margin_profile" not in analysis_tables(run, analysis)
    assert "margin line" not in methods_text(run, analysis).text


def _known(buccal_y: float | None) -> Directions:
    buccal = None if buccal_y is None else (0.0, buccal_y, 0.0)
    return directions_about(
        UP, AreaSettings(mesial_direction=(1.0, 0.0, 0.0), buccal_direction=buccal)
    )


@pytest.mark.parametrize("buccal_y", [1.0, -1.0])
def test_buccal_comes_after_mesial_on_either_side_of_the_mouth(buccal_y: float) -> None:
    axis = AngleAxis(_known(buccal_y))
    assert [axis._words(place) for place in (0, 90, 180, 270, 360)] == [
        *("mesial", "buccal", "distal", "lingual", "mesial")
    ]
    angle = np.arange(0.0, 360.0, 2.0)
    place, values = axis.around(angle, np.sin(np.radians(angle)) * buccal_y)
    inside = (place >= 0.0) & (place <= 360.0)
    np.testing.assert_allclose(values[inside], np.sin(np.radians(place[inside])), atol=1e-12)
    assert np.all(np.diff(place) > 0.0)
    assert place[0] < 0.0
    assert place[-1] >= 360.0
    np.testing.assert_array_equal(axis.degrees[[0, 90, 360]], [0, 90 if buccal_y > 0 else 270, 0])


def test_unknown_directions_are_degrees_and_gaps_are_left_open() -> None:
    assert [AngleAxis(None)._words(k) for k in (0, 90)] == ["0°", "90°"]
    assert [AngleAxis(_known(None))._words(k) for k in (0, 90, 180)] == ["mesial", "90°", "distal"]
    angle = np.concatenate([np.arange(0.0, 100.0), np.arange(160.0, 360.0)])
    place, values = AngleAxis(None).around(angle, np.ones(len(angle)))
    assert np.isnan(values).sum() == 1
    assert place[np.flatnonzero(np.isnan(values))[0] + 1] == 160.0
