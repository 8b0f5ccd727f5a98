"""Distance along the surface against closed forms and libigl."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh import geodesics
from cuspwise.standalone_core.mesh.geodesics import (
    geodesic_distance,
    polyline_sources,
    vertex_sources,
)
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from scipy.spatial import Delaunay, cKDTree


def plane(points: int = 4000, seed: int = 0) -> TriangleMesh:
    """Random points in a square of 4 mm, the first in its middle, tilted in space."""
    flat = np.random.default_rng(seed).uniform(-2, 2, (points, 2))
    flat[0] = 0.0
    faces = Delaunay(flat).simplices
    return TriangleMesh(np.column_stack([flat, 0.5 * flat[:, 0]]), faces)


def in_plane(mesh: TriangleMesh) -> np.ndarray:
    """Coordinates of the tilted plane's points in the plane itself."""
    return np.column_stack([mesh.vertices[:, 0] * np.sqrt(1.25), mesh.vertices[:, 1]])


def cylinder(radius: float, height: float, around: int, along: int) -> TriangleMesh:
    """An open cylinder about z, from z = 0, with one row of vertices per height."""
    angle = np.arange(around) * 2 * np.pi / around
    levels = np.linspace(0, height, along)
    ring = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    vertices = np.column_stack([np.tile(ring, (along, 1)), np.repeat(levels, around)])
    here = np.arange(around) + around * np.arange(along - 1)[:, None]
    beside = (np.arange(around) + 1) % around + around * np.arange(along - 1)[:, None]
    low = np.stack([here, beside, here + around], axis=-1).reshape(-1, 3)
    high = np.stack([beside, beside + around, here + around], axis=-1).reshape(-1, 3)
    return TriangleMesh(vertices, np.vstack([low, high]))


def sphere(radius: float, subdivisions: int) -> TriangleMesh:
    trimesh = pytest.importorskip("trimesh")
    ball = trimesh.creation.icosphere(subdivisions, radius)
    return TriangleMesh(ball.vertices, ball.faces)


def test_a_point_on_a_plane_is_exact() -> None:
    mesh = plane()
    found = geodesic_distance(mesh, [0], limit_mm=1.5)
    true = np.linalg.norm(in_plane(mesh), axis=1)
    assert np.array_equal(np.isfinite(found), true <= 1.5)
    assert np.abs(found - true)[np.isfinite(found)].max() < 1e-6


@pytest.mark.parametrize("seed", range(1, 12))
def test_the_limit_cuts_nothing_short(seed: int) -> None:
    """What lies just within the limit may be reached by way of what lies just beyond it."""
    mesh = plane(seed=seed)
    found = geodesic_distance(mesh, [0], limit_mm=1.5)
    true = np.linalg.norm(in_plane(mesh), axis=1)
    assert np.abs(found - true)[np.isfinite(found)].max() < 1e-6


def test_start_distances_are_added() -> None:
    mesh = plane()
    found = geodesic_distance(mesh, vertex_sources(mesh, [0], [0.4]), limit_mm=1.5)
    true = 0.4 + np.linalg.norm(in_plane(mesh), axis=1)
    assert np.isfinite(found).sum() > 500
    # A point source that starts late is a circle; the front is carried as if from a point
    # 0.4 mm away, so that it is exact along straight ways only.
    assert found[0] == pytest.approx(0.4)
    assert np.abs(found - true)[np.isfinite(found)].max() < 0.05


@pytest.mark.parametrize("height", [0.0, 0.31])
def test_a_straight_line_on_a_plane(height: float) -> None:
    mesh = plane()
    flat = in_plane(mesh)
    ends = np.array([[-1.8, height], [1.8, height]])
    line = np.column_stack([ends[:, 0] / np.sqrt(1.25), ends[:, 1], ends[:, 0] / np.sqrt(5.0)])
    found = geodesic_distance(mesh, polyline_sources(mesh, line, closed=False), limit_mm=1.2)
    beside = np.abs(flat[:, 0]) < 1.6
    true = np.abs(flat[:, 1] - height)
    near = beside & (true < 1.15)
    assert np.abs(found - true)[near].max() < 0.004
    assert np.abs(found - true)[near].mean() < 0.0005


def test_a_circle_on_a_plane_both_ways() -> None:
    mesh = plane()
    angle = np.arange(240) * 2 * np.pi / 240
    x, y = np.cos(angle), np.sin(angle)
    circle = np.column_stack([x / np.sqrt(1.25), y, x / np.sqrt(5.0)])
    found = geodesic_distance(mesh, polyline_sources(mesh, circle, closed=True), limit_mm=0.7)
    true = np.abs(np.linalg.norm(in_plane(mesh), axis=1) - 1.0)
    near = true < 0.65
    assert np.abs(found - true)[near].max() < 0.005
    assert np.abs(found - true)[near].mean() < 0.0005


