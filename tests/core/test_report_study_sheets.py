"""Sheets of map pictures as a journal prints them: width, resolution, fonts, nothing covered."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from cuspwise.standalone_core.report.drawing.matplotlib_figure import DOUBLE_MM, SINGLE_MM
from cuspwise.standalone_core.report.drawing.pictures import Picture
from cuspwise.standalone_core.report.study.maps import study_maps
from cuspwise.standalone_core.report.study.sheets import Sheet, _room_for, map_sheets
from made.printed_figures import PT_PER_MM, check_words, kept_drawings, long_names
from made.study_examples import make_analysis, make_run
from PIL import Image

RUN = make_run()
ANALYSIS = make_analysis(RUN)


@pytest.fixture(scope="module")
def sheets() -> dict[str, Sheet]:
    """Sheets of pictures that are but noise, of a small size."""
    maps = study_maps(RUN, ANALYSIS)
    rng = np.random.default_rng(2)
    pictures = []
    for colouring in maps.colourings:
        for view in colouring.views:
            stream = io.BytesIO()
            Image.fromarray(rng.integers(0, 255, (75, 90, 3), dtype=np.uint8)).save(stream, "PNG")
            pictures.append(Picture(view, stream.getvalue(), colouring.name))
    return {sheet.name: sheet for sheet in map_sheets(maps, pictures)}


@pytest.mark.parametrize(
    ("name", "width_mm", "columns"), [("mean_milled", DOUBLE_MM, 3), ("difference", SINGLE_MM, 2)]
)
def test_sheets_have_the_resolution_that_their_pictures_have(
    sheets: dict[str, Sheet], name: str, width_mm: float, columns: int
) -> None:
    """A picture is 90 pixels wide, and so is its part of the sheet; the PDF holds it as it is."""
    sheet = sheets[name]
    png = Image.open(io.BytesIO(sheet.png))
    assert png.width == pytest.approx(90 * columns, abs=1)
    assert png.info["dpi"][0] == pytest.approx(90 * columns * 25.4 / width_mm, abs=0.1)
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", sheet.pdf)
    assert box is not None
    assert float(box[1]) / PT_PER_MM == pytest.approx(width_mm, abs=0.01)
    assert set(re.findall(rb"/Width (\d+)", sheet.pdf)) >= {b"90"}
    assert b"/Type3" not in sheet.pdf
    assert b"/FontFile2" in sheet.pdf


def test_words_of_sheets_cover_no_others(
    monkeypatch: pytest.MonkeyPatch, sheets: dict[str, Sheet]
) -> None:
    drawings = kept_drawings(monkeypatch)
    maps = study_maps(RUN, long_names(ANALYSIS))
    white = io.BytesIO()
    Image.new("RGB", (720, 600), "white").save(white, "PNG")
    pictures = [
        Picture(view, white.getvalue(), colouring.name)
        for colouring in maps.colourings
        for view in colouring.views
    ]
    assert len(list(map_sheets(maps, pictures))) == len(sheets) == len(drawings)
    for drawing in drawings:
        check_words(drawing)


def test_numbers_of_a_legend_that_would_touch_are_left_out() -> None:
    assert _room_for([-50.0, -40.0, -20.0, 0.0, 20.0, 40.0, 50.0], 15.0) == [0, 2, 3, 4, 6]
    assert _room_for([0.0, 25.0, 50.0, 75.0, 100.0], 15.0) == [0, 1, 2, 3, 4]
