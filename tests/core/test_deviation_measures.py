"""Measures against closed forms, published percentile conventions and numpy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, AreaSettings
from cuspwise.standalone_core.deviation.field import (
    TOO_FAR,
    DeviationField,
    measure_deviation,
)
from cuspwise.standalone_core.deviation.measures import (
    MEASURE_COLUMNS,
    AreaMeasures,
    measure_areas,
    weighted_percentile,
)
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from scipy.stats import norm


def sphere(radius: float = 5.0, subdivisions: int = 5) -> TriangleMesh:
    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius)
    return TriangleMesh(ball.vertices, ball.faces)


def _longest_edge(mesh: TriangleMesh) -> float:
    sides = mesh.triangles - np.roll(mesh.triangles, 1, axis=1)
    return float(np.linalg.norm(sides, axis=2).max())


def area_set_of(mesh: TriangleMesh, **masks: np.ndarray) -> AreaSet:
    evaluation = evaluation_mesh(mesh, spacing_mm=np.sqrt(3) * mesh.diagonal_mm)
    whole = np.ones(len(mesh.vertices), dtype=bool)
    return AreaSet(
        evaluation=evaluation,
        areas={
            name: Area(name=name, points=mask, origin="user", note="")
            for name, mask in {"whole": whole, **masks}.items()
        },
        margin_line=None,
        insertion=np.array([0.0, 0.0, 1.0]),
        missing={},
        warnings=(),
        settings=AreaSettings(),
    )


def field_of(mesh: TriangleMesh, deviation_um: np.ndarray, weights=None) -> DeviationField:
    """Deviations as given at the vertices of a mesh; NaN does not count."""
    deviation = 1e-3 * np.asarray(deviation_um, dtype=float)
    return DeviationField(
        direction="design_to_scan",
        points_mm=mesh.vertices,
        deviation_mm=deviation,
        status=np.where(np.isnan(deviation), TOO_FAR, 0).astype(np.uint8),
        weights_mm2=mesh.vertex_areas if weights is None else np.asarray(weights, float),
        area_point=np.arange(len(deviation)),
    )


def whole(design: TriangleMesh, scan: TriangleMesh, **kwargs) -> tuple[AreaMeasures, AreaMeasures]:
    """Both directions over the whole surface."""
    fields = (
        measure_deviation(design, SurfaceIndex(scan)),
        measure_deviation(scan, SurfaceIndex(design), "scan_to_design"),
    )
    forward, backward = measure_areas(fields, area_set_of(design), **kwargs)
    return forward, backward


# ----------------------------------------------------------------------------- percentiles


def test_weighted_percentiles_of_equal_weights_are_hazens() -> None:
    """Hyndman & Fan 1996, type 5: (P90 − P10)/2 of 1 … 10 is 4.0 (linear, type 7: 3.6)."""
    values, percent = np.arange(1.0, 11.0), np.array([10.0, 90.0])
    p10, p90 = weighted_percentile(values[::-1], np.full(10, 0.3), percent)
    assert (p90 - p10) / 2 == pytest.approx(4.0, abs=1e-12)
    rng = np.random.default_rng(5)
    values, percent = rng.standard_normal(37), np.linspace(0, 100, 41)
    ours = weighted_percentile(values, np.full(37, 2.0), percent)
    np.testing.assert_allclose(ours, np.percentile(values, percent, method="hazen"), atol=1e-12)


def test_unweighted_percentiles_are_numpys_linear_ones() -> None:
    mesh = sphere(1.0, 0)  # 12 vertices: two do not count
    d = np.r_[np.arange(1.0, 11.0), np.nan, np.nan]
    (row,) = measure_areas([field_of(mesh, d)], area_set_of(mesh), weighted=False)
    assert row.half_p90_p10_um == pytest.approx(3.6, abs=1e-12)
    assert row.percentiles == "linear"
    (row,) = measure_areas([field_of(mesh, d)], area_set_of(mesh))
    assert row.half_p90_p10_um == pytest.approx(4.0, abs=1e-9)
    assert row.percentiles == "area-weighted Hazen"


def test_weighted_percentiles_approach_those_of_the_distribution() -> None:
    """Values x = u² sampled unevenly, weighted by the inverse density of u: P_q = q²."""
    step = (np.arange(20000) + 0.5) / 20000
    u = step**3  # dense near 0, density 1/(3 step²)
    percent = np.array([10.0, 50.0, 90.0])
    ours = weighted_percentile(u**2, 3 * step**2, percent)
    np.testing.assert_allclose(ours, [0.01, 0.25, 0.81], atol=1e-7)


def test_percentiles_of_nothing_are_refused() -> None:
    for values, weights in ((np.empty(0), np.empty(0)), (np.ones(3), np.zeros(3))):
        with pytest.raises(SettingError, match="weight"):
            weighted_percentile(values, weights, np.array([50.0]))


# ---------------------------------------------------------------------------- definitions


def test_every_number_follows_its_definition() -> None:
    """Formulas of the measures' documentation, by plain sums over random numbers."""
    rng = np.random.default_rng(3)
    mesh = sphere(5.0, 3)
    d, w = rng.normal(3, 12, len(mesh.vertices)), rng.uniform(0.1, 2.0, len(mesh.vertices))
    d[::7] = np.nan
    (row,) = measure_areas([field_of(mesh, d, w)], area_set_of(mesh), {"whole": 10.0})
    on = ~np.isnan(d)
    d_on, w_on = d[on], w[on] / w[on].sum()
    mean = np.sum(w_on * d_on)
    expected = {
        "n": on.sum(),
        "area_mm2": w.sum(),
        "coverage": w[on].sum() / w.sum(),
        "mean_um": mean,
        "sd_um": np.sqrt(np.sum(w_on * (d_on - mean) ** 2)),
        "mean_abs_um": np.sum(w_on * np.abs(d_on)),
        "rms_um": np.sqrt(np.sum(w_on * d_on**2)),
        "mean_positive_um": np.average(d_on[d_on > 0], weights=w_on[d_on > 0]),
        "mean_negative_um": np.average(d_on[d_on < 0], weights=w_on[d_on < 0]),
        "min_um": d_on.min(),
        "max_um": d_on.max(),
        "within_tolerance": w_on[np.abs(d_on) <= 10].sum(),
        "hausdorff_um": np.abs(d_on).max(),
        "within_mm2": w[on][np.abs(d_on) <= 10].sum(),
        "above_mm2": w[on][d_on > 10].sum(),
        "below_mm2": w[on][d_on < -10].sum(),
    }
    for name, value in expected.items():
        assert getattr(row, name) == pytest.approx(value, rel=1e-12), name
    assert row.rms_um**2 == pytest.approx(row.mean_um**2 + row.sd_um**2, rel=1e-12)
    total = row.within_mm2 + row.above_mm2 + row.below_mm2
    assert total == pytest.approx(row.coverage * row.area_mm2, rel=1e-12)


