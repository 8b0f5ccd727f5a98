"""The truth about produced demo crowns against closed forms and independent computations."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
import pytest
from cuspwise.standalone_core.demo.meshing import mesh_surface
from cuspwise.standalone_core.demo.nearest import SurfaceSample, nearest_feet
from cuspwise.standalone_core.demo.produced import ProducedSurface
from cuspwise.standalone_core.demo.production_errors import Cap, Cut, Hole, ProductionErrors, Wave
from cuspwise.standalone_core.demo.quadrature import Nodes, surface_nodes
from cuspwise.standalone_core.demo.shape import Chip, CrownShape
from oracle.true_fit import best_fit
from oracle.true_measures import NoiseModel, measures_of
from oracle.truth import Truth, truth_of
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

SHAPE = CrownShape()
LIMITS = (-SHAPE.intaglio_length_mm, SHAPE.external_length_mm)


def truth(errors: ProductionErrors, spacing_mm: float = 0.35) -> Truth:
    return truth_of(ProducedSurface(SHAPE, errors), spacing_mm=spacing_mm)


def by_name(rows):
    return {(row.area, row.direction): row for row in rows}


@dataclass(frozen=True)
class Sphere:
    """Sphere or ellipsoid over longitude and latitude: stands in for a crown's shape."""

    radii: tuple[float, float, float] = (5.0, 5.0, 5.0)
    centre: tuple[float, float, float] = (0.0, 0.0, 0.0)
    external_length_mm: float = 2.5 * np.pi
    intaglio_length_mm: float = 2.5 * np.pi
    rim_width_mm: float = 0.1
    chips: tuple[Chip, ...] = ()

    def points(self, theta, s):
        theta, a = np.broadcast_arrays(theta, s / 5.0)
        unit = [np.cos(a) * np.cos(theta), np.cos(a) * np.sin(theta), np.sin(a)]
        return np.stack(unit, axis=-1) * self.radii + self.centre

    def tangents(self, theta, s):
        h = 1e-5
        around = (self.points(theta + h, s) - self.points(theta - h, s)) / (2.0 * h)
        along = (self.points(theta, s + h) - self.points(theta, s - h)) / (2.0 * h)
        return self.points(theta, s), around, along


def sphere_nodes(sphere: Sphere, spacing_mm: float = 0.15) -> Nodes:
    return surface_nodes(sphere, spacing_mm)


def distances(nodes: Nodes, to: Sphere) -> np.ndarray:
    limits = (-to.intaglio_length_mm, to.external_length_mm)
    return nearest_feet(to, limits, nodes.points, nodes.theta, nodes.s).signed_mm


def test_quadrature_of_a_sphere():
    nodes = sphere_nodes(Sphere())
    assert nodes.weights_mm2.sum() == pytest.approx(4.0 * np.pi * 25.0, rel=1e-7)
    np.testing.assert_allclose(nodes.normals, nodes.points / 5.0, atol=1e-7)


def test_nearest_points_of_a_sphere_are_exact():
    sphere = Sphere()
    nodes = sphere_nodes(sphere, 0.4)
    rng = np.random.default_rng(1)
    queries = nodes.points * rng.uniform(0.9, 1.1, (len(nodes.s), 1))
    feet = nearest_feet(
        sphere, (-2.5 * np.pi, 2.5 * np.pi), queries, nodes.theta + 0.05, nodes.s + 0.1
    )
    assert feet.unsettled == 0
    np.testing.assert_allclose(feet.signed_mm, np.linalg.norm(queries, axis=1) - 5.0, atol=1e-9)


def test_a_sphere_moved_unaligned():
    # R = 5, δ = 0.05: mean δ²/3R, RMS δ/√3, mean absolute ≈ δ/2, half range ≈ 0.8 δ
    # (closed forms: mean of δ cos a over a sphere and its next order).
    moved = Sphere(centre=(0.0, 0.03, 0.04))
    d = distances(sphere_nodes(moved), Sphere())
    row = measures_of(d, sphere_nodes(moved).weights_mm2)
    assert row.mean_um == pytest.approx(1e3 * 0.05**2 / 15.0, abs=1e-3)
    assert row.rms_um == pytest.approx(28.868, abs=1e-2)
    assert row.mean_abs_um == pytest.approx(25.000, abs=1e-2)
    assert row.half_p90_p10_um == pytest.approx(39.999, abs=0.1)


def test_a_sphere_moved_and_fitted_is_back():
    nodes = sphere_nodes(Sphere(centre=(0.1, -0.2, 0.15)), 0.3)
    plain = sphere_nodes(Sphere(), 0.2)
    sample = SurfaceSample(plain.theta, plain.s, cKDTree(plain.points))
    fit = best_fit(Sphere(), nodes, sample)
    assert fit.rms_um < 1e-6
    back = fit.motion[:3, :3] @ [0.1, -0.2, 0.15] + fit.motion[:3, 3]
    np.testing.assert_allclose(back, 0.0, atol=1e-9)


