"""What the add-on decides of a fit without Blender: kept places, words, legend, polar plot."""

from __future__ import annotations

import ast
import json
import math
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace

import cuspwise
import numpy as np
import pytest
from cuspwise.addon.blender.in_blender import IN_BLENDER, in_blender
from cuspwise.addon.drawing.legend_layout import lay_out
from cuspwise.addon.fit import fit_lines, kept_margin, scale_legend
from cuspwise.addon.fit.fit_settings import choices_of, fit_settings
from cuspwise.addon.fit.polar_parts import PolarParts, lay_out_polar, polylines
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.fit.gap.result import GapMap
from cuspwise.standalone_core.fit.result import NO_FINISH_LINE
from cuspwise.standalone_core.fit.settings import FitSettings
from cuspwise.standalone_core.report.fit.colours import BEYOND_HEX, gap_coloured
from cuspwise.standalone_core.report.fit.document import fit_document
from cuspwise.standalone_core.report.fit.polar_picture import polar_svg
from cuspwise.standalone_core.report.fit.polar_plot import MIDDLE, RADIUS, polar_plot
from cuspwise.standalone_core.setting import taken_with
from made.fit_results import held_up, made_fit, made_margin, scanned_seated, without_finish_line

CORE = Path(cuspwise.__file__).parent / "standalone_core"


def width_of(text: str, size: float) -> float:
    return 0.6 * size * len(text)  # as wide as letters are


# Kept ----------------------------------------------------------------------------------------


def test_a_margin_comes_back_as_it_was() -> None:
    """All its numbers to seven digits, what was not measured as such."""
    margin = made_margin()
    again = kept_margin.margin_of(kept_margin.text_of(margin))
    assert again is not None
    for field in fields(margin):
        there, here = getattr(margin, field.name), getattr(again, field.name)
        if isinstance(there, np.ndarray):
            assert here.dtype == there.dtype
            assert np.allclose(here, there, rtol=1e-6, atol=1e-12, equal_nan=True), field.name
    assert repr(again.sectors[3]) == repr(replace(again.sectors[3], name=margin.sectors[3].name))
    assert [row.name for row in again.sectors] == [row.name for row in margin.sectors]
    assert math.isnan(again.harmonics[0].angle_deg)
    assert again.directions.words(90.0) == margin.directions.words(90.0) == "buccal"
    assert again.settings == margin.settings
    assert polar_plot(again).labels == polar_plot(margin).labels
    assert kept_margin.margin_of(kept_margin.text_of(None)) is None


# Words ---------------------------------------------------------------------------------------


def test_the_panel_says_what_the_report_says() -> None:
    said = fit_lines.of_result(made_fit())
    json.dumps(said, allow_nan=False)
    answer = " ".join(said["answer"])
    assert "its intended seat" in answer
    assert "Marginal gap:" in answer
    assert "Gap inside:" in answer
    assert "thinnest" not in answer  # walls have rows of their own
    assert any(line.startswith("Absolute marginal discrepancy") for line in said["margin_lines"])
    assert any(line.startswith("Play: up to") for line in said["seat_lines"])
    assert said["missing_lines"] == []
    shares = [line.partition(" % ·")[0] for line in said["spots"]]
    assert [float(share) for share in shares] == sorted(map(float, shares), reverse=True)


def test_a_crown_that_cannot_go_on_says_what_holds_it() -> None:
    answer = " ".join(fit_lines.of_result(held_up())["answer"])
    assert "What holds it:" in answer
    assert "Taking off up to" in answer
    assert "those of the crown where it is held up" in answer


def test_the_seated_scan_is_told_of() -> None:
    assert "scan of the seated crown" in " ".join(fit_lines.of_result(scanned_seated())["answer"])


def test_a_margin_that_was_not_measured_says_what_to_press() -> None:
    result = replace(without_finish_line(), missing={"margin": NO_FINISH_LINE})
    (line,) = fit_lines.of_result(result)["missing_lines"]
    assert line.startswith("Margin: ")
    assert "file" not in line
    assert "draw the finish line" in line.lower()


