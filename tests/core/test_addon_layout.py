"""What the add-on decides without Blender: the legend's layout, units, line breaks."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from cuspwise.addon.blender.units import UNIT_CHOICES, mm_per_unit, unit_words
from cuspwise.addon.drawing.legend_layout import TITLE, LegendLayout, lay_out
from cuspwise.addon.drawing.line_breaks import room, wrapped
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.report.drawing.deviation_colours import hex_colour
from cuspwise.standalone_core.report.drawing.legend import Legend, make_legend

VALUES_MM = np.array([-0.09, -0.02, 0.0, 0.01, 0.06, np.nan])


def legend(limit_um: float = 50.0) -> Legend:
    return make_legend(VALUES_MM, np.ones(6), limit_um=limit_um, tolerance_um=25.0)


def layout(height: float = 700.0, scale: float = 1.0, note: str = "") -> LegendLayout:
    return lay_out(
        legend(),
        left=40.0,
        bottom=20.0,
        height=height,
        scale=scale,
        width_of=lambda text, size: 0.6 * size * len(text),  # as wide as letters are
        note=note,
    )


@pytest.mark.parametrize("scale", [1.0, 1.5, 2.0])
@pytest.mark.parametrize("height", [500.0, 700.0, 2000.0])
def test_everything_lies_on_the_ground_and_in_the_view(height: float, scale: float) -> None:
    made = layout(height, scale)
    ground, *others = made.boxes
    assert ground.left >= 40.0
    assert ground.bottom >= 20.0
    assert ground.top <= 20.0 + height
    for box in others:
        assert ground.left <= box.left < box.right <= ground.right
        assert ground.bottom <= box.bottom <= box.top <= ground.top
    for words in made.words:
        assert ground.left < words.left
        assert ground.bottom < words.baseline
        assert words.baseline + words.size < ground.top
        # A letter is about 0.6 of its size wide.
        assert words.left + 0.6 * words.size * len(words.text) < ground.right + 0.1 * words.size


def test_no_words_overlap() -> None:
    made = layout(500.0, note="Out of date: check again")
    lines = sorted(made.words, key=lambda w: w.baseline)
    for one, other in pairwise(lines):
        assert other.baseline - one.baseline >= one.size


def test_ticks_stand_beside_their_colour() -> None:
    made = layout()
    zero = next(w for w in made.words if w.text == "0")
    middle = zero.baseline + 0.36 * zero.size
    beside = [b for b in made.boxes[1:] if b.bottom <= middle < b.top and b.right - b.left > 12]
    assert hex_colour(0.0) in {box.colour for box in beside}
    top = next(w for w in made.words if w.text == "+50")
    assert top.baseline > zero.baseline


def test_says_unit_tolerance_clipped_and_unmeasured() -> None:
    said = [words.text for words in layout().words]
    assert TITLE in said
    assert "tolerance ±25 µm" in said
    assert "40.0 % beyond ±50 µm" in said  # two of five measured points
    assert "16.6 % not measured" in said  # one of six, never rounded up
    swatch = [box for box in layout().boxes if box.colour == legend().unmeasured_colour]
    assert len(swatch) == 1


def test_too_small_a_view_stays_free() -> None:
    assert layout(height=150.0) == LegendLayout()


def test_scale_of_the_interface_scales_all() -> None:
    one, two = layout(2000.0, 1.0), layout(4000.0, 2.0)
    for a, b in zip(one.boxes, two.boxes, strict=True):
        assert b.right - b.left == pytest.approx(2.0 * (a.right - a.left))
        assert b.top - b.bottom == pytest.approx(2.0 * (a.top - a.bottom))


@pytest.mark.parametrize(
    ("choice", "system", "scale_length", "side", "expected"),
    [
        ("AUTO", "METRIC", 1.0, 10.0, 1.0),  # factory settings say metres, the file is in mm
        ("AUTO", "METRIC", 1.0, 0.010, 1000.0),  # a crown in metres
        ("AUTO", "METRIC", 0.001, 10.0, 1.0),
        ("AUTO", "METRIC", 0.0010000000475, 10.0, 1.0),  # as single precision has it
        ("AUTO", "METRIC", 0.01, 1.0, 10.0),
        ("AUTO", "NONE", 1.0, 10.0, 1.0),
        ("mm", "METRIC", 1.0, 10.0, 1.0),
        ("inch", "NONE", 1.0, 0.4, 25.4),  # 1 inch is 25.4 mm, ISO 31-1
        ("um", "NONE", 1.0, 10_000.0, 0.001),
    ],
)
def test_unit(choice: str, system: str, scale_length: float, side: float, expected: float) -> None:
    assert mm_per_unit(choice, system, scale_length, side) == expected


@pytest.mark.parametrize("side", [1e-4, 0.5, 400.0])
def test_no_unit_is_guessed_for_an_implausible_size(side: float) -> None:
    with pytest.raises(SettingError, match="Choose the length of a unit"):
        mm_per_unit("AUTO", "NONE", 1.0, side)


def test_units_in_words() -> None:
    assert unit_words(1.0) == "1 unit = 1 mm (millimetres)"
    assert unit_words(1000.0) == "1 unit = 1 m (metres)"
    assert unit_words(2.0) == "1 unit = 2 mm"
    assert UNIT_CHOICES[0][0] == "AUTO"


def test_lines_fit_the_sidebar() -> None:
    text = "The scan fits its design in more than one position, which differ by a turn."
    for width in (180.0, 260.0, 500.0):
        lines = wrapped(text, width, wide)
        assert " ".join(lines) == text
        assert all(wide(line) <= width for line in lines)
        assert all(wide(f"{a} {b.split()[0]}") > width for a, b in pairwise(lines))
    assert wrapped("", 200.0, wide) == [""]


def wide(text: str) -> float:
    """Width of words whose letters are all as wide."""
    return 7.0 * len(text)


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("It covers all of 100.0 % of it", "100.0 %"),
        ("All lie within ±25 µm (or less) of it", "25 µm"),
        ("A piece of 0.534 mm³ at one place", "0.534 mm³"),
        ("An angle of 156 ° from the x axis", "156 °"),
    ],
)
def test_a_number_stays_with_its_unit(text: str, kept: str) -> None:
    for letters in range(max(8, len(kept)), len(text)):
        lines = wrapped(text, 7.0 * letters, wide)
        assert " ".join(lines) == text
        assert any(kept in line for line in lines)


def test_what_is_separated_by_dots_stays_together() -> None:
    text = "mean absolute 10.9 · RMS 14.7 µm"
    assert wrapped(text, 7.0 * len(text), wide) == [text]
    assert wrapped(text, 7.0 * (len(text) - 1), wide) == ["mean absolute 10.9", "RMS 14.7 µm"]
    # Where one part alone is too wide, it is broken as words are.
    assert wrapped(text, 7.0 * 12, wide) == ["mean", "absolute", "10.9", "RMS 14.7 µm"]


@pytest.mark.parametrize("letters", [4, 7, 30])
def test_a_word_too_long_loses_nothing(letters: int) -> None:
    text = "/home/somebody/crowns/2031/study_results"
    lines = wrapped(text, 7.0 * letters, wide)
    assert "".join(lines) == text
    assert max(map(wide, lines)) <= 7.0 * letters


def test_a_box_and_a_symbol_leave_less_room() -> None:
    assert room(291.0, in_box=False) > room(291.0) > room(291.0, icon=True) > 0.0
    assert room(20.0) > 0.0
