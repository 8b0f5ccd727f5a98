"""Facet sag against closed forms, spheres of known edge length and perfect crowns."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.check import CheckResult, CheckSettings, check_meshes
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.deviation.facet_sag import (
    AreaSag,
    about_sag,
    facet_sag_mm,
    sag_by_area,
)
from cuspwise.standalone_core.deviation.field import measure_deviation
from cuspwise.standalone_core.deviation.judgement import judge_deviations
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.deviation.verdict import ScanEvidence, evidence_from
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.records import plain
from made.crowns import demo_crown
from scipy.spatial.transform import Rotation

PERFECT = ProductionErrors(any_pose=False)


def ball(subdivisions: int, radius_mm: float = 5.0) -> TriangleMesh:
    sphere = trimesh.creation.icosphere(subdivisions, radius=radius_mm)
    turn = Rotation.from_rotvec([0.1 * subdivisions, 0.2, 0.3]).as_matrix()
    return TriangleMesh(sphere.vertices @ turn.T, sphere.faces)


def equilateral(edge_mm: float, count: int = 8) -> TriangleMesh:
    """A flat patch of equilateral triangles."""
    i, j = np.meshgrid(np.arange(count), np.arange(count))
    points = np.stack([i + 0.5 * j, np.sqrt(0.75) * j, 0.0 * i], axis=-1).reshape(-1, 3)
    corner = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    lower = np.stack([corner, corner + 1, corner + count], axis=1)
    upper = np.stack([corner + 1, corner + count + 1, corner + count], axis=1)
    return TriangleMesh(edge_mm * points, np.concatenate([lower, upper]))


def test_equilateral_triangles_sag_by_an_eighth_of_curvature_and_edge_squared() -> None:
    scan = equilateral(0.2)
    curvature = np.linspace(-1.0, 1.0, len(scan.vertices))
    found = facet_sag_mm(curvature, scan.vertices, scan)
    np.testing.assert_allclose(found, curvature * 0.2**2 / 8.0, rtol=1e-12)


def test_the_formula_is_the_mean_over_any_triangle_of_a_paraboloid() -> None:
    """Interpolated less true height at 3 places is exact for a quadratic (Strang & Fix)."""
    rng = np.random.default_rng(4)
    corners = np.concatenate([rng.uniform(-1.0, 1.0, (3, 2)), np.zeros((3, 1))], axis=1)
    places = np.full((3, 3), 1.0 / 6.0) + 0.5 * np.eye(3)
    bend = -0.5 * (corners**2).sum(axis=1)  # convex, κ = 1 both ways
    true = -0.5 * ((places @ corners) ** 2).sum(axis=1)
    triangle = TriangleMesh(corners, [[0, 1, 2]])
    curvature = np.full(3, 1e-3)  # gentle: an edge far shorter than the radius
    found = facet_sag_mm(curvature, triangle.vertices, triangle)
    np.testing.assert_allclose(found, 1e-3 * np.mean(true - places @ bend), rtol=1e-12)


def test_a_curvature_beyond_one_over_the_edge_counts_as_that() -> None:
    scan = equilateral(0.2)
    found = facet_sag_mm(np.full(len(scan.vertices), 40.0), scan.vertices, scan)
    np.testing.assert_allclose(found, 0.2 / 8.0, rtol=1e-12)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("subdivisions", [3, 4])
def test_a_perfect_sphere_scanned_coarsely_reads_as_worn(subdivisions: int, side: int) -> None:
    """By L²/8R within 3 %, and as filled where it is the inside that is scanned."""
    fine, scan = ball(5), ball(subdivisions)
    if side < 0:
        fine, scan = fine.flipped(), scan.flipped()
    evaluation = evaluation_mesh(fine, 1.0)
    deviation = measure_deviation(fine, scan).deviation_mm
    sag = facet_sag_mm(evaluation.curvature, fine.vertices, scan)
    sides = np.linalg.norm(scan.triangles - scan.triangles[:, [1, 2, 0]], axis=2)
    mean_square = np.average((sides**2).mean(axis=1), weights=scan.face_areas)
    expected = -side * mean_square / (8.0 * 5.0)
    weights = fine.vertex_areas
    assert np.average(deviation, weights=weights) == pytest.approx(expected, rel=0.03)
    assert np.average(-sag, weights=weights) == pytest.approx(expected, rel=0.01)
    left = np.average(deviation + sag, weights=weights)
    assert abs(left) < 0.03 * abs(expected)


@cache
def perfect_scan(edge_mm: float) -> TriangleMesh:
    return produce(demo_crown(0.12), PERFECT, edge_mm=edge_mm, rng=np.random.default_rng(1)).mesh


def sides_of_the_crown() -> AreaSet:
    """Whole, outside and inside, with the measuring points right on the formula."""
    crown = demo_crown(0.12)
    evaluation = evaluation_mesh(crown.mesh, 0.5)
    whole = np.ones(len(crown.s), dtype=bool)
    points = {"whole": whole, "external": crown.s >= 0.0, "intaglio": crown.s < 0.0}
    return AreaSet(evaluation, {name: Area(name, inside) for name, inside in points.items()})


def perfect_crown(edge_mm: float) -> dict[str, tuple[AreaSag, float, float]]:
    """Sag, mean and mean absolute deviation (µm) of a scan without any error, by area."""
    area_set, scan = sides_of_the_crown(), perfect_scan(edge_mm)
    field = measure_deviation(area_set.evaluation.mesh, scan)
    found = {}
    for sag in sag_by_area(area_set, field, scan):
        inside = area_set[sag.area].points & field.counted
        weights, um = field.weights_mm2[inside], 1e3 * field.deviation_mm[inside]
        means = np.average([um, np.abs(um)], axis=1, weights=weights)
        found[sag.area] = (sag, *means.tolist())
    return found


def test_a_perfect_crown_with_edges_of_012_mm() -> None:
    """Outside −0.5, inside +0.26 µm; after the correction less than 0.06 µm is left."""
    found = perfect_crown(0.12)
    for area, sign in (("external", -1), ("intaglio", 1)):
        sag, mean, mean_abs = found[area]
        assert sign * mean > 0.25
        assert sag.mean_um == pytest.approx(mean, abs=0.06)
        assert sag.mean_abs_um == pytest.approx(mean_abs, rel=0.15)
        # The rest of the size is where in its triangle each point falls.
        assert sag.of_mean_abs_um == pytest.approx(0.5 * mean_abs, rel=0.15)
        assert sag.edge_mm == pytest.approx(perfect_scan(0.12).mean_edge_mm, rel=0.05)


def test_sag_grows_with_the_square_of_the_edges() -> None:
    fine, coarse = (perfect_crown(edge)["whole"][0] for edge in (0.12, 0.24))
    assert coarse.mean_abs_um / fine.mean_abs_um == pytest.approx(4.0, rel=0.1)
    assert perfect_crown(0.24)["whole"][2] == pytest.approx(coarse.mean_abs_um, rel=0.1)


@pytest.mark.parametrize("coarse_above", [True, False])
def test_the_edges_near_each_point_are_what_counts(coarse_above: bool) -> None:
    """Scanners mesh finer where it bends: one edge length for all would be wrong everywhere."""
    area_set = sides_of_the_crown()
    height = float(np.median(area_set.evaluation.points[:, 2]))
    above = area_set.evaluation.points[:, 2] > height
    parts = [perfect_scan(0.24), perfect_scan(0.08)]
    if not coarse_above:
        parts.reverse()
    upper, lower = (part.kept(_is_above(part, height) == (k == 0)) for k, part in enumerate(parts))
    faces = np.concatenate([upper.faces, lower.faces + len(upper.vertices)])
    scan = TriangleMesh(np.concatenate([upper.vertices, lower.vertices]), faces)
    area_set = area_set.replaced([Area("above", above), Area("below", ~above)])
    field = measure_deviation(area_set.evaluation.mesh, scan)
    found = {sag.area: sag for sag in sag_by_area(area_set, field, scan)}
    for name, part in (("above", upper), ("below", lower)):
        inside = area_set[name].points & field.counted
        um, weights = 1e3 * field.deviation_mm[inside], field.weights_mm2[inside]
        mean_abs = np.average(np.abs(um), weights=weights)
        assert found[name].mean_abs_um == pytest.approx(mean_abs, rel=0.15)
        assert found[name].edge_mm == pytest.approx(part.mean_edge_mm, rel=0.06)


def _is_above(mesh: TriangleMesh, height_mm: float) -> np.ndarray:
    above: np.ndarray = mesh.triangles[:, :, 2].mean(axis=1) > height_mm
    return above


def sag(area: str, mean_abs_um: float, edge_mm: float = 0.25) -> AreaSag:
    return AreaSag(area, edge_mm, -0.5 * mean_abs_um, mean_abs_um, 0.0)


def test_only_more_than_a_tenth_of_a_tolerance_is_told() -> None:
    limits = {"occlusal": 20.0, "margin": 15.0}
    quiet = [sag("occlusal", 2.0), sag("margin", 1.4), sag("axial", 50.0)]
    assert about_sag(quiet, limits) == ""
    assert about_sag([], limits) == ""
    told = [sag("occlusal", 3.1), sag("margin", 1.4), sag("axial", 50.0)]
    assert about_sag(told, limits) == (
        "The scan's triangles (0.25 mm edges) alone read as missing material on convex places and "
        "as excess in concave ones: 3.1 µm on average over the occlusal surface (15 % of its "
        "tolerance of 20 µm). Scan finer."
    )
    both = about_sag([sag("occlusal", 3.1), sag("margin", 2.0, 0.3)], limits)
    assert "(0.30 mm edges)" in both
    assert "of 20 µm) and 2.0 µm on average over the margin (13 % of its tolerance" in both


@cache
def coarse_check() -> CheckResult:
    design = demo_crown(0.3)
    scan = produce(design, PERFECT, edge_mm=0.3, rng=np.random.default_rng(2)).mesh
    return check_meshes(design.mesh, scan, CheckSettings(spacing_mm=0.3))


def test_a_check_warns_and_judges_as_if_it_did_not() -> None:
    result = coarse_check()
    (told,) = [text for text in result.warnings if text.startswith("Facets: ")]
    assert told in result.judged_warnings
    assert [sag.area for sag in result.facet_sag] == list(result.area_set.areas)
    silent = judge_deviations(
        result.fields,
        result.area_set,
        result.superimposition,
        result.settings.tolerances,
        evidence=ScanEvidence(margin=result.margin_profile and result.margin_profile.summary),
    )
    assert repr(silent.measures) == repr(result.measures)
    assert silent.verdicts == result.verdicts
    assert silent.warnings == tuple(t for t in result.judged_warnings if t != told)


def test_other_tolerances_take_the_warning_back() -> None:
    result = coarse_check()
    evidence = evidence_from(False, (), None, facet_sag=plain(result.facet_sag))
    assert evidence.facet_sag == result.facet_sag
    for limits, told in (({"whole": 500.0}, False), ({"whole": 5.0}, True), ({}, False)):
        judgement = judge_deviations(
            result.fields,
            result.area_set,
            result.superimposition,
            Tolerances(limits),
            evidence=evidence,
        )
        assert any(text.startswith("Facets: ") for text in judgement.warnings) == told


def test_the_design_itself_is_no_coarse_scan() -> None:
    result = coarse_check()
    evidence = ScanEvidence(is_design=True, facet_sag=(sag("whole", 100.0),))
    judgement = judge_deviations(
        result.fields, result.area_set, result.superimposition, Tolerances(), evidence=evidence
    )
    assert not any(text.startswith("Facets: ") for text in judgement.warnings)


def test_an_area_without_counted_points_has_no_sag() -> None:
    area_set, scan = sides_of_the_crown(), perfect_scan(0.24)
    field = measure_deviation(area_set.evaluation.mesh, scan)
    outside = area_set["external"].points
    field = replace(field, status=np.where(outside, 1, field.status).astype(np.uint8))
    assert [sag.area for sag in sag_by_area(area_set, field, scan)] == ["whole", "intaglio"]