def test_rows_are_those_of_the_document() -> None:
    result = made_fit()
    kept = {"fit": fit_document(result)}
    assert result.gap is not None
    rows = dict(fit_lines.gap_rows(kept))
    whole = result.gap.areas[0]
    assert f"mean {whole.mean_um:.1f} µm" in rows["Whole intaglio"][0]
    assert f"P50 {whole.p50_um:.1f}" in rows["Whole intaglio"][1]
    assert len(rows) == len(result.gap.areas)
    sectors = fit_lines.sector_rows(kept)
    assert [row[0] for row in sectors][:2] == ["mesial", "mesiobuccal"]
    assert all(len(row) == 4 for row in sectors)
    walls = fit_lines.wall_rows(kept)
    assert [verdict for verdict, _words in walls] == [
        row["verdict"] for row in kept["fit"]["judged"] if row["part"] == "walls"
    ]
    assert fit_lines.sector_rows({"fit": {"margin": None}}) == []
    assert fit_lines.gap_rows({"fit": {"gap_um": None}}) == []


def texts_of(path: Path) -> str:
    """All texts of a module, those that are written in pieces put together."""
    parts = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            parts.append(node.value)
    return "\n".join(parts)


def test_what_is_said_otherwise_in_blender_is_what_the_core_says() -> None:
    """Every sentence that is replaced is one of the core's; none of the new ones names a file."""
    said = "\n".join(texts_of(path) for path in CORE.rglob("*.py"))
    # What the core puts together, of the names that Blender's words are about.
    for pieces, whole in (
        ("Give at least ", "Give at least 8"),
        (" is not among \n.", " is not among measures."),
        (", or add \n to \n.", ", or add \n to measures."),
        (" takes it as it is.", taken_with("force = true above the first table")),
        (
            "the path of a file, from this file's folder",
            "Give the path of a file, from this file's folder.",
        ),
    ):
        assert pieces in said
        said = said.replace(pieces, whole)
    for core, own in IN_BLENDER.items():
        assert core in said or core.startswith("Give at least 8"), core
        assert "file" not in own
        assert "option" not in own
    assert in_blender("Check the units of both files.") == "Check the scale of both objects."


# Choices -------------------------------------------------------------------------------------


def scene(**changes: object) -> SimpleNamespace:
    """A scene's choices as Blender hands them over, in single precision."""
    chosen = {
        "crown": "SCAN",
        "lies_on_die": True,
        "contact": "auto",
        "mesial": "NONE",
        "buccal": "NONE",
        "marginal_limit_um": 120.0,
        "cement_space_um": 0.0,
        "margin_space_um": 0.0,
        **changes,
    }
    return SimpleNamespace(spacing_mm=float(np.float32(0.1)), fit=SimpleNamespace(**chosen))


def test_choices_left_alone_are_the_cores() -> None:
    assert fit_settings(choices_of(scene())) == FitSettings()


def test_choices_become_settings() -> None:
    made = fit_settings(choices_of(scene(mesial="NEG_X", cement_space_um=60.0, contact="hard")))
    assert made.areas.mesial_direction == (-1.0, 0.0, 0.0)
    assert made.areas.buccal_direction is None
    assert made.gap.cement_space_um == 60.0
    assert made.gap.margin_space_um is None
    assert made.seat.contact == "hard"


def test_a_limit_in_millimetres_is_asked_about() -> None:
    choices = choices_of(scene(marginal_limit_um=0.12))
    with pytest.raises(SettingError, match="Did you mean 120"):
        fit_settings(choices)
    assert fit_settings(choices, force=True).gap.marginal_limit_um == 0.12


# Legend --------------------------------------------------------------------------------------


def test_the_legend_is_the_reports_scale() -> None:
    scale = gap_coloured(GapMap(np.array([10.0, 60.0, np.nan]), ()), 80.0).scale
    legend = scale_legend.legend_of(scale, 80.0)
    assert (legend.ticks[0].text, legend.ticks[0].position) == ("0", 0.0)
    for tick in legend.ticks:
        assert float(tick.text) == pytest.approx(80.0 * tick.position, abs=0.05)
    assert len({stop.colour for stop in legend.stops}) > 30
    swatches = scale_legend.swatches_of(scale)
    assert swatches == ((BEYOND_HEX, "overlap"),)
    made = lay_out(
        legend,
        left=0.0,
        bottom=0.0,
        height=700.0,
        scale=1.0,
        width_of=width_of,
        heads=("Gap inside, µm",),
        swatches=swatches,
    )
    words = [line.text for line in made.words]
    assert {"overlap", "not measured", "Gap inside, µm"} <= set(words)
    colours = {box.colour for box in made.boxes}
    assert {BEYOND_HEX, legend.unmeasured_colour} <= colours


