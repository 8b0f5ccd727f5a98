"""Signs, exclusions and directions of deviations, against closed forms and libigl."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.deviation.field import (
    COUNTED,
    NORMALS_DISAGREE,
    ON_BORDER,
    STATUS_WORDS,
    TOO_FAR,
    DeviationSettings,
    measure_deviation,
)
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex


def sphere(radius: float, subdivisions: int = 4, centre=(0.0, 0.0, 0.0)) -> TriangleMesh:
    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return TriangleMesh(ball.vertices + np.asarray(centre), ball.faces)


def sheet(half: float = 1.0, cells: int = 20, height: float = 0.0) -> TriangleMesh:
    """Flat square facing +z, centred on the z axis."""
    line = np.linspace(-half, half, cells + 1)
    x, y = np.meshgrid(line, line, indexing="ij")
    vertices = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, height)])
    corner = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (
        part.ravel()
        for part in (corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:])
    )
    return TriangleMesh(vertices, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))


def tilt(angle_deg: float) -> np.ndarray:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    motion = np.eye(4)
    motion[:3, :3] = [[1, 0, 0], [0, c, -s], [0, s, c]]
    return motion


def test_excess_is_positive_and_missing_material_negative_in_both_directions() -> None:
    design, larger, smaller = sphere(5.0), sphere(5.05), sphere(4.95)
    for scan, sign in ((larger, 1), (smaller, -1)):
        forward = measure_deviation(design, SurfaceIndex(scan), "design_to_scan")
        backward = measure_deviation(scan, SurfaceIndex(design), "scan_to_design")
        assert forward.counted.all()
        assert backward.counted.all()
        assert (np.sign(forward.deviation_mm) == sign).all()
        assert (np.sign(backward.deviation_mm) == sign).all()


def test_directions_differ_on_a_spike() -> None:
    """A spike as tall as 0.5 mm is 0.5 mm off from its tip, far less from below it."""
    design = sheet(half=2.0, cells=80)
    spike = np.array(design.vertices)
    spike[np.hypot(spike[:, 0], spike[:, 1]) < 1e-9, 2] = 0.5
    scan = TriangleMesh(spike, design.faces)
    settings = DeviationSettings(max_normal_angle_deg=180)
    forward = measure_deviation(design, SurfaceIndex(scan), "design_to_scan", settings)
    backward = measure_deviation(scan, SurfaceIndex(design), "scan_to_design", settings)
    assert np.nanmax(backward.deviation_mm) == pytest.approx(0.5, abs=1e-12)
    # The spike's eight lowest slopes rise 0.5 over 0.05 √½ or 0.05 mm of run: from below its
    # tip the nearest of their planes is at h r/√(h² + r²).
    run = 0.05 * np.sqrt(0.5)
    assert np.nanmax(forward.deviation_mm) == pytest.approx(0.5 * run / np.hypot(0.5, run), 1e-9)


def test_distances_and_signs_agree_with_libigl() -> None:
    igl = pytest.importorskip("igl")
    rng = np.random.default_rng(11)
    design = sphere(4.0, 4)
    rough = np.array(sphere(4.0, 4).vertices) * (1 + 0.01 * rng.standard_normal((2562, 1)))
    scan = TriangleMesh(rough + np.array([0.03, -0.02, 0.01]), design.faces)
    result = measure_deviation(design, SurfaceIndex(scan))
    answer = igl.signed_distance(
        np.array(design.vertices),
        np.array(scan.vertices),
        np.array(scan.faces),
        sign_type=igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL,
    )
    counted = result.counted
    assert counted.mean() > 0.95
    np.testing.assert_allclose(result.deviation_mm[counted], -answer[0][counted], atol=1e-12)


@pytest.mark.parametrize(("gap", "expected"), [(0.499, COUNTED), (0.501, TOO_FAR)])
def test_only_points_within_the_search_distance_count(gap: float, expected: int) -> None:
    scan = SurfaceIndex(sheet(half=3.0, height=gap))
    result = measure_deviation(sheet(), scan, settings=DeviationSettings(search_mm=0.5))
    assert (result.status == expected).all()
    assert np.isnan(result.deviation_mm).all() == (expected == TOO_FAR)


def test_points_nearest_to_an_open_border_do_not_count() -> None:
    design, scan = sheet(half=1.0), sheet(half=0.55, cells=11, height=0.02)
    result = measure_deviation(design, SurfaceIndex(scan))
    over_the_edge = np.abs(design.vertices[:, :2]).max(axis=1) > 0.55 - 1e-9
    assert (result.status[over_the_edge] == ON_BORDER).all()
    assert (result.status[~over_the_edge] == COUNTED).all()
    np.testing.assert_allclose(result.deviation_mm[~over_the_edge], 0.02, atol=1e-15)
    # Each vertex of the 20 × 20 cells stands for 0.01 mm²; the 11 × 11 inner ones count.
    assert result.coverage == pytest.approx(121 * 0.01 / 4.0)


def test_a_closed_surface_has_no_border() -> None:
    result = measure_deviation(sphere(5.0), SurfaceIndex(sphere(5.1)))
    assert result.status_shares == {word: float(word == "counted") for word in STATUS_WORDS}


@pytest.mark.parametrize(("angle", "expected"), [(59.0, COUNTED), (61.0, NORMALS_DISAGREE)])
def test_normals_more_than_60_degrees_apart_do_not_count(angle: float, expected: int) -> None:
    patch = sheet(half=0.1, cells=4)
    result = measure_deviation(patch, SurfaceIndex(sheet(half=2.0).moved(tilt(angle))))
    assert (result.status == expected).all()


def test_the_outer_side_of_a_thin_wall_is_never_measured_to_its_inner_side() -> None:
    wall = trimesh.creation.box((4.0, 4.0, 0.3)).subdivide_to_size(0.2)
    design = TriangleMesh(wall.vertices, wall.faces)
    lower_side_only = SurfaceIndex(sheet(half=4.0, height=-0.16).flipped())
    result = measure_deviation(design, lower_side_only)
    top = np.isclose(design.vertices[:, 2], 0.15)
    bottom = np.isclose(design.vertices[:, 2], -0.15) & (
        np.abs(design.vertices[:, :2]).max(axis=1) < 2 - 1e-9
    )
    assert (result.status[top] == NORMALS_DISAGREE).all()
    assert (result.status[bottom] == COUNTED).all()
    np.testing.assert_allclose(result.deviation_mm[bottom], 0.01, atol=1e-12)


def test_points_on_a_sharp_rim_count_against_the_same_rim() -> None:
    """At a 20° rim a vertex normal lies 80° from both sides, yet the rim is the same place."""
    half, slope = 2.0, np.tan(np.radians(10.0))
    line = np.linspace(-1.0, 1.0, 21)
    depth = np.linspace(0.0, half, 21)
    sides = []
    for sign in (1.0, -1.0):
        x, y = np.meshgrid(line, depth, indexing="ij")
        sides.append(np.column_stack([x.ravel(), y.ravel(), sign * slope * y.ravel()]))
    grid = np.arange(21 * 21).reshape(21, 21)
    a, b, c, d = (
        part.ravel() for part in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:])
    )
    top_faces = np.concatenate([np.c_[a, b, c], np.c_[a, c, d]])
    lower = grid.ravel() + 21 * 21
    lower[grid[:, 0]] = grid[:, 0]  # the rim is shared
    faces = np.concatenate([top_faces, lower[top_faces][:, ::-1]])
    wedge = TriangleMesh(np.concatenate(sides), faces)
    rim = grid[1:-1, 0]
    lifted = np.eye(4)
    lifted[1, 3] = -0.01  # 10 µm outwards along the wedge
    result = measure_deviation(wedge, SurfaceIndex(wedge.moved(lifted)))
    assert (result.status[rim] == COUNTED).all()
    # From inside the moved wedge both sides are at 10 µm × sin 10°.
    expected = 0.01 * np.sin(np.radians(10.0))
    np.testing.assert_allclose(result.deviation_mm[rim], expected, rtol=1e-9)


def test_scan_points_take_the_areas_of_the_nearest_evaluation_point() -> None:
    design = sheet(half=1.0, cells=20)
    scan = sheet(half=0.95, cells=37, height=0.01)
    result = measure_deviation(scan, SurfaceIndex(design), "scan_to_design")
    nearest = np.linalg.norm(scan.vertices[:, None, :2] - design.vertices[None, :, :2], axis=2)
    chosen = nearest[np.arange(len(scan.vertices)), result.area_point]
    # Where one barycentric is the largest, the point farthest from its corner is the centroid:
    # at most √5/3 of a side away in a right-angled half cell.
    assert (chosen <= 0.1 * np.sqrt(5) / 3 + 1e-12).all()
    far = measure_deviation(sheet(height=5.0), SurfaceIndex(design), "scan_to_design")
    assert (far.area_point == -1).all()


def test_moving_both_surfaces_changes_nothing() -> None:
    motion = tilt(33.0)
    motion[:3, 3] = [7.0, -3.0, 11.0]
    design, scan = sphere(5.0), sphere(5.02, 4, (0.01, 0.02, 0.0))
    still = measure_deviation(design, SurfaceIndex(scan))
    moved = measure_deviation(design.moved(motion), SurfaceIndex(scan.moved(motion)))
    np.testing.assert_allclose(moved.deviation_mm, still.deviation_mm, atol=1e-12)


@pytest.mark.parametrize(
    "wrong", [{"search_mm": 0.0}, {"search_mm": np.nan}, {"max_normal_angle_deg": -1.0}]
)
def test_settings_that_find_nothing_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(SettingError, match=next(iter(wrong))):
        DeviationSettings(**wrong)


def test_an_unknown_direction_is_refused() -> None:
    with pytest.raises(SettingError, match="sideways"):
        measure_deviation(sheet(), SurfaceIndex(sheet()), "sideways")  # type: ignore[arg-type]
