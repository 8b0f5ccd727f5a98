"""Crowns with known causes deviate as their formulae say, to first order and as whole scans."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cuspwise.standalone_core.demo.produced import RIM_CHANGE_MM, ProducedSurface
from cuspwise.standalone_core.demo.production_errors import (
    BallFill,
    ProductionErrors,
    Ring,
    Stretch,
)
from cuspwise.standalone_core.demo.quadrature import surface_nodes
from cuspwise.standalone_core.demo.shape import CrownShape
from cuspwise.standalone_core.deviation.field import DeviationField
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.geodesics import geodesic_distance, polyline_sources
from cuspwise.standalone_core.mesh.health import inspect_mesh
from made.caused import (
    Flaws,
    as_field,
    first_order,
    nearest_field,
    normal_parts,
    raw_field,
    smooth_noise,
    together,
    whole,
)
from made.caused_fills import cotangent_laplacian, filled_by_smoothing, filled_under_ball
from made.caused_form import FORMS, bumpy_form_error, form_error
from made.caused_shapes import NAMES, CausedDesign, caused_design
from made.caused_spheres import nested_spheres
from made.caused_truths import TRUTHS, grown, scaled, stretched, true_size, warped
from made.tiers import slow

SHAPE = CrownShape()
TURNED = np.linalg.qr(np.random.default_rng(2).normal(size=(3, 3)))[0]


@pytest.fixture(scope="module")
def molar() -> CausedDesign:
    return caused_design("molar", 0.2)


@cache
def noiseless(design: CausedDesign, flaws: Flaws) -> DeviationField:
    """Field of a scan without noise, its edges as long as the design's."""
    rng = np.random.default_rng(3)
    scan = whole(design, flaws, rng=rng, edge_mm=design.edge_mm, white_um=0.0, smooth_um=0.0)
    return scan.design_to_scan


def spread_parameters(count: int = 2000) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(3)
    return rng.uniform(0.0, 2.0 * np.pi, count), rng.uniform(-7.3, 9.8, count)


