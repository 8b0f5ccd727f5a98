"""A fit's files, page and terminal: what is told is what was found, whatever was measured."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.cli.targets import FIT_RESULTS, WALL_RESULTS
from cuspwise.standalone_core.fit import sentences
from cuspwise.standalone_core.fit.judged import fit_headline, judged
from cuspwise.standalone_core.fit.result import FitResult
from cuspwise.standalone_core.report.drawing.amount_colours import amount_colours
from cuspwise.standalone_core.report.fit import output
from cuspwise.standalone_core.report.fit.document import fit_document
from cuspwise.standalone_core.report.fit.output import write_fit, write_walls
from cuspwise.standalone_core.report.fit.tables import fit_csv, marginal_gap_csv
from cuspwise.standalone_core.report.fit.terminal import fit_view, walls_view
from made import fit_results as made
from rich.console import Console


@pytest.fixture(scope="module")
def result() -> FitResult:
    return made.made_fit()


@pytest.fixture(scope="module")
def folder(result: FitResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fit")
    write_fit(result, folder, pictures="no")
    return folder


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def shown(view: object, width: int = 80) -> str:
    console = Console(width=width, file=io.StringIO(), record=True)
    console.print(view)
    return console.export_text()


# Files


def test_all_files_are_written_and_an_earlier_fit_s_go(folder: Path, tmp_path: Path):
    assert {path.name for path in folder.iterdir()} == set(FIT_RESULTS)
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    write_fit(made.made_fit(), tmp_path, pictures="no")
    files = write_fit(made.without_finish_line(), tmp_path, pictures="no")
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {*(file.name for file in files), "notes.txt"}
    gone = {"marginal_gap.csv", "proximal_contacts.csv", "contacts.ply"}
    assert left == {*FIT_RESULTS, "notes.txt"} - gone


@pytest.mark.parametrize("moment", ["_write_page", "_write_surfaces"])
def test_an_interrupt_leaves_the_folder_as_it_was(
    result: FitResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
):
    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(output, moment, interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_fit(result, tmp_path / "deep" / "out", pictures="no")
    assert list(tmp_path.iterdir()) == []


def test_walls_alone_have_files_of_their_own(result: FitResult, tmp_path: Path):
    files = write_walls(result.crown, result.walls, tmp_path)
    assert {file.name for file in files} == set(WALL_RESULTS)
    told = json.loads((tmp_path / "walls.json").read_text(encoding="utf-8"))
    assert told["walls"]["areas"][1]["thin_area_mm2"] == result.walls.areas[1].thin_area_mm2
    page = (tmp_path / "walls.html").read_text(encoding="utf-8")
    assert "The walls are thinner than required" in page


def refuse(word: str) -> None:
    raise AssertionError(f"{word} is no JSON")


def test_the_document_is_strict_json_with_the_promised_names(folder: Path, result: FitResult):
    text = (folder / "fit.json").read_text(encoding="utf-8")
    told = json.loads(text, parse_constant=refuse)
    seat = told["seat"]
    assert np.array_equal(seat["T_die_crown"], result.seat.T_die_crown)
    assert seat["above_intended_um"] == 12.0
    assert seat["stop"] == "rests"
    assert [spot["share"] for spot in seat["contact_spots"]] == [0.5, 0.3, 0.2]
    assert seat["play_um"][0] == {"towards": "mesial", "angle_deg": 0.0, "across": 17.0}
    assert seat["rocking_um"][1]["rise"] == result.seat.play[1].rise_um
    assert {"tilt_deg", "overlap_um", "overlap_share", "along_um"} <= set(seat)
    assert told["gap_um"]["whole"]["p95"] == result.gap.areas[0].p95_um
    assert told["gap_um"]["margin"]["against_space"] is None  # NaN
    margin = told["margin"]
    assert margin["gap_um"]["most"] == result.margin.most_um
    assert margin["absolute_um"]["mean"] == result.margin.absolute_mean_um
    assert margin["beyond_limit"] == 0.0
    assert len(margin["sectors"]) == 8
    assert told["walls"]["within"] is False
    assert told["contacts"]["rows"][0]["change_um"] == 35.0
    assert told["verdict"] == "outside"
    assert told["triple_scan"] is None
    assert {"missing", "warnings", "settings", "versions", "written"} <= set(told)


def test_what_is_missing_is_none_with_its_reason():
    told = fit_document(made.without_finish_line())
    assert told["margin"] is None
    assert told["contacts"] is None
    assert told["missing"]["margin"] == "Not measured: give a finish line."
    assert told["die"]["finish_line"] is None
    assert fit_document(made.scanned_seated())["triple_scan"]["virtual_apart_um"] == 6.5


def test_fit_csv_has_a_row_per_measure_and_its_limit(result: FitResult):
    rows = {(row["part"], row["measure"], row["area"]): row for row in rows_of(fit_csv(result))}
    seat = rows["seat", "above_intended_um", ""]
    assert (seat["value"], seat["unit"], seat["limit"]) == ("12.0", "µm", "500.0")
    assert seat["verdict"] == "within"
    stop = rows["seat", "stop", ""]
    assert (stop["value"], stop["text"], stop["unit"]) == ("", "rests", "")
    assert float(rows["seat", "play_across_um", "mesial"]["value"]) == 17.0
    wall = rows["walls", "least_mm", "occlusal"]
    assert (wall["limit"], wall["verdict"], wall["unit"]) == ("1.0", "outside", "mm")
    assert float(wall["value"]) == result.walls.areas[1].least_mm
    assert rows["margin", "most_um", ""]["limit"] == "120.0"
    assert float(rows["margin", "amplitude_um", "extension, harmonic 1"]["value"]) == 30.0
    volume = float(rows["gap", "volume_mm3", "axial"]["value"])
    assert volume == result.gap.areas[2].volume_mm3
    assert rows["gap", "against_space_um", "margin"]["value"] == ""
    assert rows["contacts", "strength", "proximal distal (38.stl)"]["text"] == "open"


def test_marginal_gap_csv_has_every_place_in_its_sector(result: FitResult):
    rows, margin = rows_of(marginal_gap_csv(result.margin)), result.margin
    assert len(rows) == 360
    for name in ("gap_um", "absolute_um", "extension_um"):
        told = np.array([float(row[name] or "nan") for row in rows])
        assert np.array_equal(told, getattr(margin, name), equal_nan=True)
    edge = np.array([[float(row[f"edge_{axis}_mm"]) for axis in "xyz"] for row in rows])
    assert np.array_equal(edge, margin.edge_mm)
    assert [row["measured"] for row in rows].count("FALSE") == 11
    assert [rows[k]["sector"] for k in (0, 45, 90, 180, 350)] == [
        *("mesial", "mesiobuccal", "buccal", "distal", "mesial")
    ]
    for sector in margin.sectors:
        here = [
            float(row["gap_um"]) for row in rows if row["sector"] == sector.name and row["gap_um"]
        ]
        assert np.mean(here) == pytest.approx(sector.gap_um, abs=0.5)


@pytest.mark.parametrize("name", ["seat_spots.csv", "proximal_contacts.csv", "walls.csv"])
def test_the_other_tables_have_a_row_for_each(folder: Path, result: FitResult, name: str):
    rows = rows_of((folder / name).read_text(encoding="utf-8-sig"))
    counts = {
        "seat_spots.csv": len(result.seat.spots),
        "proximal_contacts.csv": len(result.contacts.rows),
        "walls.csv": len(result.walls.areas) + len(result.walls.thinnest),
    }
    assert len(rows) == counts[name]
    assert None not in rows[0]


def test_coloured_surfaces_lie_where_the_crown_was_measured(folder: Path, result: FitResult):
    """trimesh reads the colours and places back."""
    read = trimesh.load(folder / "gap.ply", process=False)
    there = result.crown.evaluation.points + np.array([0, 0, 0.012])
    assert np.allclose(read.vertices, there, atol=1e-5)
    colours = np.asarray(read.visual.vertex_colors)[:, :3]
    gap = result.gap.gap_um
    assert len(np.unique(colours[gap < 0.0], axis=0)) == 1  # overlap
    assert len(np.unique(colours[np.isnan(gap)], axis=0)) == 1
    inside = gap >= 0.0
    assert np.array_equal(colours[inside], amount_colours(gap[inside], 150.0))


# The verdict


def all_within() -> FitResult:
    walls = made.made_walls()
    areas = tuple(replace(row, within=True, least_mm=2.0) for row in walls.areas)
    return made.made_fit(walls=replace(walls, areas=areas, within=True))


def without_intended_seat() -> FitResult:
    return replace(all_within(), seat=replace(made.made_seat(), above_intended_um=np.nan))


@pytest.mark.parametrize(
    ("case", "verdict", "title"),
    [
        (all_within, "within", "goes down on its die; margin and walls are within their limits"),
        (made.made_fit, "outside", "goes down on its die, but its walls are thinner than required"),
        (made.held_up, "outside", "The crown cannot go on: it rests 730 µm too high"),
        (
            without_intended_seat,
            "within",
            "The crown rests on its die; margin and walls are within their limits",
        ),
        (
            lambda: replace(made.scanned_seated(), seat=None, walls=all_within().walls),
            "within",
            "The crown was scanned on its die; margin and walls are within",
        ),
        (made.without_finish_line, "outside", "than required; its margin was not measured"),
        (
            lambda: replace(all_within(), margin=None),
            "not_decidable",
            "goes down on its die; its margin was not measured",
        ),
        (
            lambda: replace(all_within(), seat=None, margin=None),
            "not_decidable",
            "Whether the crown goes down is not known",
        ),
        (
            lambda: replace(all_within(), margin=made.made_margin(above=50.0)),
            "outside",
            "goes down on its die, but its marginal gap is beyond the limit",
        ),
    ],
)
def test_the_verdict_comes_in_words(case: object, verdict: str, title: str):
    said = fit_headline(case())
    assert said.verdict == verdict
    assert title in said.title


def test_a_seat_that_cannot_be_compared_is_not_judged():
    result = without_intended_seat()
    assert "seat" not in {one.part for one in judged(result)}
    assert any("No intended seat is known" in line for line in sentences.answer_lines(result))


def test_what_holds_a_crown_up_is_told_with_its_relief():
    lines = sentences.answer_lines(made.held_up())
    assert "The crown lies 730.0 µm above its intended seat; it rests on 3 spots." in lines
    (held,) = [line for line in lines if line.startswith("What holds it")]
    assert "under the occlusal surface, mesial (50.0 % of the load)" in held
    (relief,) = [line for line in lines if line.startswith("Taking off up to 90 µm")]
    assert relief.endswith("would let it down; it would then lie 1.4 µm above its intended seat.")
    assert "Gap and margin are those of the crown where it is held up." in lines


# The terminal


@pytest.mark.parametrize("case", [made.made_fit, made.held_up, made.without_finish_line])
def test_the_terminal_tells_the_verdict_first_and_fits_in_80_columns(case: object):
    result = case()
    text = shown(fit_view(result))
    assert max(map(len, text.splitlines())) <= 80
    flat = re.sub(r"\s+", " ", text)
    assert flat[2:].startswith(fit_headline(result).title)
    for line in sentences.answer_lines(result) + sentences.missing_lines(result):
        assert line in flat
    assert "no friction" in flat


def test_the_terminal_tells_walls_alone(result: FitResult):
    text = shown(walls_view(result.walls))
    assert text.startswith("✗ The walls are thinner than required")
    assert f"{result.walls.thinnest[1].thickness_mm:.3f}" in text