def test_small_scale_errors_of_a_sphere():
    # mean R ē, SD R √(2/15 Σ(e_i - ē)²): R = 5, e = (.01, .01, .02): 66.67 and 14.91 µm,
    # to first order in e; a hundredth of that error leaves the second order below 0.1 %.
    e = np.array([1e-4, 1e-4, 2e-4])
    scaled = Sphere(radii=tuple(5.0 * (1.0 + e)))
    nodes = sphere_nodes(scaled)
    row = measures_of(distances(nodes, Sphere()), nodes.weights_mm2)
    assert row.mean_um == pytest.approx(0.6667, rel=1e-3)
    assert row.sd_um == pytest.approx(0.1491, rel=2e-3)


def test_noise_alone_is_a_normal_variable():
    # mean absolute .7978846 σ, (P90 - P10)/2 = 1.2815516 σ (standard normal tables)
    row = measures_of(np.zeros(10), np.ones(10), noise=NoiseModel(3.0))
    assert row.mean_abs_um == pytest.approx(3.0 * 0.7978846, rel=1e-6)
    assert row.half_p90_p10_um == pytest.approx(3.0 * 1.2815516, rel=1e-4)
    assert row.sd_um == pytest.approx(3.0)
    assert row.mean_positive_um == pytest.approx(3.0 * 0.7978846, rel=1e-6)
    assert row.median_um == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("from_vertices", [True, False])
def test_noise_is_convolved_as_sampling_would(from_vertices):
    """Against two million random draws, in triangles or at vertices."""
    rng = np.random.default_rng(8)
    d = 1e-3 * rng.normal(2.0, 5.0, 400)
    w = rng.uniform(0.5, 2.0, 400)
    row = measures_of(d, w, noise=NoiseModel(4.0), from_vertices=from_vertices, tolerance_um=6.0)
    drawn = rng.choice(400, 2_000_000, p=w / w.sum())
    shares = rng.dirichlet([1.0, 1.0, 1.0], 2_000_000)
    spread = 1.0 if from_vertices else np.sqrt((shares**2).sum(axis=1))
    x = 1e3 * d[drawn] + 4.0 * spread * rng.normal(size=2_000_000)
    assert row.mean_abs_um == pytest.approx(np.abs(x).mean(), abs=0.02)
    assert row.rms_um == pytest.approx(np.sqrt(np.mean(x**2)), abs=0.02)
    assert row.p10_um == pytest.approx(np.percentile(x, 10), abs=0.03)
    assert row.p90_um == pytest.approx(np.percentile(x, 90), abs=0.03)
    assert row.mean_positive_um == pytest.approx(x[x > 0].mean(), abs=0.03)
    assert row.mean_negative_um == pytest.approx(x[x < 0].mean(), abs=0.03)
    assert row.within_tolerance == pytest.approx(np.mean(np.abs(x) <= 6.0), abs=2e-3)


def test_percentiles_without_noise():
    # 1..10 with equal weights: half range by Hazen's positions 4.0, P90 9.5
    row = measures_of(1e-3 * np.arange(1.0, 11.0), np.ones(10))
    assert row.half_p90_p10_um == pytest.approx(4.0)
    assert row.p90_um == pytest.approx(9.5)
    assert measures_of(np.zeros(0), np.zeros(0)).n == 0
    assert np.isnan(measures_of(np.zeros(0), np.zeros(0)).mean_um)


@pytest.mark.slow
def test_a_constant_offset_is_itself_in_every_area_before_and_after_the_fit():
    offset = truth(ProductionErrors(offset_um=25.0))
    # fitted, ∮ n dA = 0 holds only as well as the coarse quadrature does
    for frame, tolerance in (("design", 1e-6), ("best_fit", 0.05)):
        for row in offset.measures(frame):
            assert row.mean_um == pytest.approx(25.0, abs=tolerance)
            assert row.rms_um == pytest.approx(25.0, abs=tolerance)
            assert row.sd_um < tolerance
            assert row.half_p90_p10_um < tolerance
            assert np.isnan(row.mean_negative_um)


def test_a_moved_design_fits_back_without_residual():
    plain = surface_nodes(SHAPE, 0.3)
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_rotvec([0.01, -0.02, 0.015]).as_matrix()
    motion[:3, 3] = [0.05, -0.04, 0.06]
    moved = Nodes(
        plain.theta,
        plain.s,
        plain.points @ motion[:3, :3].T + motion[:3, 3],
        plain.normals @ motion[:3, :3].T,
        plain.weights_mm2,
    )
    dense = surface_nodes(SHAPE, 0.1)
    fit = best_fit(SHAPE, moved, SurfaceSample(dense.theta, dense.s, cKDTree(dense.points)))
    assert fit.rms_um < 1e-5
    np.testing.assert_allclose(fit.motion @ motion, np.eye(4), atol=1e-8)