def moved(errors: ProductionErrors) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points and normals of the design, and the same points of the produced crown."""
    theta, s = spread_parameters()
    points, normals = SHAPE.points_and_normals(theta, s)
    return points, normals, ProducedSurface(SHAPE, errors).points(theta, s)


def test_stretching_along_three_directions_at_right_angles_is_scale():
    stretches = tuple(Stretch(tuple(7.0 * a), 2.0) for a in TURNED.T)
    points, _, stretched_points = moved(ProductionErrors(stretches=stretches))
    np.testing.assert_allclose(stretched_points, 1.002 * points, atol=1e-12)


def test_a_stretch_follows_the_rest_and_leaves_what_lies_across_it():
    along, across = TURNED[:, 0], TURNED[:, 1:]
    rest = ProductionErrors(offset_um=30.0, scale=(1.001, 0.999, 1.002))
    _, _, before = moved(rest)
    _, _, after = moved(replace(rest, stretches=(Stretch(tuple(along), -4.0),)))
    np.testing.assert_allclose(after @ along, 0.996 * (before @ along), atol=1e-12)
    np.testing.assert_allclose(after @ across, before @ across, atol=1e-12)


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_a_ring_moves_both_walls_radially(order):
    theta, s = spread_parameters()
    points, _, warped_points = moved(ProductionErrors(rings=(Ring(order, 15.0, 30.0, 2.0),)))
    shift = 0.015 * np.cos(order * (theta - np.pi / 6.0)) * np.exp(-(s**2) / 4.0)
    outward = np.stack([np.cos(theta), np.sin(theta)], axis=1)
    np.testing.assert_allclose(
        warped_points[:, :2] - points[:, :2], shift[:, None] * outward, atol=1e-12
    )
    assert np.array_equal(warped_points[:, 2], points[:, 2])


def test_an_oval_margin_has_diameters_that_differ_by_four_amplitudes():
    def diameters(surface: CrownShape | ProducedSurface) -> np.ndarray:
        theta = np.deg2rad(30.0) + np.arange(4) * np.pi / 2.0
        places = surface.points(theta, np.zeros(4))[:, :2]
        return np.linalg.norm(places[:2] - places[2:], axis=1)

    oval = ProducedSurface(SHAPE, ProductionErrors(rings=(Ring(2, 15.0, 30.0),)))
    longest, shortest = diameters(oval) - diameters(SHAPE)
    assert longest - shortest == pytest.approx(4.0 * 0.015, abs=1e-12)


def test_growth_is_that_of_each_side_and_their_mean_at_the_margin_line():
    errors = ProductionErrors(growth_um=(8.0, -5.0))
    theta, s = spread_parameters()
    points, normals, grown_points = moved(errors)
    shift = np.einsum("ij,ij->i", grown_points - points, normals)
    np.testing.assert_allclose(shift[s > RIM_CHANGE_MM], 0.008, atol=1e-12)
    np.testing.assert_allclose(shift[s < -RIM_CHANGE_MM], -0.005, atol=1e-12)
    rim, normal = SHAPE.points_and_normals(theta, np.zeros(len(theta)))
    at_rim = ProducedSurface(SHAPE, errors).points(theta, np.zeros(len(theta))) - rim
    np.testing.assert_allclose(np.einsum("ij,ij->i", at_rim, normal), 0.0015, atol=1e-12)
    same = moved(ProductionErrors(growth_um=(8.0, 8.0)))[2]
    np.testing.assert_allclose(same, moved(ProductionErrors(offset_um=8.0))[2], atol=1e-12)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Ring(-1, 15.0),
        lambda: Ring(2, 15.0, reach_mm=0.0),
        lambda: Stretch((0.0, 0.0, 0.0), 2.0),
        lambda: Stretch((0.0, float("nan"), 0.0), 2.0),
    ],
)
def test_senseless_rings_and_stretches_are_refused(make):
    with pytest.raises(SettingError):
        make()


@pytest.mark.slow
@pytest.mark.parametrize(
    "make",
    [
        lambda size: stretched(2.0 * size, (0.5, 0.3, 0.8)),
        lambda size: warped(2, 8.0 * size, 30.0),
        lambda size: grown(4.0 * size, 2.0 * size),
    ],
)
def test_first_order_is_wrong_by_the_square_of_the_size(make):
    """Against the nearest place of the produced crown's formula, but for its edge and its poles.

    Growth along the normals has no such error: its places stay the nearest ones.
    """
    design = caused_design("premolar", 0.4)
    length = design.shape.intaglio_length_mm, design.shape.external_length_mm
    inner = (np.abs(design.s) > 0.3) & (design.s > -length[0]) & (design.s < length[1])
    errors_um = []
    for size in (1.0, 2.0):
        flaws = make(size).make(design)
        error = nearest_field(design, flaws.errors) - raw_field(design, flaws)
        errors_um.append(1e3 * np.sqrt(np.mean(error[inner] ** 2)))
    assert errors_um[1] == pytest.approx(4.0 * errors_um[0], rel=0.1, abs=1e-6)
    assert errors_um[1] < 0.06


@pytest.mark.parametrize("design", NAMES)
def test_designs_have_their_areas_and_their_borders(design):
    made = caused_design(design, 0.2)
    report = inspect_mesh(made.mesh)
    assert report.closed == (design in ("molar", "premolar"))
    areas = made.ready.area_set
    assert {"external", "intaglio", "margin", "occlusal", "fossae"} <= set(areas.areas)
    assert np.array_equal(areas["external"].points, made.external)
    assert np.array_equal(areas["intaglio"].points, ~made.external)
    assert areas.margin_line is not None
    dots = np.einsum("ij,ij->i", made.mesh.vertex_normals, made.normals)
    assert np.quantile(dots, 0.01) > 0.9


def test_the_small_motion_is_taken_away_and_nothing_else(molar):
    rng = np.random.default_rng(4)
    values = rng.normal(size=len(molar.points))
    left = molar.less_rigid(values + molar.rigid @ rng.normal(size=6))
    np.testing.assert_allclose(left, molar.less_rigid(values), atol=1e-11)
    np.testing.assert_allclose((molar.rigid.T * molar.weights_mm2) @ left, 0.0, atol=1e-8)
    outside = molar.less_rigid(values, molar.external)
    weights = molar.weights_mm2 * molar.external
    np.testing.assert_allclose((molar.rigid.T * weights) @ outside, 0.0, atol=1e-8)


def test_scale_keeps_the_size_that_quadrature_of_the_formula_gives():
    """RMS after superimposition per ‰, by Gauss–Legendre nodes instead of the mesh's areas."""
    molar = caused_design("molar", 0.1)
    nodes = surface_nodes(SHAPE, 0.2)
    rows = np.concatenate([np.cross(nodes.points, nodes.normals), nodes.normals], axis=1)
    field = np.einsum("ij,ij->i", nodes.points, nodes.normals)
    root = np.sqrt(nodes.weights_mm2)
    motion = np.linalg.lstsq(rows * root[:, None], field * root, rcond=None)[0]
    expected = np.sqrt(np.average((field - rows @ motion) ** 2, weights=nodes.weights_mm2))
    assert true_size(molar, scaled(1.0)).rms_um == pytest.approx(expected, rel=2e-3)


