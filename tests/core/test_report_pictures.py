"""Pictures of a coloured surface: the six views, what is seen, exact colours, the whole legend."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.errors import ReportError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.report.check import output as report_files
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.drawing.deviation_colours import (
    deviation_colours,
    unmeasured_colour,
)
from cuspwise.standalone_core.report.drawing.legend import make_legend
from cuspwise.standalone_core.report.drawing.picture_frame import BARE, FULL
from cuspwise.standalone_core.report.drawing.pictures import (
    Colouring,
    draw_colourings_steps,
    draw_pictures_steps,
)
from cuspwise.standalone_core.report.drawing.views import VIEW_NAMES, View, standard_views
from cuspwise.standalone_core.report.drawing.visible import visible_faces
from PIL import Image

LIMIT_MM = 0.050
FACING = View("facing", "Facing", (0.0, 0.0, 1.0), (0.0, 1.0, 0.0))

# Four squares in a plane across the view, 2 mm wide: +25 µm, −50 µm, 0, not measured.
VALUES_MM = np.array([0.025, -0.050, 0.0, np.nan])
CENTRES_MM = np.array([[-1.0, 1.0], [1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]])


def squares() -> tuple[TriangleMesh, np.ndarray]:
    corners = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], dtype=float)
    points = np.concatenate([corners + np.array([x, y, 0.0]) for x, y in CENTRES_MM])
    halves = np.array([[0, 1, 2], [0, 2, 3]])
    faces = np.concatenate([4 * k + halves for k in range(4)])
    return TriangleMesh(points, faces), np.repeat(VALUES_MM, 4)


def ball(radius: float = 5.0) -> TriangleMesh:
    made = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return TriangleMesh(np.array(made.vertices), np.array(made.faces))


def pixels(png: bytes) -> np.ndarray:
    """Rows from the top, (height, width, 3), 0…255."""
    with Image.open(io.BytesIO(png)) as image:
        assert image.mode == "RGB"
        return np.asarray(image).astype(int)


@pytest.mark.parametrize("insertion", [(0, 0, 1), (1, 2, -0.5), (0.0, -3.0, 0.0), None])
@pytest.mark.parametrize("mesial", [(1, 0, 0), (0, 0, 2), (-1, 3, 0.1), None])
def test_views_look_from_six_sides(insertion: object, mesial: object) -> None:
    views = standard_views(insertion, mesial)
    fronts = np.array([view.towards_viewer for view in views])
    ups = np.array([view.up for view in views])
    assert len({view.name for view in views}) == len({view.title for view in views}) == 6
    assert {view.name for view in views} <= set(VIEW_NAMES)
    np.testing.assert_allclose(np.linalg.norm(fronts, axis=1), 1.0, atol=1e-12)
    np.testing.assert_allclose(np.einsum("ij,ij->i", fronts, ups), 0.0, atol=1e-12)
    # Three pairs of opposite looks, at right angles to one another.
    grammian = np.abs(fronts @ fronts.T)
    np.testing.assert_allclose(np.sort(grammian, axis=1), [[0, 0, 0, 0, 1, 1]] * 6, atol=1e-12)
    np.testing.assert_allclose(fronts.sum(axis=0), 0.0, atol=1e-12)
    if insertion is not None:
        axis = np.array(insertion) / np.linalg.norm(insertion)
        np.testing.assert_allclose(fronts[0], axis, atol=1e-12)
        np.testing.assert_allclose(ups[2:], np.tile(axis, (4, 1)), atol=1e-12)


def test_views_are_named_by_direction_where_known() -> None:
    named = {v.name: v for v in standard_views((0, 0, 1), (1, 0.1, 0), has_intaglio=True)}
    assert named["cervical"].title == "Intaglio side"
    assert named["mesial"].towards_viewer[0] > 0.99
    # Seen with occlusal up, right is up × front.
    side = named["side_1"]
    assert "mesial to the right" in side.title
    assert np.cross(side.up, side.towards_viewer)[0] > 0.99
    plain = [view.title for view in standard_views((0, 0, 1))]
    assert plain == ["Occlusal", "Cervical"] + [
        f"Side towards {w}" for w in ("+x", "+y", "−x", "−y")
    ]
    assert standard_views()[0].title == "Towards +z"
    # A mesial direction along the path of insertion names nothing.
    assert [view.title for view in standard_views((0, 0, 1), (0, 0.1, 1))] == plain


@pytest.mark.parametrize("seed", range(3))
def test_what_is_seen_is_nearest_face_by_face(seed: int) -> None:
    """Barycentric coordinates of every pixel's middle in every face, by solving for them."""
    rng = np.random.default_rng(seed)
    width, height = 40, 30
    points = rng.uniform(-3, 43, (60, 3))
    faces = np.array([rng.choice(60, 3, replace=False) for _ in range(50)])
    row, column = np.indices((height, width)) + 0.5
    nearest, seen = np.full((height, width), -np.inf), np.full((height, width), -1)
    for number, face in enumerate(faces):
        x, y, z = points[face].T
        places = np.stack([column.ravel(), row.ravel(), np.ones(row.size)])
        weights = np.linalg.solve([x, y, np.ones(3)], places)
        depth = np.where((weights >= 0).all(axis=0), z @ weights, -np.inf).reshape(height, width)
        nearer = depth > nearest
        nearest[nearer], seen[nearer] = depth[nearer], number
    np.testing.assert_array_equal(visible_faces(points, faces, width, height), seen)


