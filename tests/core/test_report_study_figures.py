"""A study's figures as a journal prints them: sizes, letters, fonts, nothing covered, true counts.

Widths and sizes of letters are those that journals commonly ask for: common practice, no source.
"""

from __future__ import annotations

import io
import math
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import MarginLine
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.report.drawing.label_places import (
    covered_boxes,
    names_in,
    overlap_area,
    point_boxes,
    text_box,
)
from cuspwise.standalone_core.report.drawing.matplotlib_figure import (
    DOUBLE_MM,
    SINGLE_MM,
    Figure,
    draw_figure,
)
from cuspwise.standalone_core.report.study.causes_figure import causes_figure
from cuspwise.standalone_core.report.study.differences import equivalence_figure
from cuspwise.standalone_core.report.study.figures import _jobs
from cuspwise.standalone_core.report.study.normal_figure import normal_figure
from cuspwise.standalone_core.report.study.power_figure import power_figure
from cuspwise.standalone_core.report.study.scores_figures import score_counts_figure, scores_figure
from cuspwise.standalone_core.report.study.strips import (
    Panel,
    _apart,
    group_strip,
    strip_figure,
    trueness_figure,
)
from cuspwise.standalone_core.study.aim import Aim, Spread
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.descriptions import summary
from cuspwise.standalone_core.study.crowns_needed import plan_sizes
from made.printed_figures import PT_PER_MM, check_words, kept_drawings, long_names
from made.study_examples import make_analysis, make_run, make_scores
from made.study_fits import fitted_study
from made.study_runs import study as make_study
from PIL import Image

RUN = make_run()
ANALYSIS = make_analysis(RUN)
FITTED, FITTED_ANALYSIS = fitted_study()


