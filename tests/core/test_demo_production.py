"""Produced demo crowns deviate as asked, in meshes and poses of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.production import ProducedCrown, produce, scanner_noise
from cuspwise.standalone_core.demo.production_errors import (
    BallFill,
    Cap,
    Cut,
    Debris,
    Hole,
    Layers,
    ProductionErrors,
    ScannerNoise,
    Wave,
)
from cuspwise.standalone_core.demo.rolling_ball import ball_shift
from cuspwise.standalone_core.demo.scenario import write_demo_steps
from cuspwise.standalone_core.demo.shape import Chip, CrownShape
from cuspwise.standalone_core.errors import FileError, SettingError
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.progress import run
from scipy.spatial import cKDTree

SHAPE = CrownShape()


@pytest.fixture(scope="module")
def crown() -> DemoCrown:
    return demo_crown(0.3)


def made(crown: DemoCrown, errors: ProductionErrors, edge_mm: float = 0.3) -> ProducedCrown:
    return produce(crown, errors, edge_mm=edge_mm, rng=np.random.default_rng(7))


def shifts(errors: ProductionErrors, theta, s) -> np.ndarray:
    """Displacement along the design's normal, mm."""
    points, normals = SHAPE.points_and_normals(theta, s)
    moved = ProducedSurface(SHAPE, errors).points(theta, s)
    return np.einsum("ij,ij->i", moved - points, normals)


def spread_parameters(count: int = 5000) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(3)
    return rng.uniform(0.0, 2.0 * np.pi, count), rng.uniform(-7.3, 9.8, count)


def test_the_true_pose_takes_the_scan_back(crown):
    scan = made(crown, ProductionErrors(noise=ScannerNoise(0.0)))
    rotation = scan.T_true_design_scan[:3, :3]
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-14)
    assert np.linalg.det(rotation) == pytest.approx(1.0)
    back = scan.mesh.moved(scan.T_true_design_scan).vertices
    np.testing.assert_allclose(back, SHAPE.points(scan.theta, scan.s), atol=1e-12)
    assert np.abs(scan.T_true_design_scan - np.eye(4)).max() > 1.0


def test_the_scan_is_closed_and_has_vertices_of_its_own(crown):
    scan = made(crown, ProductionErrors(any_pose=False))
    mesh = trimesh.Trimesh(scan.mesh.vertices, scan.mesh.faces, process=False)
    assert mesh.is_watertight
    assert mesh.euler_number == 2
    assert mesh.volume > 0
    distance, _ = cKDTree(crown.mesh.vertices).query(scan.mesh.vertices)
    assert np.mean(distance < 0.01) < 0.02  # independent sampling, not the design's vertices
    assert np.mean(np.abs(scan.s) < 1e-6) == 0.0


def test_an_offset_moves_every_point_along_its_normal():
    theta, s = spread_parameters()
    np.testing.assert_allclose(shifts(ProductionErrors(offset_um=30.0), theta, s), 0.03, atol=1e-12)


def test_a_wave_has_its_amplitude_and_mean_square():
    theta, s = spread_parameters(40_000)
    d = shifts(ProductionErrors(waves=(Wave((1.0, 1.0, 0.0), 0.9, 20.0),)), theta, s)
    assert np.abs(d).max() == pytest.approx(0.020, rel=1e-4)
    assert np.sqrt(np.mean(d**2)) == pytest.approx(0.020 / np.sqrt(2.0), rel=0.02)


@pytest.mark.parametrize("height_um", [120.0, -80.0])
def test_a_spot_is_a_smooth_cap_of_its_height_and_radius(height_um):
    spot = Cap(95.0, 4.0, 0.6, height_um)
    theta = np.deg2rad(95.0) + np.linspace(-0.3, 0.3, 401)
    s = np.full(401, 4.0)
    d = shifts(ProductionErrors(spots=(spot,)), theta, s)
    apart = np.linalg.norm(SHAPE.points(theta, s) - SHAPE.points(theta[200:201], s[:1]), axis=1)
    assert d[200] == pytest.approx(1e-3 * height_um)
    np.testing.assert_allclose(d[apart >= 0.6], 0.0, atol=1e-12)
    assert np.all(np.sign(d[apart < 0.59]) == np.sign(height_um))
    # the intaglio behind it stays
    np.testing.assert_allclose(
        shifts(ProductionErrors(spots=(spot,)), theta, np.full(401, -4.0)), 0.0, atol=1e-12
    )


def test_scale_is_about_the_origin():
    theta, s = spread_parameters()
    scaled = ProducedSurface(SHAPE, ProductionErrors(scale=(1.001, 1.0, 0.998)))
    expected = SHAPE.points(theta, s) * [1.001, 1.0, 0.998]
    np.testing.assert_allclose(scaled.points(theta, s), expected, atol=1e-12)