def test_great_circles_of_a_sphere() -> None:
    mesh = sphere(1.5, 5)
    pole = mesh.vertices[0] / 1.5
    true = 1.5 * np.arccos(np.clip(mesh.vertices @ pole / 1.5, -1, 1))
    found = geodesic_distance(mesh, [0])
    assert (np.abs(found - true)[1:] / true[1:]).mean() < 0.002
    assert (np.abs(found - true)[1:] / true[1:]).max() < 0.01


def test_the_equator_of_a_sphere() -> None:
    mesh = sphere(1.5, 5)
    angle = np.arange(300) * 2 * np.pi / 300
    equator = 1.5 * np.column_stack([np.cos(angle), np.sin(angle), 0 * angle])
    sources = polyline_sources(mesh, equator, closed=True)
    found = geodesic_distance(mesh, sources, limit_mm=1.0)
    true = 1.5 * np.abs(np.arcsin(np.clip(mesh.vertices[:, 2] / 1.5, -1, 1)))
    near = true < 0.98
    assert np.abs(found - true)[near].max() < 0.003


def test_a_cylinder_unrolls() -> None:
    mesh = cylinder(2.0, 3.0, 126, 31)
    start = 126 * 15
    found = geodesic_distance(mesh, [start])
    angle = np.arctan2(mesh.vertices[:, 1], mesh.vertices[:, 0])
    true = np.hypot(2.0 * angle, mesh.vertices[:, 2] - mesh.vertices[start, 2])
    away = np.arange(len(true)) != start
    assert (np.abs(found - true)[away] / true[away]).max() < 0.002


def test_crowded_rows_are_gone_over_a_few_times_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows crowded at the lower rim of a cylinder, and a wave that crosses a third of them."""
    even = cylinder(2.0, 1.0, 126, 100)
    heights = even.vertices[:, 2] ** 2
    crowded = TriangleMesh(np.column_stack([even.vertices[:, :2], heights]), even.faces)
    angle = np.arange(2000) * 2 * np.pi / 2000
    wave = 0.3 + 0.2 * np.sin(3 * angle)
    line = np.column_stack([2.0 * np.cos(angle), 2.0 * np.sin(angle), wave])
    sources = polyline_sources(crowded, line, closed=True)
    passed: list[int] = []
    pass_on = geodesics._pass_on

    def counting(mesh: TriangleMesh, faces: np.ndarray, *rest: np.ndarray) -> np.ndarray:
        passed.append(len(faces))
        return pass_on(mesh, faces, *rest)

    monkeypatch.setattr(geodesics, "_pass_on", counting)
    found = geodesic_distance(crowded, sources)
    assert sum(passed) < 5 * len(crowded)
    around = np.concatenate([angle - 2 * np.pi, angle, angle + 2 * np.pi])
    unrolled = cKDTree(np.column_stack([2.0 * around, np.tile(wave, 3)]))
    turn = np.arctan2(crowded.vertices[:, 1], crowded.vertices[:, 0])
    true = unrolled.query(np.column_stack([2.0 * turn, heights]))[0]
    assert np.abs(found - true).max() < 0.01
    assert np.abs(found - true).mean() < 0.0005


def test_libigl_agrees_on_a_bumpy_surface() -> None:
    igl = pytest.importorskip("igl")
    ball = sphere(1.5, 4)
    bumpy = ball.vertices * [1.0, 0.7, 1.4] + 0.1 * np.sin(4 * ball.vertices[:, [1, 2, 0]])
    mesh = TriangleMesh(bumpy, ball.faces)
    none = np.array([], dtype=np.int64)
    true = igl.exact_geodesic(
        mesh.vertices, mesh.faces, np.array([0]), none, np.arange(len(mesh.vertices)), none
    )
    found = geodesic_distance(mesh, [0])
    assert (np.abs(found - true)[1:] / true[1:]).mean() < 0.004
    assert (np.abs(found - true)[1:] / true[1:]).max() < 0.02


def test_a_piece_without_a_source_is_never_reached() -> None:
    one = plane(200)
    count = len(one.vertices)
    two = TriangleMesh(
        np.vstack([one.vertices, one.vertices + np.array([0, 0, 0.01])]),
        np.vstack([one.faces, one.faces + count]),
    )
    found = geodesic_distance(two, [0])
    assert np.isfinite(found[:count]).all()
    assert np.isinf(found[count:]).all()


@pytest.mark.parametrize(
    ("vertices", "offsets"), [([0, 0], None), ([-1], None), ([10**6], None), ([1], [-0.1])]
)
def test_bad_sources_are_refused(vertices: list[int], offsets: list[float] | None) -> None:
    with pytest.raises(SettingError):
        vertex_sources(plane(50), vertices, offsets)


def test_a_limit_of_nothing_is_refused() -> None:
    with pytest.raises(SettingError, match="limit"):
        geodesic_distance(plane(50), [0], limit_mm=0.0)
