"""Measures integrated over a scan's faces: against exact integrals and dense sampling by igl."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import igl
import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.deviation.field import TOO_FAR, DeviationField, measure_deviation
from cuspwise.standalone_core.deviation.measures import AreaMeasures, measure_areas
from cuspwise.standalone_core.deviation.samples import samples_of
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex


def sphere(subdivisions: int) -> TriangleMesh:
    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=5.0)
    return TriangleMesh(ball.vertices, ball.faces)


def area_set_of(mesh: TriangleMesh, **masks: np.ndarray) -> AreaSet:
    evaluation = evaluation_mesh(mesh, spacing_mm=2.0 * mesh.diagonal_mm)
    masks = {"whole": np.ones(len(mesh.vertices), dtype=bool), **masks}
    return AreaSet(evaluation, {name: Area(name, mask) for name, mask in masks.items()})


def field_of(mesh: TriangleMesh, deviation_um: np.ndarray) -> DeviationField:
    """Deviations of a scan as given at its vertices; NaN does not count."""
    deviation = 1e-3 * np.asarray(deviation_um, dtype=float)
    return DeviationField(
        direction="scan_to_design",
        points_mm=mesh.vertices,
        deviation_mm=deviation,
        status=np.where(np.isnan(deviation), TOO_FAR, 0).astype(np.uint8),
        weights_mm2=mesh.vertex_areas,
        area_point=np.arange(len(deviation)),
        faces=mesh.faces,
    )


def whole(field: DeviationField, mesh: TriangleMesh, **kwargs) -> AreaMeasures:
    (row,) = measure_areas([field], area_set_of(mesh), **kwargs)
    return row


@pytest.mark.parametrize("powers", [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)])
def test_the_three_places_integrate_degree_2_exactly(powers: tuple[int, int]) -> None:
    """∫ u^a v^b over the triangle u, v ≥ 0, u + v ≤ 1 is a! b! / (a + b + 2)!; degree 3 is not."""
    places = np.array(sorted(set(permutations((2 / 3, 1 / 6, 1 / 6)))))[:, 1:]
    assert len(places) == 3

    def rule(a: int, b: int) -> float:
        return float((places[:, 0] ** a * places[:, 1] ** b).sum() / 6)

    factorial = np.array([1, 1, 2, 6, 24, 120])
    a, b = powers
    assert rule(a, b) == pytest.approx(
        factorial[a] * factorial[b] / factorial[a + b + 2], rel=1e-14
    )
    assert rule(3, 0) != pytest.approx(factorial[3] / factorial[5], rel=1e-3)


def test_mean_rms_and_sd_are_the_exact_integrals_over_the_faces() -> None:
    """∫d over a face is A/3 Σdᵢ, ∫d² is A/12 (Σdᵢ² + (Σdᵢ)²); unequal faces, random deviations."""
    rng = np.random.default_rng(6)
    ball = sphere(3)
    mesh = TriangleMesh(ball.vertices * rng.uniform(0.7, 1.3, (642, 1)), ball.faces)
    d = rng.normal(3.0, 12.0, len(mesh.vertices))
    corners, areas = d[mesh.faces], mesh.face_areas
    total = areas.sum()
    mean = (areas * corners.sum(axis=1)).sum() / 3 / total
    square = (areas * ((corners**2).sum(axis=1) + corners.sum(axis=1) ** 2)).sum() / 12 / total
    row = whole(field_of(mesh, d), mesh)
    assert row.mean_um == pytest.approx(mean, rel=1e-12)
    assert row.rms_um == pytest.approx(np.sqrt(square), rel=1e-12)
    assert row.sd_um == pytest.approx(np.sqrt(square - mean**2), rel=1e-12)
    assert (row.min_um, row.max_um) == pytest.approx((d.min(), d.max()), rel=1e-12)
    assert row.n == len(d)
    assert row.area_mm2 == pytest.approx(total, rel=1e-12)


def test_vertex_noise_enters_as_it_lies_on_the_surface() -> None:
    """A sphere 6 µm too large with 5 µm of noise at its vertices: RMS √(6² + 5²/2) = 6.964 µm.

    ∫d² over a face of independent dᵢ of variance σ² is A σ²/2, so that the surface of the scan
    has half the noise's mean square; at its vertices it would be √(6² + 5²) = 7.810. The truth
    is the distance of 400,000 places, evenly over the scan's area, as libigl finds it, signed by
    the radius.
    """
    design = sphere(6)
    rng = np.random.default_rng(11)
    off = 0.006 + 0.005 * rng.standard_normal((len(design.vertices), 1))
    scan = TriangleMesh(design.vertices + off * design.vertex_normals, design.faces)
    ball = trimesh.Trimesh(scan.vertices, scan.faces, process=False)
    places, _ = trimesh.sample.sample_surface(ball, 400_000, seed=3)
    square, _, foot = igl.point_mesh_squared_distance(
        np.asarray(places), design.vertices, design.faces.astype(np.int64)
    )
    outward = np.einsum("ij,ij->i", places - foot, places) > 0
    true = 1e3 * np.sqrt(square) * np.where(outward, 1.0, -1.0)
    field = measure_deviation(scan, SurfaceIndex(design), "scan_to_design")
    row = whole(field, design)
    at_vertices = whole(replace(field, faces=None), design)
    rms = np.sqrt(np.mean(true**2))
    assert rms == pytest.approx(np.sqrt(36 + 12.5), rel=0.01)
    assert row.rms_um == pytest.approx(rms, rel=0.005)
    assert at_vertices.rms_um == pytest.approx(np.sqrt(36 + 25), rel=0.01)
    assert row.mean_um == pytest.approx(true.mean(), abs=0.02)
    assert row.mean_abs_um == pytest.approx(np.abs(true).mean(), rel=0.01)
    p10, median, p90 = np.percentile(true, [10, 50, 90])
    assert [row.p10_um, row.median_um, row.p90_um] == pytest.approx([p10, median, p90], abs=0.1)
    assert row.half_p90_p10_um < 0.75 * at_vertices.half_p90_p10_um


def test_without_noise_nothing_changes_by_a_twentieth_of_a_micrometre() -> None:
    """R = 5 moved by 0.05 mm: a smooth deviation, on triangles as fine as 0.1 mm."""
    design = sphere(6)
    motion = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])
    motion[:3, 3] = [0.05, 0.0, 0.0]
    field = measure_deviation(design.moved(motion), SurfaceIndex(design), "scan_to_design")
    row, at_vertices = (whole(f, design) for f in (field, replace(field, faces=None)))
    for name in ("mean_um", "mean_abs_um", "rms_um", "sd_um", "median_um", "p10_um", "p90_um"):
        assert getattr(row, name) == pytest.approx(getattr(at_vertices, name), abs=0.05), name
    assert (row.min_um, row.max_um) == (at_vertices.min_um, at_vertices.max_um)


def test_corners_that_do_not_count_are_left_out_of_the_interpolation() -> None:
    """Each sample by hand: 2/3 of its corner and 1/6 of the others, of those that count."""
    mesh = sphere(1)
    rng = np.random.default_rng(2)
    d = rng.normal(0.0, 10.0, len(mesh.vertices))
    d[rng.random(len(d)) < 0.4] = np.nan
    expected = []
    for face, area in zip(mesh.faces, mesh.face_areas, strict=True):
        for corner in face:
            if np.isnan(d[corner]):
                continue
            share = {v: 2 / 3 if v == corner else 1 / 6 for v in face if not np.isnan(d[v])}
            value = sum(s * d[v] for v, s in share.items()) / sum(share.values())
            expected.append((value, area / 3, corner))
    expected.sort()
    field = field_of(mesh, d)
    samples = samples_of(field)
    value, weight, corner = np.array(expected).T
    np.testing.assert_allclose(1e3 * samples.deviation_mm, value, rtol=1e-12)
    np.testing.assert_allclose(samples.weights_mm2, weight, rtol=1e-12)
    np.testing.assert_array_equal(samples.point, corner)
    row, at_points = whole(field, mesh), whole(replace(field, faces=None), mesh)
    assert row.n == at_points.n == np.isfinite(d).sum()
    assert row.coverage == pytest.approx(at_points.coverage, rel=1e-12)
    assert row.coverage < 0.9


def test_samples_lie_in_the_areas_of_their_nearest_corner() -> None:
    mesh = sphere(3)
    top = mesh.vertices[:, 2] > 0.1
    field = field_of(mesh, np.where(top, 40.0, 10.0))
    rows = {row.area: row for row in measure_areas([field], area_set_of(mesh, top=top, rest=~top))}
    assert rows["top"].area_mm2 + rows["rest"].area_mm2 == pytest.approx(mesh.area_mm2)
    for name in ("top", "rest"):
        assert rows[name].coverage == pytest.approx(1.0, rel=1e-12)
    # Only samples beside the border hold a sixth or two of the other side's value.
    assert 35.0 < rows["top"].p10_um <= rows["top"].p90_um == pytest.approx(40.0)
    assert rows["rest"].p10_um == pytest.approx(10.0)
    assert samples_of(field).weights_mm2.sum() == pytest.approx(mesh.area_mm2, rel=1e-12)


def test_unweighted_measures_stay_at_the_points() -> None:
    mesh = sphere(3)
    d = np.random.default_rng(4).normal(1.0, 7.0, len(mesh.vertices))
    row = whole(field_of(mesh, d), mesh, weighted=False)
    assert row.rms_um == pytest.approx(np.sqrt(np.mean(d**2)), rel=1e-12)
    assert [row.p10_um, row.p90_um] == pytest.approx(np.percentile(d, [10, 90]).tolist(), rel=1e-12)


def test_equal_deviations_keep_the_order_of_their_places() -> None:
    """Where samples are equal, which comes first must not hang on the way of sorting."""
    mesh = sphere(3)
    on = np.random.default_rng(9).random(len(mesh.vertices)) < 0.5
    field = replace(field_of(mesh, np.zeros(len(on))), deviation_mm=on / 64)
    samples = samples_of(field)
    corner = mesh.faces.ravel()
    value = 3 * on[corner] + np.repeat(on[mesh.faces].sum(axis=1), 3)  # in 1/384 mm
    order = np.argsort(value, kind="stable")
    np.testing.assert_allclose(samples.deviation_mm, value[order] / 384, rtol=1e-12)
    np.testing.assert_array_equal(samples.point, corner[order])


def test_only_the_scan_is_integrated() -> None:
    """The design's own points are even by making, and pairs and maps share them."""
    mesh = sphere(2)
    index = SurfaceIndex(mesh)
    assert measure_deviation(mesh, index).faces is None
    back = measure_deviation(mesh, index, "scan_to_design")
    np.testing.assert_array_equal(back.faces, mesh.faces)
