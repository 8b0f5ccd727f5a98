"""The pictures as Blender draws them: exact colours, whole legend, right way up.

Needs Blender's Python module; run with the Python that has it. About 20 s on two idle cores.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.report.drawing import pictures as report_pictures
from cuspwise.standalone_core.report.drawing.deviation_colours import (
    deviation_colours,
    unmeasured_colour,
)
from cuspwise.standalone_core.report.drawing.legend import make_legend
from cuspwise.standalone_core.report.drawing.pictures import (
    ENGINES,
    HEIGHT_PX,
    SCRIPT,
    WIDTH_PX,
    draw_pictures_steps,
)
from cuspwise.standalone_core.report.drawing.views import View, standard_views

bpy = pytest.importorskip("bpy", reason="Blender's Python module (bpy) is not installed")

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


def pixels(path: Path) -> np.ndarray:
    """Rows from the top, (height, width, 3), 0…255, as they are in the file."""
    image = bpy.data.images.load(str(path))
    values = np.empty(image.size[0] * image.size[1] * image.channels, dtype=np.float32)
    image.pixels.foreach_get(values)
    grid = values.reshape(image.size[1], image.size[0], image.channels)[::-1, :, :3]
    bpy.data.images.remove(image)
    return np.rint(255.0 * grid).astype(int)


@pytest.fixture(scope="module", params=ENGINES)
def drawn(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    folder = tmp_path_factory.mktemp("job")
    mesh, values = squares()
    legend = make_legend(values, np.ones(len(values)), limit_um=50.0, tolerance_um=25.0)
    np.savez(
        folder / "job.npz",
        points=mesh.vertices,
        normals=mesh.vertex_normals,
        colours=deviation_colours(values, LIMIT_MM)[None],
        faces=mesh.faces,
    )
    report_pictures._write_job(folder, request.param, [FACING], legend, "a test")
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(folder)], capture_output=True, timeout=120, check=False
    )
    if done.returncode < 0 and request.param == "BLENDER_WORKBENCH":
        pytest.skip("Workbench needs EGL, which this machine does not have")
    assert done.returncode == 0, done.stderr.decode()
    return pixels(folder / "facing.png")


def test_size_and_backdrop(drawn: np.ndarray) -> None:
    assert drawn.shape == (HEIGHT_PX, WIDTH_PX, 3)
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


def test_legend_shows_the_whole_map(drawn: np.ndarray) -> None:
    row = drawn[HEIGHT_PX - 130]  # through the strip of colours
    left, right = 0.15 * WIDTH_PX, 0.85 * WIDTH_PX
    for share in (-0.98, -0.75, -0.3, 0.3, 0.75, 0.98):
        x = round(left + (right - left) * (0.5 + 0.5 * share))
        colour = deviation_colours([share * LIMIT_MM], LIMIT_MM)[0].astype(int)
        assert np.abs(row[x] - colour).max() <= 3, share  # 257 steps and their soft edges
    swatch = drawn[HEIGHT_PX - 30, round(left) + 20]
    assert np.abs(swatch - unmeasured_colour()).max() <= 1


def test_words_stand_where_the_layout_puts_them(drawn: np.ndarray) -> None:
    dark = drawn.sum(axis=2) < 300
    assert dark[30:70, 36:300].any()  # title
    for share in (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0):  # −50, −40, −20, 0, +20, +40, +50
        x = round((0.15 + 0.7 * share) * WIDTH_PX)
        assert dark[HEIGHT_PX - 95 : HEIGHT_PX - 60, x - 20 : x + 20].any(), share
    assert dark[HEIGHT_PX - 50 : HEIGHT_PX - 15, 250:500].any()  # share not measured
    assert dark[HEIGHT_PX - 50 : HEIGHT_PX - 15, 800:1010].any()  # share beyond the limits


def test_six_views_of_a_ball(tmp_path: Path) -> None:
    u, v = np.meshgrid(np.linspace(0.05, np.pi - 0.05, 40), np.linspace(0, 2 * np.pi, 80))
    points = np.stack([np.sin(u) * np.cos(v), np.sin(u) * np.sin(v), np.cos(u)], axis=-1)
    k = np.arange(79)[:, None] * 40 + np.arange(39)
    faces = np.concatenate(
        [np.stack([k, k + 1, k + 40], -1), np.stack([k + 1, k + 41, k + 40], -1)]
    ).reshape(-1, 3)
    mesh = TriangleMesh(5.0 * points.reshape(-1, 3), faces)
    values = 0.05 * mesh.vertices[:, 2] / 5.0  # excess on top, missing below
    legend = make_legend(values, mesh.vertex_areas, limit_um=50.0, tolerance_um=25.0)
    views = standard_views((0, 0, 1), (1, 0, 0))
    result = run(draw_pictures_steps(mesh, deviation_colours(values, LIMIT_MM), views, legend))
    assert result.reason == ""
    assert [p.view for p in result.pictures] == list(views)
    shots = {}
    for picture in result.pictures:
        path = tmp_path / f"{picture.view.name}.png"
        path.write_bytes(picture.png)
        shots[picture.view.name] = pixels(path)
    middle = (slice(400, 440), slice(680, 720))  # beside the pole, which is open
    red, _, blue = shots["occlusal"][middle].reshape(-1, 3).mean(axis=0)
    assert red > 2 * blue
    red, _, blue = shots["cervical"][middle].reshape(-1, 3).mean(axis=0)
    assert blue > 2 * red
    side = shots["mesial"][:, 580:620].mean(axis=1)
    assert side[200, 0] > side[200, 2]  # excess above
    assert side[640, 2] > side[640, 0]  # missing below