def test_scale_and_growth_keep_their_sizes_beyond_the_rim(molar):
    """The demo crown's numbers without the last 0.3 mm, computed once at edges of 0.1 mm."""
    line = molar.ready.area_set.margin_line
    sources = polyline_sources(molar.mesh, line.points_mm, closed=True)
    beyond = ~(geodesic_distance(molar.mesh, sources, limit_mm=1.0) < 0.3)
    for part, size_um in (
        (scaled(1.0), 3.79),
        (stretched(1.0, (0.0, 0.0, 1.0)), 0.65),
        (grown(1.0, 1.0), 1.0),
        (grown(1.0, 0.0), 0.70),
        (grown(0.0, 1.0), 0.54),
        (warped(0, 1.0), 0.41),
        (warped(2, 1.0), 0.29),
    ):
        assert true_size(molar, part, counted=beyond).rms_um == pytest.approx(size_um, abs=0.015)


@pytest.mark.parametrize(("permille", "growth_um"), [(2.0, 8.0), (-1.5, 3.0)])
def test_nested_spheres_give_scale_and_growth_back(permille, growth_um):
    """d₁ = e R₁ + o outside, d₂ = -e R₂ + o in the cavity; solved for e and o."""
    spheres = nested_spheres(5.0, 4.2)
    outer, inner = spheres.deviation_mm(permille, growth_um)
    e, o = spheres.scale_and_growth(outer, inner)
    assert (e, o) == (pytest.approx(permille), pytest.approx(growth_um))
    field = 1e-3 * permille * np.einsum("ij,ij->i", spheres.points, spheres.normals)
    field += 1e-3 * growth_um
    np.testing.assert_allclose(field[spheres.external], outer, atol=1e-12)
    np.testing.assert_allclose(field[~spheres.external], inner, atol=1e-12)
    assert spheres.mesh.volume_mm3 == pytest.approx(4 / 3 * np.pi * (5.0**3 - 4.2**3), rel=5e-3)


def test_nested_spheres_by_hand():
    """0.002 × 5 + 0.008 = 0.018 and -0.002 × 4.2 + 0.008 = -0.0004."""
    outer, inner = nested_spheres(5.0, 4.2).deviation_mm(2.0, 8.0)
    assert 1e3 * np.array([outer, inner]) == pytest.approx([18.0, -0.4])


@pytest.mark.parametrize(
    ("name", "design", "edge_mm"),
    [
        ("iso", "premolar", 0.2),
        ("oval", "premolar", 0.2),
        slow("iso", "molar", 0.1),
        slow("oval", "molar", 0.1),
        *(
            slow(name, design, 0.1)
            for name in ("axial tilted", "uniform", "fossae", "fossae, smoothed", "mixed")
            for design in ("molar", "premolar")
        ),
        slow("iso", "open cavity", 0.1),
        slow("iso", "open rim", 0.1),
        slow("iso", "no rim", 0.1),
    ],
)
def test_whole_scans_deviate_as_first_order_says(name, design, edge_mm):
    """Against a scan of a flawless crown with the very same vertices, facets cancel out."""
    made = caused_design(design, edge_mm)
    flaws = TRUTHS[name].flaws(made)
    without, with_causes = noiseless(made, Flaws()), noiseless(made, flaws)
    counted = with_causes.counted & without.counted
    assert counted.mean() > 0.98
    change = np.where(counted, with_causes.deviation_mm - without.deviation_mm, 0.0)
    error_um = 1e3 * np.abs(change - first_order(made, flaws, counted=counted))[counted]
    assert np.quantile(error_um, 0.95) < 1.0
    assert np.sqrt(np.mean(error_um**2)) < 0.15 * true_size(made, *TRUTHS[name].parts).rms_um


@pytest.mark.slow
def test_a_scan_with_its_noise_differs_from_first_order_by_that_noise():
    made = caused_design("molar", 0.1)
    form = form_error(np.random.default_rng(5))
    flaws = (TRUTHS["iso"].flaws(made), form)
    measured = whole(made, *flaws, rng=np.random.default_rng(6)).design_to_scan
    noise_um = 1e3 * (measured.deviation_mm - first_order(made, *flaws))[measured.counted]
    # independent 1.5 µm and smooth 1.5 µm: 2.1 together, and the facets' own error
    assert 1.9 < 1.4826 * np.median(np.abs(noise_um)) < 2.5
    assert abs(np.mean(noise_um)) < 0.6