def test_a_closed_surface_needs_no_back_sides() -> None:
    mesh = ball(10.0)
    placed = mesh.vertices * [1, -1, 1] + [20.0, 15.0, 0.0]
    both = visible_faces(placed, mesh.faces, 40, 30)
    np.testing.assert_array_equal(visible_faces(placed, mesh.faces, 40, 30, both_sides=False), both)
    share = (both >= 0).sum() / (np.pi * 10.0**2)
    assert share == pytest.approx(1.0, abs=0.03)


@pytest.fixture(scope="module")
def drawn() -> np.ndarray:
    mesh, values = squares()
    legend = make_legend(values, np.ones(len(values)), limit_um=50.0, tolerance_um=25.0)
    colours = deviation_colours(values, LIMIT_MM)
    (picture,) = run(
        draw_pictures_steps(mesh, colours, [FACING], legend, caption="a test")
    ).pictures
    return pixels(picture.png)


def test_size_and_backdrop(drawn: np.ndarray) -> None:
    assert drawn.shape == (FULL.height, FULL.width, 3)
    assert (drawn[:4] == 255).all()
    assert (drawn[-4:] == 255).all()
    assert (drawn[:, :4] == 255).all()


def test_colours_of_places_that_face_the_viewer_are_exact(drawn: np.ndarray) -> None:
    expected = deviation_colours(VALUES_MM, LIMIT_MM)
    surface = drawn[100:740]  # between title and legend
    for colour in expected:
        found = (np.abs(surface - colour.astype(int)).max(axis=2) <= 1).mean()
        assert found > 0.05, f"{colour} covers {found:.1%}"
    # The right way round: up is up, right is right.
    near = [np.abs(surface - colour).max(axis=2) <= 1 for colour in expected.astype(int)]
    middle = np.array([np.argwhere(mask).mean(axis=0) for mask in near])
    assert middle[0, 0] < middle[2, 0]
    assert middle[1, 0] < middle[3, 0]
    assert middle[0, 1] < middle[1, 1]


def test_the_legend_has_the_colours_of_the_map(drawn: np.ndarray) -> None:
    left, right = 0.15 * FULL.width, 0.85 * FULL.width
    row = drawn[FULL.height - 130]
    for share in (-0.98, -0.75, -0.3, 0.0, 0.25, 0.6, 0.98):
        x = round(left + (right - left) * (share + 1) / 2)
        colour = deviation_colours([share * LIMIT_MM], LIMIT_MM)[0].astype(int)
        assert np.abs(row[x] - colour).max() <= 3, share
    swatch = drawn[FULL.height - 30, round(left) + 20]
    assert np.abs(swatch - unmeasured_colour()).max() <= 1