def test_the_columns_are_those_of_the_table() -> None:
    assert MEASURE_COLUMNS == (
        "area",
        "direction",
        "n",
        "area_mm2",
        "coverage",
        "mean_um",
        "sd_um",
        "mean_abs_um",
        "rms_um",
        "median_um",
        "p10_um",
        "p90_um",
        "half_p90_p10_um",
        "mean_positive_um",
        "mean_negative_um",
        "min_um",
        "max_um",
        "within_tolerance",
        "tolerance_um",
        "verdict",
        "unmatched_mm2",
        "unmatched_um",
    )


def test_an_area_without_counted_points_says_why() -> None:
    mesh = sphere(5.0, 2)
    nothing = np.zeros(len(mesh.vertices), dtype=bool)
    unmeasured = mesh.vertices[:, 2] > 3
    d = np.where(unmeasured, np.nan, 4.0)
    areas = area_set_of(mesh, occlusal=unmeasured, fossae=nothing)
    rows = {row.area: row for row in measure_areas([field_of(mesh, d)], areas, {"occlusal": 20})}
    assert "within the search distance" in rows["occlusal"].reason
    assert (rows["occlusal"].n, rows["occlusal"].coverage) == (0, 0.0)
    assert np.isnan([rows["occlusal"].mean_um, rows["occlusal"].within_tolerance]).all()
    assert rows["fossae"].reason
    assert (rows["fossae"].n, rows["fossae"].area_mm2) == (0, 0.0)
    assert np.isnan(rows["fossae"].coverage)
    assert np.isnan(rows["fossae"].hausdorff_um)
    assert rows["whole"].reason == ""
    assert rows["whole"].mean_um == pytest.approx(4.0)