# Polar plot ----------------------------------------------------------------------------------


def polar(height: float = 900.0, scale: float = 1.0, above: float = 0.0) -> PolarParts:
    return lay_out_polar(
        polar_plot(made_margin(above)),
        right=1000.0,
        bottom=20.0,
        height=height,
        scale=scale,
        width_of=width_of,
        note="Out of date: seat it again",
    )


@pytest.mark.parametrize("scale", [1.0, 1.5])
def test_everything_lies_on_the_ground_and_in_the_view(scale: float) -> None:
    parts = polar(scale=scale)
    ground = parts.boxes[0]
    assert ground.left >= 0.0
    assert ground.right <= 1000.0
    assert ground.bottom >= 20.0
    assert ground.top <= 920.0
    points = np.concatenate([line.pieces.reshape(-1, 2) for line in parts.lines])
    assert points[:, 0].min() > ground.left
    assert points[:, 0].max() < ground.right
    assert points[:, 1].min() > ground.bottom
    assert points[:, 1].max() < ground.top
    for line in parts.words:
        assert line.left > ground.left
        assert line.left + width_of(line.text, line.size) < ground.right
        assert ground.bottom < line.baseline < ground.top


def test_a_small_view_has_no_plot() -> None:
    assert polar(height=300.0).boxes == ()


def test_the_plot_says_what_its_lines_are() -> None:
    words = [line.text for line in polar(above=60.0).words]
    for text in ("marginal gap", "mean gap of an eighth", "beyond the limit", "not measured"):
        assert text in words
    for text in ("mesial", "buccal", "distal", "lingual", "Out of date: seat it again"):
        assert text in words
    assert "beyond the limit" not in [line.text for line in polar().words]
    assert len(polar().fills) == 1


def test_the_distance_from_the_middle_is_the_gap() -> None:
    """In the drawing's own units, to the tenth that its paths are written with."""
    margin = made_margin()
    plot = polar_plot(margin)
    middle = np.array(MIDDLE)
    most = margin.settings.marginal_limit_um * RADIUS / plot.limit.radius  # of the outermost ring
    (line,) = polylines(plot.gap, middle)
    away = np.linalg.norm(line - middle, axis=1) * most / RADIUS
    turn = np.degrees(np.arctan2(-(line - middle)[:, 1], (line - middle)[:, 0])) % 360.0
    expected = np.interp(turn, margin.angle_deg, margin.gap_um, period=360.0)
    known = np.isfinite(expected)
    assert known.sum() > 300
    assert np.abs(away - expected)[known].max() < 0.3


def test_arcs_are_about_the_middle_the_way_they_are_written() -> None:
    middle = np.array([10.0, 20.0])
    (quarter,) = polylines("M15 20A5 5 0 0 0 10 15", middle)  # y points down: to the left
    assert np.allclose(np.linalg.norm(quarter - middle, axis=1), 5.0)
    assert quarter[:, 0].min() > 9.99
    assert quarter[:, 1].max() < 20.01
    (rest,) = polylines("M15 20A5 5 0 1 1 10 15", middle)
    assert len(rest) > 2.5 * len(quarter)
    (wedge,) = polylines("M10 20L15 20A5 5 0 0 0 10 15Z", middle)
    assert np.array_equal(wedge[0], wedge[-1])


def test_the_drawing_in_a_file_is_whole() -> None:
    from xml.etree import ElementTree

    text = polar_svg(made_margin(60.0), "Crown <1> & 2")
    root = ElementTree.fromstring(text)
    said = "".join(root.itertext())
    assert "Marginal gap of Crown <1> & 2" in said
    for words in ("mesial", "limit 120 µm", "beyond the limit", "not measured"):
        assert words in said
    assert "var(" not in text  # not every reader of drawings knows them
