"""A fit's page and its drawings: places and sizes are those that were measured."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from cuspwise.standalone_core.fit import sentences
from cuspwise.standalone_core.fit.judged import fit_headline
from cuspwise.standalone_core.fit.result import FitResult
from cuspwise.standalone_core.report.drawing.flat_triangles import flat_triangles_png
from cuspwise.standalone_core.report.drawing.pictures import Pictures
from cuspwise.standalone_core.report.fit.frame import own_frame, seated_frame
from cuspwise.standalone_core.report.fit.intaglio_map import flat_intaglio
from cuspwise.standalone_core.report.fit.output import write_fit
from cuspwise.standalone_core.report.fit.page import fit_page
from cuspwise.standalone_core.report.fit.polar_plot import MIDDLE, RADIUS, polar_plot
from cuspwise.standalone_core.report.fit.section_plot import section_plots
from made import fit_results as made
from made.tiers import slow
from matplotlib.image import imread

WRITTEN = datetime(2026, 1, 1, tzinfo=UTC)
ANGLES = {"mesial": 0, "buccal": 90, "distal": 180, "lingual": 270}


@pytest.fixture(scope="module")
def result() -> FitResult:
    return made.made_fit()


def page_of(result: FitResult) -> str:
    return fit_page(result, pictures=Pictures(reason="none"), written=WRITTEN)


def with_missing(part: str) -> FitResult:
    missing = MappingProxyType({part: "Why not. What to do."})
    return made.made_fit(**{part: None}, missing=missing)


# The page


class Texts(HTMLParser):
    """The texts of a page, its links and its tags."""

    def __init__(self) -> None:
        super().__init__()
        self.text: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in ("href", "src")]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read_page(result: FitResult) -> Texts:
    texts = Texts()
    texts.feed(page_of(result))
    return texts


@pytest.mark.parametrize(
    "case",
    [
        made.made_fit,
        made.held_up,
        made.without_finish_line,
        slow(made.scanned_seated),
        *(
            slow(lambda part=part: with_missing(part))
            for part in ("seat", "gap", "walls", "margin")
        ),
    ],
)
def test_the_page_tells_everything_whatever_was_measured(case: object):
    result = case()
    page = read_page(result)
    text = re.sub(r"\s+", " ", " ".join(page.text))
    assert fit_headline(result).title in text
    for caution in sentences.FIT_CAUTIONS:
        assert caution in text
    for why in result.missing.values():
        assert why in text
    for warning in sentences.all_warnings(result):
        assert warning in text
    assert all(link.startswith(("data:", "#")) for link in page.links)
    assert "script" not in page.tags
    assert "nan" not in re.findall(r"\b\w+\b", text)
    drawn = {"image": 2 - (result.walls is None) - (result.gap is None)}
    if result.seat is not None and result.seat.relief is not None:
        drawn["image"] += 1
    assert page.tags.count("image") == drawn["image"]


def test_names_are_escaped(result: FitResult):
    rows = (replace(result.contacts.rows[0], tooth="<script>alert(1)</script>"),)
    page = page_of(replace(result, contacts=replace(result.contacts, rows=rows)))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_a_crown_without_an_intaglio_is_told_with_the_remedy(tmp_path: Path):
    result = made.outer_surface_only()
    page = page_of(result)
    assert page.count("Give a crown with its inner surface.") >= 4
    assert "Whether the crown goes down is not known" in page
    assert "Sections through" not in page
    written = {path.name for path in write_fit(result, tmp_path, pictures="no")}
    assert written == {"fit.html", "fit.json", "fit.csv", "README.csv"}


# Drawings


def points_of(path: str) -> np.ndarray:
    return np.array([[float(x) for x in pair.split()] for pair in re.split("[MLZ]", path) if pair])


def test_the_polar_plot_has_each_gap_at_its_distance_from_the_middle(result: FitResult):
    margin, plot = result.margin, polar_plot(result.margin)
    assert plot.rings[-1].radius == RADIUS
    most = float(plot.rings[-1].text.removesuffix(" µm"))
    assert most == 150.0
    assert plot.limit.radius == pytest.approx(RADIUS * 120.0 / 150.0, abs=0.01)
    points = points_of(plot.gap) - MIDDLE
    k = (np.arange(360) + 201) % 360  # the drawing begins after the break
    k = k[margin.measured[k]]
    turn = np.radians(margin.angle_deg[k])
    expected = margin.gap_um[k, None] * RADIUS / most * np.stack([np.cos(turn), -np.sin(turn)], 1)
    assert np.allclose(points, expected, atol=0.06)  # written with one digit
    assert plot.gap.count("M") == 1
    assert "Z" not in plot.gap
    assert plot.beyond == ""
    assert len(plot.unmeasured) == 1
    assert [label.text for label in plot.labels][:3] == ["mesial", "mesiobuccal", "buccal"]
    assert plot.largest.text == "largest: 93 µm"


def test_the_polar_plot_joins_a_whole_margin_and_marks_what_is_beyond(result: FitResult):
    margin = made.made_margin(above=50.0)
    whole = np.where(margin.measured, margin.gap_um, 100.0)
    margin = replace(margin, gap_um=whole, absolute_um=whole, measured=np.ones(360, dtype=bool))
    plot = polar_plot(margin)
    assert plot.gap.endswith("Z")
    assert plot.unmeasured == ()
    assert len(points_of(plot.beyond)) == np.count_nonzero(whole > 120.0)


def test_nothing_measured_is_drawn_as_such(result: FitResult):
    nothing = np.full(360, np.nan)
    margin = replace(
        result.margin,
        measured=np.zeros(360, dtype=bool),
        **dict.fromkeys(("gap_um", "absolute_um", "extension_um"), nothing),
        **dict.fromkeys(("mean_um", "most_um", "most_deg", "absolute_most_um"), np.nan),
    )
    plot = polar_plot(margin)
    assert (plot.gap, plot.beyond, plot.largest.text) == ("", "", "")
    assert len(plot.unmeasured) == 1
    assert "not measured" in page_of(replace(result, margin=margin))


def test_sections_show_the_gap_at_its_size(result: FitResult):
    """The die lies 50 µm inside, the crown 12 µm above its intended seat."""
    level = replace(result, seat=replace(result.seat, T_die_crown=np.eye(4)))
    plots = section_plots(level, seated_frame(level))
    assert [plot.title for plot in plots] == ["Mesiodistal", "Buccolingual"]
    assert [(plot.left, plot.right) for plot in plots] == [
        ("distal", "mesial"),
        ("lingual", "buccal"),
    ]
    assert plots[0].window.width == plots[1].window.width  # one scale
    for plot in plots:
        crown, die = (
            np.array(list(map(float, re.sub("[MZ]", " ", path).split()))).reshape(-1, 2)
            for path in (plot.crown_line, plot.die_line)
        )
        dense = np.vstack(
            [crown + share * (np.roll(crown, -1, 0) - crown) for share in np.linspace(0, 1, 20)]
        )
        away = np.linalg.norm(dense[None] - die[:, None], axis=2).min(axis=1)
        assert np.median(away) == pytest.approx(0.05, abs=0.002)
        assert away.min() > 0.035
        assert len(plot.insets) == 3
        for inset in plot.insets[:2]:
            (finish, edge), angle = np.array(inset.dots), ANGLES[inset.title.split(", ")[1]]
            apart_um = 1e3 * np.linalg.norm(edge - finish)
            assert apart_um == pytest.approx(result.margin.absolute_um[angle], abs=0.2)
            corner = np.array([inset.window.x, inset.window.y])
            assert (finish > corner).all()
            assert (finish < corner + inset.window.width).all()


def test_a_crown_that_cannot_go_on_is_cut_where_it_binds():
    held = made.held_up()
    plots = section_plots(held, seated_frame(held))
    assert [plot.name for plot in plots] == ["binding", "mesiodistal", "buccolingual"]
    spot = held.seat.spots[0].place_mm
    frame = seated_frame(held)
    window = plots[0].insets[-1].window
    across = np.hypot(*frame.across(spot[None])[0])
    assert window.x + 0.5 * window.width == pytest.approx(across, abs=1e-3)
    height = (spot - frame.middle) @ frame.axis
    assert -(window.y + 0.5 * window.height) == pytest.approx(height, abs=1e-3)


def test_without_directions_sections_are_told_by_the_file_s_axes(result: FitResult):
    settings = replace(
        result.settings,
        areas=replace(result.settings.areas, mesial_direction=None, buccal_direction=None),
    )
    plain = replace(result, settings=settings, margin=None)
    titles = [plot.title for plot in section_plots(plain, seated_frame(plain))]
    assert titles == ["From −x to +x", "From 270° to 90°"]


def test_the_intaglio_is_laid_flat_by_angle_and_distance_from_the_margin(result: FitResult):
    crown = result.crown
    flat = flat_intaglio(crown, own_frame(crown))
    inside = crown.intaglio
    assert np.isnan(flat.points[~inside]).all()
    radius = np.linalg.norm(flat.points[inside], axis=1)
    distance = crown.margin_distance_mm[inside]
    assert np.allclose(radius, 1.0 - distance / distance.max())
    walls = crown.parts["axial"]
    x, y = crown.evaluation.points[walls, :2].T
    turn = np.arctan2(*flat.points[walls, ::-1].T) - np.arctan2(y, x)
    assert np.abs((turn + np.pi) % (2 * np.pi) - np.pi).max() < np.radians(15.0)


def test_flat_triangles_are_drawn_the_right_way_up_in_their_colours():
    """matplotlib reads the picture back: x to the right, y up, nothing beside the triangles."""
    corners = np.array([[0.0, 0.0], [0.9, 0.0], [0.0, 0.9], [-0.9, 0.0]])
    paint = np.array([[200, 40, 40]] * 3 + [[40, 40, 200]], dtype=np.uint8)
    faces = np.array([[0, 1, 2]])
    png = flat_triangles_png(corners, faces, paint, size_px=100)
    assert png == flat_triangles_png(corners, faces, paint, size_px=100)
    read = imread(io.BytesIO(png))
    row, column = 50 - 12, 50 + 12  # x = y = 0.25
    assert np.allclose(255.0 * read[row, column], [200, 40, 40, 255], atol=1.0)
    assert read[50 + 12, 50 + 12, 3] == 0.0  # below
    assert read[50 - 12, 50 - 12, 3] == 0.0  # to the left
    both = flat_triangles_png(corners, np.array([[0, 1, 2], [0, 2, 3]]), paint, size_px=100)
    left = 255.0 * imread(io.BytesIO(both))[48, 50 - 36]  # 80 % of the way to the blue corner
    assert left[2] > 150.0 > left[0]