def test_layer_steps_repeat_by_the_layer_and_fade_on_steep_walls():
    layers = Layers(0.1, (0.0, 0.0, 1.0), 0.05)
    theta, s = spread_parameters(100_000)
    d = shifts(ProductionErrors(layers=layers), theta, s)
    points, normals = SHAPE.points_and_normals(theta, s)
    # first harmonics of a saw-tooth: |Σ sin(kφ)/k| < 1.852 (Wilbraham 1848, Gibbs; from memory)
    assert np.abs(d).max() <= 0.1 / np.pi * 1.8520
    assert np.abs(d).max() > 0.02
    assert np.abs(d[np.abs(normals[:, 2]) < 0.2]).max() < 0.0005
    flat = np.abs(normals[:, 2]) > 0.9995
    assert flat.sum() > 20
    phase = 2.0 * np.pi * points[flat, 2] / 0.1
    saw = sum(np.sin(k * phase) / k for k in (1, 2, 3)) * 0.1 / np.pi
    np.testing.assert_allclose(d[flat], saw, atol=0.002)


@pytest.mark.parametrize("half_angle_deg", [45.0, 60.0])
def test_a_ball_leaves_the_textbook_excess_in_an_edge(half_angle_deg):
    """An inside edge of opening angle 2α keeps r (1/sin α - 1): r(√2 - 1) in a right angle."""
    half, radius, step = np.deg2rad(half_angle_deg), 0.5, 0.004
    along = np.arange(1, 500) * step
    across = np.linspace(-0.02, 0.02, 3)
    flanks = []
    for sign in (-1.0, 1.0):
        direction = np.array([sign * np.sin(half), 0.0, np.cos(half)])
        normal = np.array([-sign * np.cos(half), 0.0, np.sin(half)])
        points = along[:, None, None] * direction + across[None, :, None] * [0.0, 1.0, 0.0]
        flanks.append((points.reshape(-1, 3), np.broadcast_to(normal, (len(along) * 3, 3))))
    points = np.concatenate([flank[0] for flank in flanks])
    normals = np.concatenate([flank[1] for flank in flanks])
    places = np.array([[0.0, 0.0, 0.0], points[450], points[-1]])
    shift = ball_shift(points, points + radius * normals, radius, places)
    assert shift[0, 2] == pytest.approx(radius * (1.0 / np.sin(half) - 1.0), abs=2.0 * step)
    assert abs(shift[0, 0]) < 0.02
    assert np.linalg.norm(shift[2]) < 1e-9  # far up the flank the ball touches


@pytest.mark.slow
def test_a_tool_fills_fissures_and_leaves_cusps(crown):
    errors = ProductionErrors(fills=(BallFill(0.5),))
    theta, s = crown.theta, crown.s
    d = shifts(errors, theta, s)
    areas = crown.vertex_areas
    assert d[areas["fossae"]].max() > 0.1
    assert d.min() > -0.003  # excess only, but for the smoothing
    assert np.abs(d[areas["intaglio"]]).max() == 0.0
    outside = areas["axial"] & areas["margin"]
    assert np.abs(d[outside]).max() < 1e-9
    for cusp in SHAPE.cusps:
        tip = np.argmin(
            np.linalg.norm(crown.mesh.vertices[:, :2] - [cusp.x_mm, cusp.y_mm], axis=1)
            + 10.0 * (s < 3.0)
        )
        assert abs(d[tip]) < 1e-6
    share = shifts(replace(errors, fills=(BallFill(0.5, 0.25),)), theta, s)
    np.testing.assert_allclose(share, 0.25 * d, atol=1e-9)


def test_a_chip_takes_the_rim_and_leaves_the_walls():
    chip = Chip(40.0, 1.5, 0.2)
    surface = ProducedSurface(SHAPE, ProductionErrors(chips=(chip,)))
    theta = np.deg2rad(40.0) + np.linspace(-np.pi, np.pi, 721)
    crest = surface.points(theta, np.zeros(721))
    receded = np.linalg.norm(crest - SHAPE.points(theta, np.zeros(721)), axis=1)
    assert abs(receded.argmax() - 360) <= 2
    # the middle line between both walls rises at about the cosine of half their angle
    assert 0.5 * chip.depth_mm < receded[360] < 1.1 * chip.depth_mm
    half = np.interp(0.5 * receded[360], receded[360:540][::-1], theta[360:540][::-1])
    width = 2.0 * (half - theta[360]) * SHAPE.margin_outline.mean_mm
    assert 0.3 * chip.width_mm < width < 1.3 * chip.width_mm
    for s in (1.0, -1.0):
        wall = np.full(721, s)
        np.testing.assert_allclose(
            surface.points(theta, wall), SHAPE.points(theta, wall), atol=1e-9
        )