@pytest.mark.slow
def test_only_the_outside_of_a_crown_can_be_scanned():
    molar = caused_design("molar", 0.3)
    outside = whole(
        molar, rng=np.random.default_rng(1), edge_mm=0.3, external_only=True
    ).design_to_scan
    assert not (outside.counted & ~molar.external).any()
    assert (outside.counted & molar.external).sum() > 0.95 * molar.external.sum()
    field = as_field(molar, first_order(molar, counted=molar.external), molar.external)
    assert np.array_equal(field.counted, molar.external)
    assert np.isnan(field.deviation_mm[~molar.external]).all()
    assert field.coverage == pytest.approx(outside.coverage, abs=0.02)


@pytest.mark.parametrize("kind", FORMS)
def test_form_errors_have_the_size_asked_for(kind, molar):
    rng = np.random.default_rng(8)
    squares = [molar.rms_um(raw_field(molar, FORMS[kind](rng, molar, 3.0))) ** 2 for _ in range(60)]
    assert np.sqrt(np.mean(squares)) == pytest.approx(3.0, rel=0.1)


def test_bumps_have_the_size_asked_for_and_leave_places_alone(molar):
    flaws = bumpy_form_error(np.random.default_rng(8), molar, 3.0, count=20)
    field = raw_field(molar, flaws)
    assert molar.rms_um(field) == pytest.approx(3.0)
    assert 0.02 < np.mean(field == 0.0) < 0.9


def test_smooth_noise_has_its_spread_and_reach(molar):
    rng = np.random.default_rng(11)
    points = molar.points[::400]
    noise = np.array([smooth_noise(points, rng, 1.5) for _ in range(800)])
    assert noise.std() == pytest.approx(0.0015, rel=0.05)
    apart = np.linalg.norm(points - points[0], axis=1)
    found = (noise * noise[:, :1]).mean(axis=0) / 0.0015**2
    np.testing.assert_allclose(found, np.exp(-(apart**2) / 2.0), atol=0.15)


def test_several_causes_on_one_crown_add_up(molar):
    flaws = (scaled(2.0).make(molar), grown(0.0, 8.0).make(molar), warped(3, 15.0).make(molar))
    alone = sum(raw_field(molar, flaw) for flaw in flaws)
    np.testing.assert_allclose(raw_field(molar, together(*flaws)), alone, atol=1e-4)
    np.testing.assert_allclose(first_order(molar, *flaws), molar.less_rigid(alone), atol=1e-12)


@pytest.mark.parametrize(
    ("name", "radius_mm"),
    [("premolar", 0.6), *(slow("molar", radius_mm) for radius_mm in (0.6, 0.9, 1.4))],
)
def test_fossae_are_filled_to_the_depth_asked_for(name, radius_mm):
    design = caused_design(name, 0.2)
    flaws = filled_under_ball(design, 60.0, radius_mm)
    along = normal_parts(design, flaws.errors)
    assert 1e3 * along.max() == pytest.approx(60.0, abs=1e-9)
    assert 1e3 * raw_field(design, flaws).max() == pytest.approx(60.0, abs=1.0)
    assert design.ready.area_set["fossae"].points[along.argmax()]


def test_smoothing_fills_fossae_and_leaves_cusps_and_walls(molar):
    field = raw_field(molar, filled_by_smoothing(molar, 60.0))
    assert 1e3 * field.max() == pytest.approx(60.0, abs=1e-9)
    assert field.min() == 0.0
    areas = molar.ready.area_set
    assert areas["fossae"].points[field.argmax()]
    assert (field[areas["intaglio"].points] == 0.0).all()
    for cusp in SHAPE.cusps:
        beside = np.hypot(*(molar.points[:, :2] - [cusp.x_mm, cusp.y_mm]).T) < 0.4
        assert (field[beside & molar.external] == 0.0).all()


def test_the_laplacian_of_positions_is_twice_the_area(molar):
    """Σ xᵀ L x over the coordinates is ∫|∇x|² = 2 × area (Pinkall & Polthier 1993; from memory)."""
    x = molar.mesh.vertices
    energy = np.sum(x * (cotangent_laplacian(molar.mesh) @ x))
    assert energy == pytest.approx(2.0 * molar.mesh.area_mm2, rel=1e-9)


def test_every_truth_is_there_to_be_found(molar):
    """Causes of the table stand out by 1 µm or more, but for none."""
    for truth in TRUTHS.values():
        if truth.families & {"fossae", "tool"}:
            continue  # their balls take seconds
        size = true_size(molar, *truth.parts)
        assert (size.rms_um > 1.0) == bool(truth.parts)
        if truth.families == {"growth"}:
            assert size.deepest_um == pytest.approx(8.0)
    assert TRUTHS["mixed"].families == {"scale", "fossae", "margin"}
    tool = TRUTHS["bur inside"].flaws(molar).errors.fills
    assert tool == (BallFill(1.0, 1.0, "intaglio"),)
