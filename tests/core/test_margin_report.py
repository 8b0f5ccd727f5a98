"""What files, terminal and page say of a margin profile whose numbers are known."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.deviation.margin_profile import MarginProfile
from cuspwise.standalone_core.report.check.document import check_document
from cuspwise.standalone_core.report.check.margin_plot import LEFT, RIGHT, margin_plot
from cuspwise.standalone_core.report.check.margin_words import margin_details, margin_line
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.tables import margin_profile_csv
from cuspwise.standalone_core.report.check.terminal import check_view
from made.check_results import Reader, make_result
from made.margin_collars import collar, mitred, profile_of, rim_areas
from rich.console import Console

BOTH = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0))


@lru_cache(maxsize=1)
def profile() -> MarginProfile:
    """Walls 12 + 10 cos(θ − 135°) µm out, no edge seen between 250° and 260°: beyond 12.1 mm."""

    def delta(theta: np.ndarray) -> np.ndarray:
        return 0.012 + 0.01 * np.cos(theta - np.radians(135.0))

    scan = collar(change=mitred(delta))
    middle = scan.triangles.mean(axis=1)
    angle = np.degrees(np.arctan2(middle[:, 1], middle[:, 0])) % 360.0
    gone = (middle[:, 2] < 0.1) & (angle > 250.0) & (angle < 260.0)
    return profile_of(rim_areas(settings=BOTH), scan.kept(~gone))


def result_with(found: MarginProfile | None) -> CheckResult:
    return replace(make_result(), margin_profile=found)


def shown(result: CheckResult) -> str:
    console = Console(width=200, file=io.StringIO())
    console.print(check_view(result))
    return console.file.getvalue()


def test_line_tells_length_longest_run_and_place() -> None:
    """Beyond 15 µm where cos > 0.3: 145.1° of 30 mm are 12.1 mm, about distobuccal."""
    line = margin_line(profile().summary)
    beyond = profile().summary.beyond_mm
    assert beyond == pytest.approx(30.0 * np.arccos(0.3) / np.pi, abs=0.25)
    run = f"{beyond:.1f} of 30.0 mm, longest {beyond:.1f} mm, distobuccal"
    assert line.startswith(f"Margin: beyond ±15 µm on {run}; ")
    unseen = profile().summary.length_mm * (1.0 - profile().summary.counted_share)
    assert 0.8 < unseen < 1.1
    assert line.endswith(f"; {unseen:.1f} mm of it did not count.")
    assert line in shown(result_with(profile()))
    assert "distobuccal" in margin_details(profile().summary)[0]


def test_line_of_a_margin_within_and_of_one_that_was_not_seen() -> None:
    found = profile()
    summary = replace(found.summary, beyond_mm=0.0, longest_mm=0.0, counted_share=1.0)
    assert margin_line(summary) == "Margin: nowhere beyond ±15 µm on 30.0 mm."
    assert (
        margin_line(replace(summary, tolerance_um=np.nan))
        == "Margin: nowhere beyond its limits on 30.0 mm."
    )
    assert "nothing is known" in margin_line(replace(summary, counted_share=0.0))


def test_details_tell_what_is_short_and_what_is_flash() -> None:
    found = profile()
    summary = replace(found.summary, short_mm=7.5, flash_mm=8.0)
    told = margin_details(summary)
    assert "The edge is short by more than 100 µm on 7.5 mm." in told
    assert "Flash of more than 100 µm on 8.0 mm." in told
    assert not any("too long" in line for line in told)


def test_csv_has_a_row_for_each_place() -> None:
    found = profile()
    rows = list(csv.DictReader(io.StringIO(margin_profile_csv(found))))
    assert list(rows[0]) == [
        "place_mm",
        "angle_deg",
        "x_mm",
        "y_mm",
        "z_mm",
        "deviation_um",
        "vertical_um",
        "horizontal_um",
        "flash_um",
        "counted",
    ]
    assert len(rows) == len(found) == 300
    for k in (0, 110, 212, 299):
        assert float(rows[k]["place_mm"]) == found.place_mm[k]
        assert float(rows[k]["deviation_um"]) == found.deviation_um[k]
    assert rows[212]["vertical_um"] == rows[212]["horizontal_um"] == ""  # at 254.4°
    assert (rows[212]["counted"], rows[110]["counted"]) == ("FALSE", "TRUE")


def test_document_has_the_summary_or_the_reason() -> None:
    document = check_document(result_with(profile()))["margin_profile"]
    json.dumps(document, allow_nan=False)
    assert document["reason"] == ""
    assert document["places"] == 300
    assert document["angle_from"] == "mesial"
    assert document["longest_words"] == "distobuccal"
    assert document["settings"]["reach_mm"] == 0.25
    nothing = check_document(result_with(None))["margin_profile"]
    assert nothing == {"reason": "There is no margin line."}


def test_files_come_and_go_with_the_margin_line(tmp_path) -> None:
    write_check(result_with(profile()), tmp_path, pictures="no")
    assert (tmp_path / "margin_profile.csv").is_file()
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    reader = Reader(page)
    assert not reader.opened
    assert margin_line(profile().summary) in reader.text
    assert "did not count" in reader.text
    write_check(result_with(None), tmp_path, pictures="no")
    assert not (tmp_path / "margin_profile.csv").exists()
    assert "There is no margin line." in Reader((tmp_path / "check.html").read_text("utf-8")).text


def test_plot_draws_places_where_they_are() -> None:
    """Columns as high as the deviation, gaps and what is beyond at their stretch of the line."""
    plot, found = margin_plot(profile()), profile()
    deviation, edge = plot.panels
    step = (RIGHT - LEFT) / 300
    assert len(deviation.bars) == found.counted.sum()
    highest = max(deviation.bars, key=lambda bar: bar.height)
    assert abs(highest.x - LEFT - 112.5 * step) < 12 * step  # at 135°
    assert deviation.band is not None
    per_um = (deviation.band[1] - deviation.band[0]) / 30.0
    assert highest.height == pytest.approx(per_um * np.nanmax(found.deviation_um), abs=0.05)
    assert highest.y + highest.height == pytest.approx(deviation.zero, abs=0.02)
    ((start, width),) = plot.gaps
    assert width == pytest.approx((~found.counted).sum() * step, abs=0.02)
    assert LEFT + 206 * step < start < LEFT + 210 * step
    ((start, width),) = plot.beyond
    assert width == pytest.approx(found.beyond.sum() * step, abs=0.02)
    assert [place.text for place in plot.places][:4] == [
        "mesial",
        "mesiobuccal",
        "buccal",
        "distobuccal",
    ]
    assert plot.places[2].x == pytest.approx(LEFT + 75.5 * step, abs=step)
    assert edge.curves[0].path.count("M") == 2  # broken once, where no edge is seen


def test_a_scale_much_wider_than_the_tolerance_leaves_its_words_out() -> None:
    found = profile()
    wide = replace(found, deviation_um=30.0 * found.deviation_um)
    texts = [tick.text for tick in margin_plot(wide).panels[0].ticks]
    assert len(texts) == len(set(texts)) == 3
    assert [tick.text for tick in margin_plot(found).panels[0].ticks].count("+15") == 1


def test_words_stand_where_an_open_line_passes_and_nowhere_else() -> None:
    """The half from 90° to 270°: distal in the middle of it, mesial not at all."""
    whole = profile()
    rows = (whole.angle_deg > 90.0) & (whole.angle_deg < 270.0)
    per_place = ("place_mm", "angle_deg", "points_mm", "deviation_um", "vertical_um", "counted")
    per_place += ("horizontal_um", "flash_um", "edge_seen", "beyond")
    arrays = {name: getattr(whole, name)[rows] for name in per_place}
    half = replace(whole, **arrays, closed=False)
    words = {mark.text: mark.x for mark in margin_plot(half).places}
    assert words.keys() == {"buccal", "distobuccal", "distal", "distolingual", "lingual"}
    assert words["distal"] == pytest.approx(0.5 * (LEFT + RIGHT), abs=5.0)