def test_hausdorff_of_both_directions_needs_both() -> None:
    mesh = sphere(5.0, 2)
    d = np.linspace(-7.0, 4.0, len(mesh.vertices))
    forward = field_of(mesh, d)
    for other, expected in ((-2 * d, 14.0), (np.full_like(d, np.nan), np.nan)):
        backward = replace(field_of(mesh, other), direction="scan_to_design")
        for row in measure_areas([forward, backward], area_set_of(mesh)):
            assert row.hausdorff_both_um == pytest.approx(expected, nan_ok=True)
    (row,) = measure_areas([forward], area_set_of(mesh))
    assert row.hausdorff_um == pytest.approx(7.0)
    assert np.isnan(row.hausdorff_both_um)


def test_deviations_of_one_sign_have_no_mean_of_the_other() -> None:
    mesh = sphere(5.0, 2)
    (row,) = measure_areas([field_of(mesh, np.full(len(mesh.vertices), 3.0))], area_set_of(mesh))
    assert row.mean_positive_um == pytest.approx(3.0)
    assert np.isnan(row.mean_negative_um)


def test_areas_are_measured_on_their_own_points() -> None:
    mesh = sphere(5.0, 4)
    top = mesh.vertices[:, 2] > 0.1
    rows = measure_areas(
        [field_of(mesh, np.where(top, 30.0, -10.0))], area_set_of(mesh, top=top, rest=~top)
    )
    assert [row.area for row in rows] == ["whole", "top", "rest"]
    assert [rows[1].mean_um, rows[2].mean_um] == pytest.approx([30.0, -10.0])
    assert rows[1].n + rows[2].n == rows[0].n
    assert rows[1].area_mm2 + rows[2].area_mm2 == pytest.approx(mesh.area_mm2)


# ------------------------------------------------------------------------------- weighting


def test_uneven_meshes_need_weights() -> None:
    """A plane tilted by 0.01 over x ∈ [0, 1], vertices at x = (i/n)²: mean 10/2 µm, RMS 10/√3.

    The plain mean of the vertices goes to 10 ∫ t² dt = 10/3 µm instead.
    """
    t = np.linspace(0.0, 1.0, 101)
    x, y = np.meshgrid(t**2, np.linspace(0.0, 0.2, 21), indexing="ij")
    grid = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (
        part.ravel() for part in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:])
    )
    flat = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    design = TriangleMesh(flat, np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))
    wide = np.array([[-2.0, -2, -0.02], [2, -2, 0.02], [2, 2, 0.02], [-2, 2, -0.02]])
    scan = TriangleMesh(wide, [[0, 1, 2], [0, 2, 3]])
    field = measure_deviation(design, SurfaceIndex(scan))
    (row,) = measure_areas([field], area_set_of(design))
    cosine = 1 / np.hypot(1.0, 0.01)  # measured at right angles to the scan
    assert row.mean_um == pytest.approx(5.0 * cosine, rel=1e-9)  # exact: d is linear
    assert row.rms_um == pytest.approx(10 / np.sqrt(3) * cosine, rel=2e-4)
    # Each column of equal deviations stands for x from halfway to its neighbours: percentiles
    # are off by up to half a column's width, (i + 1)²/n² − (i − 1)²/n² over two.
    half_column_um = 10.0 * 2 * np.sqrt(0.5) / 100 / 2
    assert row.median_um == pytest.approx(5.0 * cosine, abs=half_column_um)
    assert row.half_p90_p10_um == pytest.approx(4.0 * cosine, abs=half_column_um)
    (plain,) = measure_areas([field], area_set_of(design), weighted=False)
    assert plain.mean_um == pytest.approx(10 / 3 * cosine, rel=0.01)