def test_words_stand_where_the_layout_puts_them(drawn: np.ndarray) -> None:
    dark, height = drawn.sum(axis=2) < 300, FULL.height
    assert dark[30:70, 36:300].any()  # title
    for share in (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0):  # −50, −40, −20, 0, +20, +40, +50
        x = round((0.15 + 0.7 * share) * FULL.width)
        assert dark[height - 95 : height - 60, x - 20 : x + 20].any(), share
    assert dark[height - 50 : height - 15, 250:420].any()  # share not measured
    assert dark[height - 50 : height - 15, 830:1010].any()  # share beyond the limits


def test_the_scale_bar_is_as_long_as_it_says(drawn: np.ndarray) -> None:
    """The squares are 4 mm wide together, so that pixels per mm can be counted."""
    surface = drawn[100:740].sum(axis=2)
    columns = np.flatnonzero((surface < 740).any(axis=0))
    across = (columns[-1] - columns[0] + 1) / 4.0
    bar = np.flatnonzero(drawn[FULL.height - FULL.base - 9].sum(axis=1) < 300)
    assert (bar[-1] - bar[0]) / across == pytest.approx(1.0, abs=0.03)


def test_a_ball_s_outline_is_round_and_smooth() -> None:
    mesh = ball()
    white = np.zeros((len(mesh.vertices), 3), dtype=np.uint8)
    (picture,) = run(draw_colourings_steps(mesh, [Colouring("ball", white, (FACING,))])).pictures
    shade = pixels(picture.png)[: BARE.height - BARE.base].mean(axis=2)
    rows, columns = np.nonzero(shade < 128)
    width, height = np.ptp(columns) + 1, np.ptp(rows) + 1
    assert abs(int(width) - int(height)) <= 1
    covered = (255.0 - shade).sum() / 255.0
    assert covered == pytest.approx(np.pi * (width / 2) ** 2, rel=0.01)
    assert ((shade > 20) & (shade < 235)).sum() > 2 * width  # its edge is no staircase


def test_six_views_of_a_ball() -> None:
    mesh = ball()
    values = 0.05 * mesh.vertices[:, 2] / 5.0  # excess on top, missing below
    legend = make_legend(values, mesh.vertex_areas, limit_um=50.0, tolerance_um=25.0)
    views = standard_views((0, 0, 1), (1, 0, 0))
    steps = draw_pictures_steps(mesh, deviation_colours(values, LIMIT_MM), views, legend)
    result = run(steps)
    assert result.reason == ""
    assert [p.view for p in result.pictures] == list(views)
    shots = {picture.view.name: pixels(picture.png) for picture in result.pictures}
    middle = (slice(400, 440), slice(580, 620))
    red, _, blue = shots["occlusal"][middle].reshape(-1, 3).mean(axis=0)
    assert red > 2 * blue
    red, _, blue = shots["cervical"][middle].reshape(-1, 3).mean(axis=0)
    assert blue > 2 * red
    side = shots["mesial"][:, 580:620].mean(axis=1)
    assert side[200, 0] > side[200, 2]  # excess above
    assert side[640, 2] > side[640, 0]  # missing below


def test_the_same_bytes_on_every_run() -> None:
    mesh, values = squares()
    colouring = Colouring("one", deviation_colours(values, LIMIT_MM), (FACING,))
    first, second = (run(draw_colourings_steps(mesh, [colouring])) for _ in range(2))
    assert first.pictures[0].png == second.pictures[0].png


def test_pictures_that_cannot_be_had_are_refused_before_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(report_files, "can_plot", lambda: False)
    with pytest.raises(ReportError, match="matplotlib") as caught:
        write_check(None, tmp_path / "out", pictures="yes")  # type: ignore[arg-type]
    assert "do without pictures" in caught.value.remedy
    assert not (tmp_path / "out").exists()
