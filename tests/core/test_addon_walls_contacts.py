"""What is decided without Blender about walls, contacts and sections: legends, words, layout."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.addon.drawing.legend_layout import TITLE, LegendLayout, lay_out
from cuspwise.addon.fit.contact_lines import details, gap_words
from cuspwise.addon.fit.map_legends import THIN_SWATCH, contacts_legend, walls_legend
from cuspwise.addon.fit.marked_place import has_room
from cuspwise.addon.fit.section_layout import BAR_MOST, bar_mm, lay_out_section, length_words
from cuspwise.standalone_core.report.drawing.amount_colours import amount_hex
from cuspwise.standalone_core.report.drawing.deviation_colours import deviation_colours
from cuspwise.standalone_core.report.fit.colours import wall_colours

AREAS = (
    {"area": "axial", "required_mm": 0.5},
    {"area": "occlusal", "required_mm": 1.0},
)


def as_wide_as_letters(text: str, size: float) -> float:
    return 0.6 * size * len(text)


def section(
    entries: list[tuple[str, str, str]], per_mm: float = 60.0, scale: float = 1.0
) -> LegendLayout:
    return lay_out_section(
        entries,
        per_mm,
        right=900.0,
        bottom=20.0,
        scale=scale,
        width_of=as_wide_as_letters,
    )


def hex_of(rgb: np.ndarray) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb.tolist())


def test_the_legend_of_walls_has_the_colours_of_the_map() -> None:
    """At every stop that of the thickness there, which its ticks tell."""
    limit = 1.2
    legend = walls_legend(limit, AREAS, "standard")
    places = np.array([stop.position for stop in legend.stops])
    shown = wall_colours(limit * places, np.zeros(len(places)), limit)
    assert [stop.colour for stop in legend.stops] == [hex_of(rgb) for rgb in shown]
    assert legend.stops[0].colour == amount_hex(1.0)  # nothing is the darkest
    for tick in legend.ticks:
        assert float(tick.text) == pytest.approx(limit * tick.position)
    assert legend.tolerance_text == "Required: axial 0.5, occlusal 1"


def test_thin_is_amber_and_what_is_not_judged_is_grey() -> None:
    limit = 1.2
    shown = wall_colours(np.array([0.4, 0.4, np.nan]), np.array([-0.1, 0.1, np.nan]), limit)
    legend = walls_legend(limit, AREAS, "standard")
    assert hex_of(shown[0]) == THIN_SWATCH[0]
    assert hex_of(shown[1]) != THIN_SWATCH[0]
    assert hex_of(shown[2]) == legend.unmeasured_colour
    assert THIN_SWATCH[1] == "Thinner than required"
    # Rounding makes no wall thin.
    assert hex_of(wall_colours(np.array([0.5]), np.array([-1e-7]), limit)[0]) != THIN_SWATCH[0]


def test_the_legend_of_contacts_has_the_overlap_above() -> None:
    """The colours of excess stand for an overlap; the words say which end is which."""
    legend = contacts_legend(80.0, "standard")
    assert legend.ticks[0].text == "80 gap or more"
    assert legend.ticks[-1].text == "80 overlap or more"
    (middle,) = [tick for tick in legend.ticks if tick.text == "touching"]
    assert middle.position == pytest.approx(0.5)
    gap_mm = np.array([0.08, -0.08])
    gap, overlap = (hex_of(rgb) for rgb in deviation_colours(-gap_mm, 0.08, "standard"))
    assert (legend.stops[0].colour, legend.stops[-1].colour) == (gap, overlap)


def test_single_colours_stand_beside_their_words() -> None:
    made = lay_out(
        walls_legend(1.2, AREAS, "standard"),
        left=0.0,
        bottom=0.0,
        height=700.0,
        scale=1.0,
        width_of=as_wide_as_letters,
        heads=(TITLE,),
        swatches=(THIN_SWATCH,),
    )
    (words,) = [line for line in made.words if line.text == THIN_SWATCH[1]]
    beside = [b for b in made.boxes if b.colour == THIN_SWATCH[0] and b.bottom < words.baseline]
    assert len(beside) == 1
    assert beside[0].right < words.left


@pytest.mark.parametrize(
    ("gap_um", "words"),
    [(12.4, "12 µm gap"), (-20.0, "20 µm overlap"), (0.0, "0 µm gap"), (None, "nothing near")],
)
def test_a_distance_in_words(gap_um: float | None, words: str) -> None:
    assert gap_words(gap_um) == words


def test_a_contact_in_words() -> None:
    row = {
        "tooth": "35",
        "kind": "proximal",
        "strength": "firm",
        "gap_um": -12.0,
        "area_mm2": 0.21,
        "designed_gap_um": -20.0,
        "designed_area_mm2": 0.4,
    }
    assert details(row) == [
        "35 (proximal): firm, 12 µm overlap, 0.21 mm²",
        "Designed: 20 µm overlap, 0.40 mm²",
    ]
    nothing = {**row, "strength": "none", "gap_um": None, "area_mm2": 0.0, "designed_gap_um": None}
    assert details(nothing) == ["35 (proximal): nothing near"]


@pytest.mark.parametrize("per_mm", [0.4, 3.0, 60.0, 900.0, 1e5])
def test_the_scale_bar_is_the_longest_nice_one_that_fits(per_mm: float) -> None:
    length = bar_mm(per_mm)
    if per_mm < 5000.0:
        assert length * per_mm <= BAR_MOST
        assert length * per_mm > 0.3 * BAR_MOST or length == 20.0
    else:
        assert length == 0.02  # zoomed in beyond a ten-thousandth: it is wider


def test_a_length_in_words() -> None:
    assert [length_words(mm) for mm in (5.0, 1.0, 0.5, 0.05)] == ["5 mm", "1 mm", "500 µm", "50 µm"]


@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_key_and_scale_bar_lie_on_their_ground(scale: float) -> None:
    entries = [
        ("Design", "#f0e442", ""),
        ("A tooth of quite an unreasonably long name", "#e69f00", "12 µm gap"),
    ]
    made = section(entries, scale=scale)
    ground, *others = made.boxes
    assert ground.right <= 900.0
    assert ground.bottom >= 20.0
    for box in others:
        assert ground.left <= box.left < box.right <= ground.right
        assert ground.bottom <= box.bottom <= box.top <= ground.top
    for words in made.words:
        assert words.left + as_wide_as_letters(words.text, words.size) <= ground.right + 1.0
        assert ground.bottom < words.baseline < ground.top - words.size
    bar = others[0]
    assert bar.right - bar.left == pytest.approx(bar_mm(60.0) * 60.0 * scale)
    assert [box.colour for box in others[1:]] == ["#e69f00", "#f0e442"]
    assert made.words[-1].text == "Design"  # uppermost
    assert made.words[-2].text == "A tooth of quite an unr…: 12 µm gap"
    assert made.words[1].text == "narrowest to the crown, in this plane"


def test_a_plane_that_cuts_nothing_says_so() -> None:
    assert "nothing is cut" in [words.text for words in section([]).words]


def test_words_that_would_overlap_are_left_out() -> None:
    taken = [(100.0, 50.0, 60.0)]
    assert not has_room((120.0, 55.0, 60.0), taken, 16.0)
    assert not has_room((50.0, 45.0, 60.0), taken, 16.0)
    assert has_room((120.0, 66.0, 60.0), taken, 16.0)
    assert has_room((160.0, 50.0, 60.0), taken, 16.0)
    assert has_room((120.0, 55.0, 60.0), [], 16.0)
