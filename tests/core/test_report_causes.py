"""Causes in all that a check writes and prints: tables, JSON, surfaces, page, terminal."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.causes.document import CAUSE_COLUMNS
from cuspwise.standalone_core.causes.find import no_causes
from cuspwise.standalone_core.causes.words import CAUTION
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.report.check import output as report_files
from cuspwise.standalone_core.report.check.causes_page import (
    BAR_WIDTH,
    LEFT,
    cause_colourings,
    why_part,
)
from cuspwise.standalone_core.report.check.causes_view import causes_view, why_view
from cuspwise.standalone_core.report.check.causes_words import rms_interval, size_words
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.tables import causes_csv
from cuspwise.standalone_core.report.check.terminal import check_view
from cuspwise.standalone_core.report.drawing.deviation_colours import deviation_colours
from cuspwise.standalone_core.report.drawing.legend import make_legend
from cuspwise.standalone_core.report.drawing.pictures import Picture, Pictures
from cuspwise.standalone_core.report.drawing.views import standard_views
from made.check_causes import GROWTH, LAYERS, OVAL, SCALE, make_causes
from made.check_results import Reader, make_result
from rich.console import Console

PAGE = Path(__file__).resolve().parents[2] / "docs" / "causes.md"
HOSTILE = "<script>alert('x')</script>[red]&"

# As asked for: what scripts read. Written out so that a change of the code shows.
ASKED = (
    *("cause", "family", "stated", "probability", "estimate", "unit", "low", "high", "rms_um"),
    *("share_alone", "direction", "sentence"),
)
IN_TABLE = tuple(
    column
    for name in CAUSE_COLUMNS
    for column in ([f"direction_{axis}" for axis in "xyz"] if name == "direction" else [name])
)


@pytest.fixture(scope="module")
def result() -> CheckResult:
    plain = make_result()
    return replace(plain, causes=make_causes(plain, HOSTILE))


@pytest.fixture(scope="module")
def folder(result: CheckResult, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out")
    write_check(result, out, pictures="no")
    return out


@pytest.fixture(scope="module")
def page(folder: Path) -> str:
    return (folder / "check.html").read_text(encoding="utf-8")


def shown(view: object, width: int = 80) -> str:
    console = Console(width=width, file=io.StringIO(), legacy_windows=False)
    console.print(view)
    return console.file.getvalue()


def test_causes_csv_holds_every_cause_stated_or_not(folder: Path) -> None:
    assert CAUSE_COLUMNS[: len(ASKED)] == ASKED
    rows = list(
        csv.DictReader(io.StringIO((folder / "causes.csv").read_text(encoding="utf-8-sig")))
    )
    assert tuple(rows[0]) == IN_TABLE
    scale, growth, layers, oval = rows
    assert (scale["cause"], scale["family"]) == (SCALE.cause, "scale")
    assert scale["stated"] == "TRUE"
    sizes = ("estimate", "low", "high")
    assert [float(scale[k]) for k in (*sizes, "rms_um")] == [4.0, 3.0, 6.0, 8.0]
    assert [float(scale[f"direction_{axis}"]) for axis in "xyz"] == list(SCALE.direction)
    assert (growth["cause"], growth["instead"], growth["direction_x"]) == ("", "scale", "")
    assert float(layers["high"]) == LAYERS.high
    assert [oval[k] for k in ("stated", *sizes)] == ["FALSE", "", "", ""]
    assert oval["sentence"] == OVAL.sentence


def test_the_data_dictionary_explains_every_column() -> None:
    told = PAGE.read_text(encoding="utf-8").split("## The columns of `causes.csv`")[1]
    assert [name for name in CAUSE_COLUMNS if f"`{name}`" not in told] == []


def test_a_sentence_that_begins_like_a_formula_is_quoted() -> None:
    odd = replace(SCALE, sentence="=1+1")
    (row,) = csv.DictReader(io.StringIO(causes_csv([odd])))
    assert row["sentence"] == "'=1+1"


def test_json_holds_causes_correction_and_why(folder: Path) -> None:
    text = (folder / "check.json").read_text(encoding="utf-8")
    document = json.loads(text, parse_constant=pytest.fail)
    assert [set(cause) for cause in document["causes"]] == [set(CAUSE_COLUMNS)] * 4
    assert document["causes"][3]["estimate"] is None
    correction = document["correction"]["along"]
    assert (correction["factor_used"], correction["factor_next"]) == (1.245, 1.24)
    assert (correction["low"], correction["high"]) == (1.2375, 1.2413)
    why = document["why"]
    assert why["remaining"] == {"rms_um": 4.0, "correlation_mm": 2.6, "scanner_ratio": None}
    assert [row["would_meet"] for row in why["predicted"]] == [True, False, False, True]
    assert why["places"][0]["place_mm"] == [1.0, -2.0, 3.0]
    assert why["sentences"][-1] == CAUTION
    assert [(mark["kind"], mark["likelihood"]) for mark in why["marks"]] == [
        ("gouge", 0.31),
        ("stub", 0.97),
    ]
    # The facts stand with all other settings, once.
    assert document["settings"]["production"]["way"] == "unknown"
    assert "production" not in why


def test_without_causes_nothing_is_written_of_them(
    folder: Path, result: CheckResult, tmp_path: Path
) -> None:
    write_check(result, tmp_path, pictures="no")
    written = write_check(replace(result, causes=None), tmp_path, pictures="no")
    assert not (tmp_path / "causes.csv").exists()  # those of the earlier check are gone
    assert "causes.csv" not in {file.name for file in written}
    document = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert [document[name] for name in ("causes", "correction", "why")] == [None] * 3
    text = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert "<h2>Why</h2>" not in text
    assert Reader(text).opened == []


def test_surfaces_hold_what_each_cause_makes_and_what_is_left(
    folder: Path, result: CheckResult
) -> None:
    loaded = trimesh.load(folder / "deviation_design.ply", process=False)
    values = loaded.metadata["_ply_raw"]["vertex"]["data"]
    parts = {**result.causes.fields_mm, LEFT: result.causes.left_mm}
    for name, field in parts.items():
        np.testing.assert_allclose(values[f"{name}_um"], 1e3 * field, rtol=1e-6)
    # Together they are the deviation again.
    total = sum(np.asarray(values[f"{name}_um"], dtype=np.float64) for name in parts)
    np.testing.assert_allclose(total, values["deviation_um"], atol=1e-4)


def test_the_page_tells_why_right_after_the_verdict(page: str, result: CheckResult) -> None:
    reader = Reader(page)
    assert reader.opened == []
    text = " ".join(reader.text.split())
    places = [
        text.index(said) for said in ("Outside tolerance: occlusal", "Why", "Where it is off")
    ]
    assert places == sorted(places)
    why = text[places[1] : places[2]]
    for said in (
        *result.causes.sentences,
        *result.causes.notes,
        "+0.40 % (0.30 to 0.60)",
        "8.0 (6.0 to 12.0)",
        "−6.0 µm (−9.0 to 1.5)",
        "0.1000 mm (0.0999 to 0.1002)",
        "Enlargement along it 1.2450 → 1.2400 (1.2375 to 1.2413), or the scanner's own scale.",
        "Together they explain 60.0 % of the variance. Shares of several causes do not add up.",
        "Looked for and not shown by these data: oval margin.",
        "Filled by up to 94 µm at (1.0, −2.0, 3.0) mm, over 1.25 mm², 0.0500 mm³.",
        "Perhaps a stub, +106 µm at (−4.0, 1.0, 2.0) mm, 0.55 mm in radius: a support mark with a "
        "likelihood of 0.97. It is not counted as one until you mark it.Perhaps a gouge, −48 µm",
        "Predicted, not measured",
        "all stated causes",
        "occlusal 25.012.020 within",
        "margin 16.015.515 outside",
    ):
        assert said in why, said
    assert why.count(CAUTION) == 1
    assert not any(tag in {"script", "img"} for tag, _ in reader.elements)


def test_bars_are_as_long_as_the_root_mean_squares(result: CheckResult) -> None:
    part = why_part(result.causes)
    # The longest end is 12 µm: 8 µm of scale times 6 ‰ of 4 ‰; the axis ends at 15 µm.
    assert [tick.text for tick in part.ticks] == ["0", "5", "10", "15"]
    assert [tick.x for tick in part.ticks] == pytest.approx(
        [0.0, BAR_WIDTH / 3, BAR_WIDTH / 1.5, BAR_WIDTH], abs=0.01
    )
    scale, growth, layers, left = part.bars
    um = BAR_WIDTH / 15.0
    assert [bar.width for bar in part.bars] == pytest.approx(
        [8.0 * um, 3.0 * um, 2.0 * um, 4.0 * um], abs=0.01
    )
    assert scale.whisker == pytest.approx((6.0 * um, 12.0 * um), abs=0.01)
    assert growth.whisker == pytest.approx((0.0, 4.5 * um), abs=0.01)  # its interval holds 0
    assert layers.whisker is None
    assert (left.is_left, left.title) == (True, "What is left")


def test_the_interval_of_a_root_mean_square_grows_as_the_size() -> None:
    assert rms_interval(SCALE) == pytest.approx((8.0 * 3 / 4, 8.0 * 6 / 4))
    assert rms_interval(GROWTH) == pytest.approx((0.0, 3.0 * 9 / 6))
    assert rms_interval(LAYERS) is None
    assert rms_interval(OVAL) is None
    assert size_words(OVAL) == "–"


def test_maps_have_the_colours_of_the_checks_own_map(result: CheckResult) -> None:
    legend = make_legend([0.01], [1.0], limit_um=40.0)
    views = standard_views()[:2]
    made = {one.name: one for one in cause_colourings(result, legend, views)}
    assert list(made) == ["scale_along_build", "growth", LEFT]
    for name, field in {**result.causes.fields_mm, LEFT: result.causes.left_mm}.items():
        np.testing.assert_array_equal(made[name].colours, deviation_colours(field, 0.040))
        assert made[name].views == views
    nothing = no_causes(3, result.causes.facts, result.causes.settings, "there is no scan")
    assert cause_colourings(replace(result, causes=nothing), legend, views) == ()
    assert cause_colourings(replace(result, causes=None), legend, views) == ()


def test_drawn_maps_come_into_the_page(
    result: CheckResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    views = standard_views()

    def draw(*_: object, **__: object):
        yield from ()
        return Pictures(tuple(Picture(view, b"whole") for view in views))

    def draw_maps(_: object, colourings: tuple):
        yield from ()
        named = [(one.name, view) for one in colourings for view in one.views]
        return Pictures(tuple(Picture(view, b"map", name) for name, view in named))

    monkeypatch.setattr(report_files, "can_plot", lambda: True)
    monkeypatch.setattr(report_files, "draw_pictures_steps", draw)
    monkeypatch.setattr(report_files, "draw_colourings_steps", draw_maps)
    write_check(result, tmp_path)
    reader = Reader((tmp_path / "check.html").read_text(encoding="utf-8"))
    assert reader.opened == []
    alts = [attrs["alt"] for tag, attrs in reader.elements if tag == "img"]
    maps = [alt for alt in alts if alt.startswith(("Scale along", "Growth", "What is left"))]
    assert len(maps) == 3 * 3
    assert len(alts) == 3 * 3 + 6


def test_causes_that_were_not_looked_for_are_told_with_the_reason(result: CheckResult) -> None:
    facts, settings = result.causes.facts, result.causes.settings
    count = len(result.evaluation.points)
    nothing = no_causes(count, facts, settings, "the scan is the design's own surface")
    said = "Causes were not looked for: the scan is the design's own surface."
    assert said in " ".join(shown(causes_view(nothing)).split())
    part = why_part(nothing)
    assert (part.sentences, part.bars, part.maps, part.predicted) == ((said,), (), (), ())
    assert said in " ".join(shown(check_view(replace(result, causes=nothing))).split())


@pytest.mark.parametrize("width", [80, 120])
def test_the_terminal_tells_why_right_after_the_verdict(result: CheckResult, width: int) -> None:
    text = shown(check_view(result), width)
    assert max(len(line.rstrip()) for line in text.splitlines()) <= width
    assert "…" not in text  # nothing cut off
    told = " ".join(text.split())
    parts = ("Outside tolerance: occlusal", "Why", SCALE.sentence, "Deviation per area")
    places = [told.index(said) for said in parts]
    assert places == sorted(places)
    assert HOSTILE in told
    assert told.count(CAUTION) == 1
    assert "Why" not in shown(check_view(replace(result, causes=None)))


def test_causes_that_ask_for_the_same_are_told_at_once(result: CheckResult) -> None:
    places = result.causes.filled * 5
    both = replace(SCALE, cause="scale")
    marks = result.causes.marks * 2
    causes = replace(result.causes, causes=(SCALE, both), filled=places, marks=marks)
    told = " ".join(shown(why_view(causes)).split())
    assert (
        "Scale along the build direction and scale in all directions: Change the enlargement "
        "factor." in told
    )
    assert told.count("Filled by up to") == 3
    assert "And 2 smaller places. Perhaps a stub" in told
    assert told.count("Perhaps a") == 3
    assert "And 1 less likely support mark." in told
    assert shown(causes_view(causes)).count("Filled by up to") == 5


def test_the_terminal_tells_sizes_predictions_and_what_to_change(result: CheckResult) -> None:
    text = shown(causes_view(result.causes))
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 80
    assert "…" not in text
    told = " ".join(text.split())
    for said in (
        "+0.40 % (0.30 to 0.60) 8.0 (6.0 to 12.0) > 0.99",
        "Growth −6.0 µm (−9.0 to 1.5) 3.0 (0.0 to 4.5) 0.96",
        "(Oval margin) – < 0.01",
        "What could not be looked for",
        "Layer steps: Build thinner layers, or in another direction.",
        "Enlargement along it 1.2450 → 1.2400 (1.2375 to 1.2413)",
        "margin 16.0 15.5 15 outside",
    ):
        assert said in told, said
    assert told.endswith(CAUTION)
    assert told.count(CAUTION) == 1