def test_noise_has_its_spread_and_reach(crown):
    points = crown.mesh.vertices
    rng = np.random.default_rng(11)
    white = scanner_noise(ScannerNoise(3.0), points, rng)
    assert white.std() == pytest.approx(0.003, rel=0.03)
    smooth = np.array(
        [scanner_noise(ScannerNoise(0.0, 3.0, 2.0), points[:600:20], rng) for _ in range(300)]
    )
    assert smooth.std() == pytest.approx(0.003, rel=0.1)
    # correlation of Gaussian random waves: exp(-r² / (2 L²))
    apart = np.linalg.norm(points[:600:20] - points[0], axis=1)
    found = (smooth * smooth[:, :1]).mean(axis=0) / 0.003**2
    np.testing.assert_allclose(found, np.exp(-(apart**2) / 8.0), atol=0.25)


def test_noise_is_what_the_scan_says_it_is(crown):
    scan = made(crown, ProductionErrors(noise=ScannerNoise(4.0), any_pose=False))
    clean = SHAPE.points(scan.theta, scan.s)
    np.testing.assert_allclose(
        np.linalg.norm(scan.mesh.vertices - clean, axis=1), np.abs(scan.noise_mm), atol=1e-12
    )
    assert scan.noise_mm.std() == pytest.approx(0.004, rel=0.05)


def test_holes_cut_missing_intaglio_and_debris(crown):
    def open_loops(mesh) -> int:
        return len(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).outline().entities)

    whole = made(crown, ProductionErrors()).mesh
    holed = made(crown, ProductionErrors(holes=(Hole(95.0, 4.0, 0.7), Hole(200.0, -4.0, 0.5)))).mesh
    assert open_loops(whole) == 0
    assert open_loops(holed) == 2
    lost = whole.area_mm2 - holed.area_mm2
    assert 0.8 * np.pi * (0.7**2 + 0.5**2) < lost < 1.8 * np.pi * (0.7**2 + 0.5**2)
    cut = made(crown, ProductionErrors(cut=Cut((0.3, 1.0, 0.2), 0.2))).mesh
    assert cut.area_mm2 / whole.area_mm2 == pytest.approx(0.8, abs=0.02)
    outside = made(crown, ProductionErrors(intaglio_missing=True))
    assert (outside.s >= 0.0).all()
    assert open_loops(outside.mesh) == 1
    littered = made(crown, ProductionErrors(debris=Debris(4)))
    pieces = trimesh.Trimesh(littered.mesh.vertices, littered.mesh.faces, process=False).split()
    assert sorted(len(piece.faces) for piece in pieces)[:-1] == [8] * 4
    assert all(piece.is_watertight and piece.volume > 0 for piece in pieces)
    assert len(littered.noise_mm) == len(littered.mesh.vertices)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Wave((1.0, 0.0, 0.0), 0.0, 5.0),
        lambda: Wave((0.0, 0.0, 0.0), 5.0, 5.0),
        lambda: Cap(0.0, 4.0, -0.5, 100.0),
        lambda: Layers(float("nan")),
        lambda: BallFill(0.0),
        lambda: Hole(0.0, 4.0, 0.0),
        lambda: Cut((0.0, 0.0, 1.0), 1.0),
        lambda: ProductionErrors(scale=(1.0, 0.0, 1.0)),
    ],
)
def test_senseless_sizes_are_refused(make):
    with pytest.raises(SettingError):
        make()


def test_the_seed_decides(crown):
    errors = ProductionErrors(noise=ScannerNoise(2.0, 2.0), debris=Debris(2))
    sums = {
        produce(crown, errors, edge_mm=0.4, rng=np.random.default_rng(seed)).mesh.checksum
        for seed in (1, 1, 2)
    }
    assert len(sums) == 2


def test_the_demo_case_is_written_whole(tmp_path):
    files = run(write_demo_steps(tmp_path / "new"))
    assert "invented" in files.text
    assert [scan.name for scan in files.scans] == ["printed.stl", "milled.stl"]
    for path in (files.design, *files.scans):
        mesh = read_mesh(path).mesh
        assert 95_000 < len(mesh) < 110_000
    assert read_mesh(files.design).mesh.area_mm2 == pytest.approx(
        demo_crown(0.1).mesh.area_mm2, rel=1e-6
    )
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError):
        run(write_demo_steps(tmp_path / "file"))