# ------------------------------------------------------------------------------ closed forms


@pytest.mark.parametrize("step_mm", [0.05, -0.05])
def test_concentric_spheres(step_mm: float) -> None:
    """Mean absolute = RMS = |ΔR|, (P90 − P10)/2 = 0; chords take R(1 − cos) at most.

    Same triangulation, so each foot is on a facet whose plane is nearer by the cosine of the
    angle at which the circumradius of a face is seen; from the outer surface to the inner one,
    the foot is a vertex and the distance exact.
    """
    design, scan = sphere(5.0), sphere(5.0 + step_mm)
    least_cosine = np.cos(_longest_edge(design) / np.sqrt(3) / 5.0)
    assert 50 * (1 - least_cosine) < 0.02  # µm: what chords may take
    forward, backward = whole(design, scan)
    exact, chord = (backward, forward) if step_mm > 0 else (forward, backward)
    sign = np.sign(step_mm)
    assert exact.mean_um == pytest.approx(sign * 50, abs=1e-9)
    assert exact.rms_um == pytest.approx(50, abs=1e-9)
    assert exact.half_p90_p10_um == pytest.approx(0, abs=1e-9)
    assert 50 * least_cosine <= sign * chord.mean_um <= 50 + 1e-9
    assert chord.mean_abs_um == pytest.approx(sign * chord.mean_um, rel=1e-12)
    assert 50 * least_cosine <= chord.rms_um <= 50 + 1e-9
    assert chord.half_p90_p10_um <= 50 * (1 - least_cosine)
    assert forward.hausdorff_both_um == pytest.approx(50, abs=1e-9)


def _moved_sphere(subdivisions: int) -> tuple[AreaMeasures, AreaMeasures]:
    design = sphere(5.0, subdivisions)
    turned = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])
    turned[:3, 3] = [0.05, 0.0, 0.0]
    return whole(design, design.moved(turned))


def test_a_moved_sphere() -> None:
    """R = 5, δ = 0.05 mm, no fit: RMS δ/√3 = 28.868 (exact), mean absolute ≈ δ/2 = 25.000,
    (P90 − P10)/2 ≈ 0.8 δ = 39.999 µm; mean δ²/3R = 0.1667 from scan to design, − the other way.

    Chord sag is R(1 − cos) ≈ c²/2R at most (c: circumradius of a face) and falls fourfold with
    half the edge, so what sums come to without it follows from two meshes (Richardson). Each
    deviation lies up to one sag lower than the sphere's, so the half range is off by up to half
    of one.
    """
    coarse, fine = _moved_sphere(5), _moved_sphere(6)
    circumradius = _longest_edge(sphere(5.0, 6)) / np.sqrt(3)
    sag_um = 1e3 * circumradius**2 / (2 * 5.0)
    assert sag_um < 0.4
    for direction, mean in ((0, -50 * 0.05 / 15), (1, 50 * 0.05 / 15)):
        expected = {"mean_um": mean, "rms_um": 50 / np.sqrt(3), "mean_abs_um": 25.0}
        for name, value in expected.items():
            at_5, at_6 = getattr(coarse[direction], name), getattr(fine[direction], name)
            assert at_6 == pytest.approx(value, abs=sag_um)
            extrapolated = at_6 + (at_6 - at_5) / 3
            assert extrapolated == pytest.approx(value, abs=0.01), (direction, name)
        half_range = fine[direction].half_p90_p10_um
        assert half_range == pytest.approx(39.999, abs=sag_um / 2)


