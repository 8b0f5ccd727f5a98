"""Figures of a study's fit: every crown, held-up ones apart, and the gap all around."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from cuspwise.standalone_core.report.drawing.matplotlib_figure import Figure
from cuspwise.standalone_core.report.study.differences import fit_equivalence_figure
from cuspwise.standalone_core.report.study.figures import _jobs, scores_figure, study_figures
from cuspwise.standalone_core.report.study.fit_figures import theme_figure
from cuspwise.standalone_core.report.study.fit_themes import THEMES, fit_limits_um
from cuspwise.standalone_core.report.study.marginal_gap_figure import (
    gap_at_degrees,
    margin_curves,
    marginal_gap_figure,
)
from cuspwise.standalone_core.report.study.normal_figure import normal_figure
from cuspwise.standalone_core.report.study.strips import Panel, _range, group_strip
from cuspwise.standalone_core.study.analysis.descriptions import summary
from cuspwise.standalone_core.study.measuring.crown_fit import MarginGaps
from made.study_fits import HELD_UP, fitted_study, with_fit

RUN, ANALYSIS = fitted_study()
GAP = ("margin", "marginal_gap_um")
WITHOUT = replace(ANALYSIS.findings, fit=None)


def words_of(figure: Figure) -> list[str]:
    """Every text of a figure, in order."""
    elements = ET.fromstring(figure.page_svg).iter()
    return ["".join(e.itertext()).strip() for e in elements if e.tag.endswith("}text")]


def marks_of(figure: Figure, name: str) -> int:
    """How many marks there are in the parts of a figure whose name begins so."""
    parts = [
        e for e in ET.fromstring(figure.page_svg).iter() if (e.get("id") or "").startswith(name)
    ]
    return sum(e.tag.endswith("}use") for part in parts for e in part.iter())


@pytest.fixture(scope="module")
def margin() -> Figure:
    figure = theme_figure(ANALYSIS, THEMES[0], fit_limits_um(RUN))
    assert figure is not None
    return figure


def test_every_crown_is_drawn_once_and_held_up_ones_hollow(margin: Figure) -> None:
    for measure in THEMES[0].measures:
        assert marks_of(margin, f"points-{measure}-upright") == 4
        assert marks_of(margin, f"points-{measure}-tilted") == 4
        assert marks_of(margin, f"hollow-{measure}-tilted") == 1
    value = next(c.fit for c in RUN.crowns if c.name == HELD_UP).value(*GAP)
    assert f"{HELD_UP} {value:.1f} →" in words_of(margin)


def test_limits_stand_in_the_panel_that_they_are_of(margin: Figure) -> None:
    words = words_of(margin)
    place = words.index("dashed: at most 120 µm")
    assert words[place - 1] == "Largest marginal gap, µm"
    assert sum(word.startswith("dashed") for word in words) == 1


def test_a_limit_far_beyond_all_crowns_is_told_and_not_drawn() -> None:
    seat = theme_figure(ANALYSIS, THEMES[2], fit_limits_um(RUN))
    words = words_of(seat)
    assert "limit, off axis: at most 500 µm" in words
    assert "500" not in words


def test_no_title_is_wider_than_its_figure(margin: Figure) -> None:
    inside = theme_figure(ANALYSIS, THEMES[1], {})
    for figure in (margin, inside):
        assert max(len(word) for word in words_of(figure)) <= 42


def test_limits_are_those_that_the_crowns_were_held_against() -> None:
    assert fit_limits_um(RUN) == {
        ("whole", "above_intended_um"): (500.0, "at most"),
        ("margin", "marginal_gap_most_um"): (120.0, "at most"),
        ("axial", "least_wall_um"): (650.0, "at least"),
        ("occlusal", "least_wall_um"): (1000.0, "at least"),
    }


def _panel(values: list[float], hollow: set[str]) -> Panel:
    crowns = tuple(f"c{k}" for k in range(len(values)))
    strip = group_strip(ANALYSIS, "tilted", crowns, summary(values, 0.95), "marginal_gap_um")
    return Panel("", "marginal_gap_um", (replace(strip, hollow=frozenset(hollow)),))


def test_a_crown_far_off_stretches_the_axis_only_if_it_is_not_held_up() -> None:
    values = [40.0, 45.0, 50.0, 42.0, 44.0, 700.0]
    mean = float(np.mean(values))
    assert _range([_panel(values, set())])[1] > 700.0
    low, high = _range([_panel(values, {"c5"})])
    assert (low, high) == (0.0, pytest.approx(1.06 * mean))
    assert _range([_panel([*values[:5], 55.0], {"c5"})])[1] > 55.0
    assert _range([_panel(values, {f"c{k}" for k in range(6)})])[1] >= mean


def test_the_gap_is_taken_from_the_nearest_place() -> None:
    angle = np.array([0.4, 90.0, 180.0, 359.0])
    gap = np.array([1.0, 2.0, np.nan, 4.0])
    found = gap_at_degrees(MarginGaps(angle, gap, gap, gap))
    assert found[[0, 45, 46, 100, 359]].tolist() == [1.0, 1.0, 2.0, 2.0, 4.0]
    assert np.isnan(found[[136, 180, 269]]).all()
    assert found[270] == 4.0


def test_the_curves_are_means_and_ends_of_the_crowns_that_rest() -> None:
    curves = margin_curves(RUN, ANALYSIS)
    group = curves.groups[1]
    fits = {crown.name: crown.fit for crown in RUN.crowns_of("tilted")}
    stack = np.array([fit.margin.gap_um for name, fit in fits.items() if name != HELD_UP])
    measured = np.isfinite(stack).all(axis=0)
    assert measured.sum() == 354
    np.testing.assert_allclose(group.mean_um[measured], stack.mean(axis=0)[measured])
    np.testing.assert_allclose(group.least_um[measured], stack.min(axis=0)[measured])
    np.testing.assert_allclose(group.most_um[measured], stack.max(axis=0)[measured])
    assert np.isnan(group.mean_um[~measured]).all()
    assert group.n == 4
    assert list(group.held_up) == [HELD_UP]
    np.testing.assert_array_equal(group.held_up[HELD_UP], fits[HELD_UP].margin.gap_um)


def test_the_drawing_names_directions_limit_and_who_is_held_up() -> None:
    figure = marginal_gap_figure(margin_curves(RUN, ANALYSIS))
    words = words_of(figure)
    assert [w for w in words if w in {"mesial", "90°", "distal", "270°"}] == [
        *("mesial", "90°", "distal", "270°", "mesial")
    ]
    assert "from mesial, counter-clockwise seen from occlusal" in words
    assert words.count("dotted: limit 120 µm") == 2
    assert any(word.startswith(f"dashed, held up: {HELD_UP}, ") for word in words)
    assert f"{HELD_UP} is held up" in figure.alt
    assert figure.svg.count(f'id="held-up-{HELD_UP}"') == 1


def test_angles_without_a_known_start_are_degrees() -> None:
    elsewhere = with_fit(RUN, in_design_frame=False)
    curves = margin_curves(elsewhere, ANALYSIS)
    assert curves.directions is None
    one = replace(curves, groups=curves.groups[:1], limit_um=float("nan"))
    words = words_of(marginal_gap_figure(one))
    assert [word for word in words if word.endswith("°")] == [f"{90 * k}°" for k in range(5)]
    assert not [word for word in words if "limit" in word]


def test_differences_in_fit_stand_against_their_margins() -> None:
    figure = fit_equivalence_figure(ANALYSIS)
    words = words_of(figure)
    assert "Tilted minus Upright" in words
    assert "mean marginal gap" in words
    (row,) = (r for r in ANALYSIS.findings.fit.comparisons if (r.area, r.measure) == GAP)
    assert f"{row.difference:+.1f} µm" in figure.alt
    assert not [word for word in words if "discrepancy" in word]  # no margin is set
    assert fit_equivalence_figure(replace(ANALYSIS, findings=WITHOUT)) is None


def test_scores_stand_beside_the_number_of_fit() -> None:
    figure = scores_figure(ANALYSIS, "gap", *GAP)
    assert figure.title == "Score “gap” beside the mean marginal gap"
    assert "mean marginal gap, µm" in words_of(figure)


def test_figures_of_fit_are_among_the_studys() -> None:
    bare = replace(ANALYSIS, areas=(), measures=(), parts=(), examiners=None)
    drawn_by = [job.func for job in _jobs(bare, RUN)]
    always = [*[theme_figure] * len(THEMES), fit_equivalence_figure]
    assert drawn_by == [*always, marginal_gap_figure, normal_figure]
    assert [job.func for job in _jobs(bare, None)] == [*always, normal_figure]
    assert [job.func for job in _jobs(replace(bare, fit=None), RUN)] == [normal_figure]


@pytest.mark.slow
def test_figures_of_fit_are_drawn_with_the_studys() -> None:
    bare = replace(ANALYSIS, areas=(), measures=(), parts=(), examiners=None)
    names = [figure.name for figure in study_figures(bare, run=RUN)]
    assert names == [
        *(f"fit_{theme.name}" for theme in THEMES),
        "equivalence_fit",
        "marginal_gap",
        "normality",
    ]