def test_displacements_along_normals_are_the_deviations_of_the_scan():
    """Q = P + d n lies d off the design, so long as d stays below the radius of curvature."""
    errors = ProductionErrors(waves=(Wave((0.4, 1.0, 0.2), 9.0, 20.0),))
    case = truth(errors)
    nodes = case.produced_nodes
    points, normals = SHAPE.points_and_normals(nodes.theta, nodes.s)
    expected = case.surface.displacement(nodes.s, points, normals)
    found = case.deviation("scan_to_design")
    assert found.unsettled == 0
    np.testing.assert_allclose(found.deviation_mm, expected, atol=1e-9)


@pytest.mark.slow
def test_deviations_agree_with_distances_to_fine_meshes():
    """Both directions against libigl's exact distances to meshes of 0.04 mm edges."""
    errors = ProductionErrors(
        waves=(Wave((1.0, 0.3, 0.5), 8.0, 25.0),),
        spots=(Cap(95.0, 4.0, 0.6, 150.0), Cap(250.0, 6.0, 0.5, -80.0)),
        chips=(Chip(40.0, 1.5, 0.15),),
    )
    case = truth(errors, 0.5)
    for direction, surface, nodes in (
        ("scan_to_design", SHAPE, case.produced_nodes),
        ("design_to_scan", case.surface, case.design_nodes),
    ):
        grid = mesh_surface(SHAPE.points, *LIMITS, 0.06)
        vertices = surface.points(grid.theta, grid.s)
        distance = np.sqrt(igl.point_mesh_squared_distance(nodes.points, vertices, grid.faces)[0])
        found = np.abs(case.deviation(direction).deviation_mm)
        # facets lie inside convex places by up to L²/8R: 0.2 µm on walls, 13 µm at the rim
        assert np.median(np.abs(found - distance)) < 2e-4
        assert np.quantile(np.abs(found - distance), 0.9) < 3e-3
        assert np.abs(found - distance).max() < 0.02


def test_signs_of_the_two_directions_agree():
    case = truth(ProductionErrors(waves=(Wave((0.0, 0.0, 1.0), 7.0, 30.0),)))
    rows = by_name(case.measures())
    for area in ("whole", "occlusal", "intaglio", "contact_mesial"):
        there, back = rows[area, "design_to_scan"], rows[area, "scan_to_design"]
        assert there.mean_um == pytest.approx(back.mean_um, abs=1.0)
        assert there.rms_um == pytest.approx(back.rms_um, rel=0.03)


def test_the_best_fit_is_a_minimum():
    """Any small motion away from it raises the mean squared distance, in all six directions."""
    case = truth(
        ProductionErrors(scale=(1.002, 0.999, 1.001), spots=(Cap(95.0, 4.0, 0.6, 150.0),)), 0.35
    )
    nodes, fit = case.produced_nodes, case.fit
    assert fit.last_step_um < 1e-4
    plain = case.deviation("scan_to_design")
    before = np.average(plain.deviation_mm**2, weights=plain.weights_mm2)
    assert fit.rms_um < 1e3 * np.sqrt(before)

    def mean_square(change: np.ndarray) -> float:
        x = nodes.points @ fit.motion[:3, :3].T + fit.motion[:3, 3]
        x = Rotation.from_rotvec(change[:3]).apply(x) + change[3:]
        feet = nearest_feet(SHAPE, LIMITS, x, nodes.theta, nodes.s)
        return float(np.average(feet.signed_mm**2, weights=nodes.weights_mm2))

    least = mean_square(np.zeros(6))
    assert 1e3 * np.sqrt(least) == pytest.approx(fit.rms_um, rel=1e-6)
    for k in range(6):
        step = np.zeros(6)
        step[k] = 1e-3
        up, down = mean_square(step), mean_square(-step)
        assert up > least < down
        # vertex of the parabola through the three: where the optimum is
        offset = 1e-3 * 0.5 * (down - up) / (up - 2.0 * least + down)
        assert abs(offset) < 2e-6


@pytest.mark.slow
def test_the_truth_converges_as_its_points_thicken():
    errors = ProductionErrors(scale=(1.001, 1.001, 1.001))
    coarse, fine = (by_name(truth(errors, h).measures()) for h in (0.4, 0.2))
    for area in ("whole", "external", "intaglio", "margin"):
        for direction in ("design_to_scan", "scan_to_design"):
            one, two = coarse[area, direction], fine[area, direction]
            assert one.mean_um == pytest.approx(two.mean_um, abs=0.1)
            assert one.rms_um == pytest.approx(two.rms_um, rel=0.01)


def test_missing_parts_do_not_count():
    whole = truth(ProductionErrors(offset_um=10.0), 0.5)
    errors = ProductionErrors(
        offset_um=10.0, cut=Cut((0.0, 1.0, 0.0), 0.2), holes=(Hole(270.0, 4.0, 0.6),)
    )
    part = truth(errors, 0.5)
    for direction in ("design_to_scan", "scan_to_design"):
        field, full = part.deviation(direction), whole.deviation(direction)
        shown = field.weights_mm2[field.counted].sum() / full.weights_mm2.sum()
        assert 0.77 < shown < 0.81
        np.testing.assert_allclose(field.deviation_mm[field.counted], 0.01, atol=1e-9)