@pytest.fixture
def drawings(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """What a test draws, laid out and not written."""
    return kept_drawings(monkeypatch)


def with_margins() -> Any:
    areas = replace(RUN.area_set, margin_line=MarginLine(demo_crown(0.45).margin_line_mm))
    from cuspwise.standalone_core.deviation.margin_places import margin_places

    angle = margin_places(areas.margin_line, areas, 0.1).angle_deg
    crowns = tuple(
        replace(c, margin_um=20.0 * np.sin(np.radians(angle)) + k) for k, c in enumerate(RUN.crowns)
    )
    return replace(RUN, area_set=areas, crowns=crowns)


def all_figures(run: Any, analysis: Any) -> None:
    for job in _jobs(analysis, run):
        job()


@pytest.mark.parametrize("rename", [lambda one: one, long_names], ids=["short", "long"])
@pytest.mark.parametrize("which", ["form", "fit"])
def test_no_words_cover_points_or_each_other(
    drawings: list[Any], which: str, rename: Callable[[Any], Any]
) -> None:
    run, analysis = (with_margins(), ANALYSIS) if which == "form" else (FITTED, FITTED_ANALYSIS)
    if which == "fit":
        analysis = replace(analysis, areas=(), parts=(), measures=())
    all_figures(run, rename(analysis))
    assert len(drawings) >= 8
    for drawing in drawings:
        check_words(drawing)


def test_words_that_do_cover_are_found() -> None:
    from matplotlib.figure import Figure as Drawing

    drawing = Drawing(figsize=(3, 2), dpi=600)
    axes = drawing.subplots()
    axes.tick_params(labelbottom=False, labelleft=False)
    axes.scatter([0.5], [0.5])
    axes.set(xlim=(0, 1), ylim=(0, 1))
    label = axes.text(0.1, 0.9, "apart", fontsize=7)
    check_words(drawing)
    label.set_position((0.48, 0.48))
    with pytest.raises(AssertionError, match="words on a point"):
        check_words(drawing)
    label.set_position((0.1, 0.9))
    other = axes.text(0.12, 0.9, "beside", fontsize=7)
    with pytest.raises(AssertionError, match="words on words"):
        check_words(drawing)
    other.set_position((0.99, 0.2))
    other.set_text("runs over the edge")
    with pytest.raises(AssertionError, match="cut off"):
        check_words(drawing)


def test_names_of_odd_crowns_in_a_tight_group_find_free_places(drawings: list[Any]) -> None:
    """Seven crowns within 1 µm, three of them odd, beside one at 40 µm."""
    values = [5.0, 5.1, 5.2, 5.3, 5.35, 5.5, 5.9, 40.0]
    crowns = tuple(f"c{k}" for k in range(len(values)))
    strip = group_strip(ANALYSIS, "tilted", crowns, summary(values, 0.95), "rms_um")
    strip = replace(strip, odd=frozenset({"c1", "c3", "c4", "c7"}))
    strip_figure("tight", "Tight", [Panel("RMS, µm", "rms_um", (strip, strip))])
    (drawing,) = drawings
    check_words(drawing)
    (axes,) = drawing.axes
    assert sorted(one.get_text() for one in names_in(axes)) == sorted(["c1", "c3", "c4", "c7"] * 2)
    taken = np.array(list(covered_boxes(axes)))
    for label in names_in(axes):
        assert overlap_area(text_box(label), taken).sum() <= 1.0, label.get_text()


def test_the_box_shows_in_a_tight_group(drawings: list[Any]) -> None:
    """Neither it nor its median is behind a point, whatever the points are."""
    strip = group_strip(
        ANALYSIS, "tilted", ("a", "b", "c", "d"), summary([1.0, 1.0, 1.01, 1.02], 0.95), "rms_um"
    )
    strip_figure("box", "Box", [Panel("RMS, µm", "rms_um", (replace(strip, odd=frozenset()),) * 3)])
    (drawing,) = drawings
    drawing.draw_without_rendering()
    (axes,) = drawing.axes
    points = np.array([np.array(b) for b in point_boxes(axes)])
    assert len(axes.patches) == 3
    for patch in axes.patches:
        box = np.asarray(patch.get_window_extent().extents)
        assert overlap_area(box, points).sum() == 0.0
        assert box[3] - box[1] > 4.0 * drawing.dpi / 72  # pt


def test_crowns_are_moved_apart_only_where_they_would_touch() -> None:
    far = np.array([0.0, 50.0, 100.0])
    assert _apart(far, (0.0, 100.0)).tolist() == [0.0, 0.0, 0.0]
    near = _apart(np.array([10.0, 10.5, 11.0]), (0.0, 100.0))
    assert len(set(near.tolist())) == 3


def _files(figure: Figure) -> tuple[ET.Element, bytes, Image.Image]:
    return ET.fromstring(figure.svg), figure.pdf, Image.open(io.BytesIO(figure.png))


@pytest.mark.parametrize("width_mm", [SINGLE_MM, DOUBLE_MM])
def test_files_have_a_columns_width_in_mm(width_mm: float) -> None:
    figure = draw_figure(
        "size", "Size", "Nothing", 1.5, lambda drawing: drawing.subplots(), width_mm=width_mm
    )
    svg, pdf, png = _files(figure)
    width, height = (float(svg.get(name).removesuffix("pt")) for name in ("width", "height"))
    assert width / PT_PER_MM == pytest.approx(width_mm, abs=0.01)
    assert height == pytest.approx(108.0, abs=0.01)
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", pdf)
    assert box is not None
    assert float(box[1]) / PT_PER_MM == pytest.approx(width_mm, abs=0.01)
    assert png.info["dpi"] == pytest.approx((600, 600), abs=0.1)
    assert png.width / png.info["dpi"][0] * 25.4 == pytest.approx(width_mm, abs=0.1)
    assert (SINGLE_MM, DOUBLE_MM) == (85.0, 175.0)


@pytest.fixture(scope="module")
def margin() -> Figure:
    figure = trueness_figure(ANALYSIS, "margin")
    assert figure is not None
    return figure


def test_a_studys_figure_is_one_column_wide(margin: Figure) -> None:
    svg, _, png = _files(margin)
    assert float(svg.get("width").removesuffix("pt")) / PT_PER_MM == pytest.approx(85.0, abs=0.01)
    assert png.width == math.floor(85.0 / 25.4 * 600)


def test_the_pdf_holds_its_fonts_as_type_42(margin: Figure) -> None:
    """TrueType programs (FontFile2), one for each description of a font; no Type 3."""
    pdf = margin.pdf
    assert pdf.startswith(b"%PDF")
    assert b"/Type3" not in pdf
    described = len(re.findall(rb"/Type /FontDescriptor", pdf))
    assert described >= 2  # plain and bold
    assert len(re.findall(rb"/FontFile2 \d+ 0 R", pdf)) == described
    assert set(re.findall(rb"/BaseFont /(?:[A-Z]{6}\+)?([\w-]+)", pdf)) == {
        *(b"DejaVuSans", b"DejaVuSans-Bold")
    }
    assert b"CreationDate" not in pdf


def test_the_svg_needs_no_font_and_the_page_has_text(margin: Figure) -> None:
    outlined, text = (
        [e for e in ET.fromstring(svg).iter() if e.tag.endswith("}text")]
        for svg in (margin.svg, margin.page_svg)
    )
    assert not outlined
    assert "font-family" not in margin.svg
    assert "Mean absolute deviation, µm" in ["".join(e.itertext()).strip() for e in text]
    assert "<text" in margin.inline


def test_the_numbers_of_scores_are_those_of_the_crowns(drawings: list[Any]) -> None:
    """Counted anew from the examiners' rows: the median of each crown, between two the worse."""
    scores = make_scores(RUN)
    for item in ("gap", "contact"):
        given: dict[tuple[str, str], list[int]] = {}
        for row in scores.rows:
            if row.values[item] is not None:
                given.setdefault((row.group, row.crown), []).append(row.values[item])
        counts = Counter((g, math.ceil(np.median(v))) for (g, _), v in given.items())
        drawings.clear()
        figure = score_counts_figure(ANALYSIS, item, ("none", "some", "much"))
        assert figure is not None
        (drawing,) = drawings
        (axes,) = drawing.axes
        bars = {p.get_gid(): p.get_width() for p in axes.patches}
        for group in ANALYSIS.groups:
            for score in range(3):
                assert bars[f"count-{group}-{score}"] == counts[group, score]
        told = sorted(text.get_text() for text in axes.texts)
        assert told == sorted(str(counts[g, s]) for g in ANALYSIS.groups for s in range(3))
        assert [label.get_text() for label in axes.get_yticklabels()] == [
            *("0 none", "1 some", "2 much")
        ]
        assert sum(counts.values()) == sum(bars.values()) == 15


def test_a_crown_stands_exactly_at_its_score(drawings: list[Any]) -> None:
    crown = ANALYSIS.examiners.crowns[0]
    place = (crown.item, crown.area, crown.measure)
    own = [c for c in ANALYSIS.examiners.crowns if (c.item, c.area, c.measure) == place]
    scores_figure(ANALYSIS, *place)
    (drawing,) = drawings
    shown = np.vstack([axes.collections[0].get_offsets() for axes in drawing.axes])
    expected = np.array([[c.measured, c.median] for c in own])
    np.testing.assert_allclose(shown[np.lexsort(shown.T)], expected[np.lexsort(expected.T)])
    ends = {tuple(axes.get_xlim()) for axes in drawing.axes}
    assert len(ends) == 1


def test_normal_quantiles_of_every_group_are_drawn(drawings: list[Any]) -> None:
    """scipy.stats.probplot, whose quantiles are Filliben's."""
    from scipy import stats

    figure = normal_figure(ANALYSIS)
    assert figure is not None
    (drawing,) = drawings
    plan = ANALYSIS.settings
    place = (plan.primary_area, plan.primary_measure)
    panels = [axes for axes in drawing.axes if axes.get_visible()]
    assert len(panels) == len(ANALYSIS.groups)
    for axes, group in zip(panels, ANALYSIS.groups, strict=True):
        values = [getattr(c.measures_of(place[0]), place[1]) for c in RUN.crowns_of(group)]
        (points,) = (c for c in axes.collections if c.get_gid() == f"normal-{group}")
        theory, ordered = stats.probplot(values, fit=False)
        np.testing.assert_allclose(points.get_offsets(), np.column_stack([theory, ordered]))


def test_ticks_are_never_equal_nor_told_by_an_offset(drawings: list[Any]) -> None:
    values = [0.11, 0.12, 0.13, 0.14]
    strip = group_strip(
        ANALYSIS, "tilted", ("a", "b", "c", "d"), summary(values, 0.95), "least_wall_um"
    )
    far = replace(strip, summary=summary([5291.2, 5291.3, 5291.4, 5291.5], 0.95))
    figure = strip_figure(
        "ticks",
        "Ticks",
        [Panel("Small, µm", "least_wall_um", (strip,)), Panel("Far, µm", "least_wall_um", (far,))],
        one_scale=False,
    )
    (drawing,) = drawings
    drawing.draw_without_rendering()
    for axes in drawing.axes:
        told = [label.get_text() for label in axes.get_xticklabels()]
        assert len(set(told)) == len(told) >= 3
        assert axes.xaxis.get_offset_text().get_text() == ""
    assert "mean 0.12, 4 crowns from 0.11 to 0.14" in figure.alt


def test_power_and_differences_fit_their_column(drawings: list[Any]) -> None:
    spreads = [Spread("milled from a block", 3.0, 8), Spread("printed upright", 4.0, 8)]
    power_figure(plan_sizes(spreads, Aim(difference_um=5.0)), Aim(difference_um=5.0))
    equivalence_figure(long_names(ANALYSIS), "mean_abs_um")
    assert causes_figure(replace(ANALYSIS, causes=None)) is None
    assert len(drawings) == 2
    for drawing in drawings:
        check_words(drawing)


@pytest.mark.slow
def test_six_groups_of_twenty_crowns_with_long_names_can_be_read(drawings: list[Any]) -> None:
    rng = np.random.default_rng(1)
    run = make_study(
        {
            f"group with a rather long name {k}": {
                "whole": list(10 + k + rng.gamma(1, 1 + 0.2 * k, 20)),
                "margin": list(0.2 + 0.02 * rng.random(20)),
            }
            for k in range(6)
        }
    )
    analysis = analyse_study(run)
    assert any(crown.odd for crown in analysis.odd_crowns)
    all_figures(run, analysis)
    assert len(drawings) == 7
    for drawing in drawings:
        check_words(drawing)