def test_every_point_of_a_moved_sphere_lies_between_its_bounds() -> None:
    """A polyhedron between the spheres R cos θ and R: its signed distance lies between theirs."""
    design = sphere(5.0, 5)
    motion = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])
    motion[:3, 3] = [0.05, 0.0, 0.0]
    scan = design.moved(motion)
    field = measure_deviation(design, SurfaceIndex(scan))
    inner = np.linalg.norm(scan.triangles.mean(axis=1) - motion[:3, 3], axis=1).min()
    reach = np.linalg.norm(design.vertices - motion[:3, 3], axis=1)
    assert (field.deviation_mm <= 5.0 - reach + 1e-12).all()
    assert (field.deviation_mm >= inner - reach - 1e-12).all()
    assert 1e3 * (5.0 - inner) < 1.5  # µm


@pytest.mark.parametrize("scale", [1.0, 0.1])
def test_scale_errors_of_a_sphere(scale: float) -> None:
    """R = 5, e = (.01, .01, .02): mean R ē = 66.67, SD R √(2/15 Σ(ei − ē)²) = 14.91 µm.

    First order in e. What is left out: R e² (2 µm at the full size, a hundredth of it at a
    tenth), and points sliding by up to R (e_max − e_min)/2 over facets, which meet at up to an
    edge's angle.
    """
    e = scale * np.array([0.01, 0.01, 0.02])
    design = sphere(5.0, 6)
    scan = TriangleMesh(design.vertices * (1 + e), design.faces)
    second_order_um = 1e3 * 5.0 * e.max() ** 2
    facets_um = 1e3 * np.ptp(e) / 2 * _longest_edge(design)
    for row in whole(design, scan):
        assert row.mean_um == pytest.approx(scale * 66.6667, abs=second_order_um + facets_um)
        assert row.sd_um == pytest.approx(scale * 14.9071, abs=second_order_um + facets_um)


# ------------------------------------------------------------------------------------ noise


def test_normal_noise() -> None:
    """Mean absolute .7978846 σ = √(2/π) σ, (P90 − P10)/2 = 1.2815516 σ, RMS σ.

    The noise takes the normal scores of all points, shuffled, so that nothing is left to chance;
    each of them counts the same.
    """
    design = sphere(5.0, 6)
    count = len(design.vertices)
    scores = norm.ppf((np.arange(count) + 0.5) / count)
    noise_mm = 0.002 * np.random.default_rng(2).permutation(scores)
    noisy = TriangleMesh(design.vertices + noise_mm[:, None] * design.vertex_normals, design.faces)
    _, row = whole(design, noisy, weighted=False)
    assert row.mean_abs_um == pytest.approx(0.7978846 * 2, rel=2e-3)
    assert row.rms_um == pytest.approx(2.0, rel=2e-3)
    assert row.half_p90_p10_um == pytest.approx(1.2815516 * 2, rel=2e-3)
    assert row.mean_um == pytest.approx(0.0, abs=2e-3)


def test_two_equally_noisy_scans_differ_by_root_two() -> None:
    design = sphere(5.0, 6)
    rng = np.random.default_rng(8)
    noise = 0.002 * rng.standard_normal((2, len(design.vertices), 1))
    one, other = (
        TriangleMesh(design.vertices + part * design.vertex_normals, design.faces) for part in noise
    )
    difference = (
        measure_deviation(design, SurfaceIndex(one)).deviation_mm
        - measure_deviation(design, SurfaceIndex(other)).deviation_mm
    )
    rms_um = 1e3 * np.sqrt(np.mean(difference**2))
    chance = 4 / np.sqrt(2 * len(design.vertices))  # four standard errors
    assert rms_um == pytest.approx(2 * np.sqrt(2), rel=chance + 2e-3)
