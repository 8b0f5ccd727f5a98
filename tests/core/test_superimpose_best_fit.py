"""The best fit against closed forms, and its convergence to the exact optimum."""

from __future__ import annotations

from dataclasses import replace

import made.superimpose_shapes as shapes
import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.errors import SuperimpositionError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.superimpose.best_fit import BestFit, FitProblem, best_fit_steps
from cuspwise.standalone_core.superimpose.rigid import (
    apply,
    largest_displacement,
    motion,
    rotation_angle_deg,
)
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.superimpose.too_few import nearest_mm
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

SLIGHTLY_OFF = motion(
    Rotation.from_rotvec(np.radians(2.0) * np.array([0.6, -0.64, 0.48])).as_matrix(),
    [0.2, -0.2, 0.1],
)
"""2° and 0.3 mm."""


@pytest.fixture(scope="module")
def crown() -> TriangleMesh:
    return demo_crown(0.3).mesh


@pytest.fixture(scope="module")
def other_mesh_of_crown() -> TriangleMesh:
    return demo_crown(0.25, margin_edges=False, rng=np.random.default_rng(7)).mesh


def fit(points, weights, design, start=None, **settings) -> BestFit:
    problem = FitProblem(points, weights, design, SuperimposeSettings(**settings))
    return run(best_fit_steps(problem, np.eye(4) if start is None else start))


def sheet_points(count: int = 100) -> np.ndarray:
    """Cell centres of a square −1…1: equal weights without edge effects."""
    line = (np.arange(count) + 0.5) / count * 2.0 - 1.0
    x, y = (part.ravel() for part in np.meshgrid(line, line, indexing="ij"))
    return np.stack([x, y, 0.0 * x], axis=1)


def test_a_fit_absorbs_a_raised_half():
    """Half a flat face raised by h: after shift and tilt RMS h/4, slope 3h/4; true RMS h/√2.

    Closed form: the straight line fitted to a step on −1…1.
    """
    h = 0.02
    points = sheet_points()
    points[:, 2] = np.where(points[:, 0] > 0.0, h, 0.0)
    assert np.sqrt(np.mean(points[:, 2] ** 2)) == pytest.approx(h / np.sqrt(2.0))
    found = fit(points, np.ones(len(points)), shapes.prepared(shapes.flat_sheet(5.0, 8)))
    assert found.rms_mm == pytest.approx(h / 4.0, rel=5e-4)
    slope = np.tan(np.radians(rotation_angle_deg(found.T_design_scan[:3, :3])))
    assert slope == pytest.approx(0.75 * h, rel=5e-4)


@pytest.mark.parametrize("fraction", [0.2, 0.5])
def test_a_fit_absorbs_a_raised_middle(fraction):
    """A fraction f raised by h, lying so that no tilt helps: RMS h √(f(1−f)), mean 2f(1−f)h."""
    h = 0.02
    points = sheet_points()
    raised = np.abs(points[:, 0]) < fraction
    points[:, 2] = np.where(raised, h, 0.0)
    found = fit(points, np.ones(len(points)), shapes.prepared(shapes.flat_sheet(5.0, 8)))
    assert found.rms_mm == pytest.approx(h * np.sqrt(fraction * (1.0 - fraction)), rel=1e-6)
    assert found.mean_abs_mm == pytest.approx(2.0 * fraction * (1.0 - fraction) * h, rel=1e-6)


def test_trimmed_and_robust_fits_do_not_absorb_it():
    """With a fifth raised by far more than the noise, both find the unraised plane again."""
    h, rng = 0.2, np.random.default_rng(2)
    points = sheet_points()
    noise = 0.002 * rng.normal(size=len(points))
    raised = points[:, 0] > 0.6
    points[:, 2] = np.where(raised, h, 0.0) + noise
    design = shapes.prepared(shapes.flat_sheet(5.0, 8))
    for settings in ({"fit_weighting": "trimmed", "keep_share": 0.75}, {"fit_weighting": "robust"}):
        found = fit(points, np.ones(len(points)), design, **settings)
        moved = apply(found.T_design_scan, points)
        assert np.abs(moved[~raised, 2] - noise[~raised]).max() < 0.0005
        assert found.share_used <= 0.8
    plain = fit(points, np.ones(len(points)), design)
    assert np.abs(apply(plain.T_design_scan, points)[~raised, 2]).max() > 0.03


def test_trimmed_keeps_the_share_asked_for(crown):
    scan = shapes.with_form_error(crown, np.random.default_rng(1), 0.02, 0.002)
    found = fit(
        scan.vertices,
        scan.vertex_areas,
        shapes.prepared(crown),
        SLIGHTLY_OFF,
        fit_weighting="trimmed",
        keep_share=0.8,
    )
    assert found.share_used == pytest.approx(0.8, abs=0.005)


@pytest.mark.parametrize("weighting", ["least_squares", "trimmed", "robust"])
@pytest.mark.parametrize("form_mm", [0.02, 0.1])
def test_ends_within_ten_nanometres_of_the_exact_optimum(
    crown, other_mesh_of_crown, weighting, form_mm
):
    scan = shapes.with_form_error(other_mesh_of_crown, np.random.default_rng(3), form_mm, 0.002)
    design = shapes.prepared(crown)
    settings = SuperimposeSettings(fit_weighting=weighting)
    problem = FitProblem(scan.vertices, scan.vertex_areas, design, settings)
    found = run(best_fit_steps(problem, SLIGHTLY_OFF))
    strict = replace(settings, tolerance_mm=1e-9, max_iterations=100)
    # a trimmed sum has several optima fractions of a micrometre apart: stay with the one found
    again = replace(problem, settings=strict)
    afresh = weighting == "least_squares"
    exact = run(best_fit_steps(again, found.T_design_scan, from_samples=afresh))
    assert found.converged
    assert exact.converged
    assert largest_displacement(found.T_design_scan, exact.T_design_scan, problem.corners) < 1e-5


def test_the_optimum_is_the_one_a_general_minimiser_finds(crown):
    """scipy.optimize on the plain sum of squared distances, from the fit's own result."""
    scan = shapes.with_form_error(crown, np.random.default_rng(5), 0.03, 0.002)
    points, weights = scan.vertices[::7], scan.vertex_areas[::7]
    design = shapes.prepared(crown)
    found = fit(points, weights, design, SLIGHTLY_OFF)

    def cost(small: np.ndarray) -> float:
        step = design.frame.motion(small)
        there = apply(step @ found.T_design_scan, points)
        return float(weights @ design.index.closest(there).distance_mm ** 2 / weights.sum())

    simplex = np.vstack([np.zeros(6), 0.002 * np.eye(6)])
    best = minimize(
        cost,
        np.zeros(6),
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-6, "fatol": 1e-14, "maxiter": 800},
    )
    assert np.abs(best.x).max() < 5e-6
    assert cost(np.zeros(6)) <= best.fun + 1e-12
    assert found.rms_mm == pytest.approx(np.sqrt(best.fun), rel=1e-6)


def test_a_large_turn_leaves_lengths_alone(crown):
    """Steps with linearised rotations would stretch the crown by 19 µm at 5°."""
    start = motion(Rotation.from_rotvec([0.0, np.radians(5.0), 0.0]).as_matrix(), [0.0, 0.1, 0.0])
    found = fit(crown.vertices, crown.vertex_areas, shapes.prepared(crown), start)
    turn = found.T_design_scan[:3, :3]
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-14)
    assert found.rms_mm < 1e-9
    back = np.linalg.norm(apply(found.T_design_scan, crown.vertices) - crown.vertices, axis=1)
    assert back.max() < 1e-8


def offset_fit(mesh: TriangleMesh, offset_mm: float) -> tuple[BestFit, float]:
    """Fit of the mesh with every vertex moved along its normal; and how far that moves it, mm."""
    scan = TriangleMesh(mesh.vertices + offset_mm * mesh.vertex_normals, mesh.faces)
    found = fit(scan.vertices, scan.vertex_areas, shapes.prepared(mesh), SLIGHTLY_OFF)
    return found, largest_displacement(found.T_design_scan, np.eye(4), scan.vertices)


@pytest.mark.parametrize("offset_mm", [0.005, 0.01, 0.02, 0.05, 0.1])
def test_thickening_settles_and_leaves_the_pose(crown, offset_mm):
    """A constant offset pulls a closed surface nowhere (∮ n dA = 0): only sampling shifts it.

    Every foot is a corner, so the true curvature is several times Gauss–Newton's.
    """
    found, moved_mm = offset_fit(crown, offset_mm)
    assert found.converged
    assert moved_mm < 0.05 * offset_mm
    assert found.rms_mm == pytest.approx(offset_mm, rel=0.01)


@pytest.mark.parametrize("offset_mm", [-0.005, -0.01, -0.02, -0.05, -0.1])
def test_thinning_settles(crown, offset_mm):
    """Inside a sharp edge the nearest face is nearer than the offset, so the optimum moves.

    How far is the mesh's doing (a third of the offset here); it must not fit worse than the truth.
    """
    found, moved_mm = offset_fit(crown, offset_mm)
    scan = TriangleMesh(crown.vertices + offset_mm * crown.vertex_normals, crown.faces)
    distance = shapes.prepared(crown).index.closest(scan.vertices).distance_mm
    truth_mm = np.sqrt(scan.vertex_areas @ distance**2 / scan.vertex_areas.sum())
    assert found.remaining_mm < 1e-4
    assert found.rms_mm <= truth_mm
    assert moved_mm < 0.4 * abs(offset_mm)


@pytest.mark.parametrize("offset_mm", [-0.1, -0.05, -0.02, 0.01, 0.02, 0.05, 0.1])
def test_offsets_of_a_real_coarse_crown_settle(shared_meshes, offset_mm):
    """2,796 corners; inward the optimum lies off the truth by almost the offset (sharp edges)."""
    mesh = shapes.real_mesh(shared_meshes / "teeth" / "sj_crown_FDI36.obj")
    found, moved_mm = offset_fit(mesh, offset_mm)
    assert found.converged
    assert moved_mm < (0.02 if offset_mm > 0 else 1.0) * abs(offset_mm)


def test_never_scales(crown):
    """A scan 1 % too large keeps its size, and its residual shows it."""
    scan = crown.moved(np.diag([1.01, 1.01, 1.01, 1.0]))
    found = fit(scan.vertices, scan.vertex_areas, shapes.prepared(crown), SLIGHTLY_OFF)
    assert np.linalg.det(found.T_design_scan[:3, :3]) == pytest.approx(1.0, abs=1e-12)
    assert found.rms_mm > 0.015


def test_dense_patches_do_not_pull(crown):
    """Points weigh by area: splitting one side's triangles hardly moves the optimum."""
    scan = shapes.with_form_error(crown, np.random.default_rng(4), 0.05, 0.0)
    side = np.flatnonzero(scan.triangles.mean(axis=1)[:, 0] > 2.0)
    vertices, faces = trimesh.remesh.subdivide(scan.vertices, scan.faces, face_index=side)
    vertices, faces = trimesh.remesh.subdivide(
        vertices, faces, face_index=np.flatnonzero(vertices[faces].mean(axis=1)[:, 0] > 2.0)
    )
    dense = TriangleMesh(vertices, faces)
    assert len(dense.vertices) > 2 * len(scan.vertices)
    design = shapes.prepared(crown)
    plain = fit(scan.vertices, scan.vertex_areas, design, SLIGHTLY_OFF)
    weighted = fit(dense.vertices, dense.vertex_areas, design, SLIGHTLY_OFF)
    unweighted = fit(dense.vertices, np.ones(len(dense.vertices)), design, SLIGHTLY_OFF)
    corners = crown.vertices
    near = largest_displacement(weighted.T_design_scan, plain.T_design_scan, corners)
    far = largest_displacement(unweighted.T_design_scan, plain.T_design_scan, corners)
    assert near < 0.003
    assert far > 5.0 * near


def test_feet_on_an_open_border_are_left_out(crown):
    """The design is the scan's upper part only: what hangs below its edge must not pull it."""
    upper = crown.kept(crown.triangles.mean(axis=1)[:, 2] > 3.0)
    found = fit(crown.vertices, crown.vertex_areas, shapes.prepared(upper), SLIGHTLY_OFF)
    assert found.rms_mm < 1e-9
    assert found.share_used < 0.8
    back = np.linalg.norm(apply(found.T_design_scan, crown.vertices) - crown.vertices, axis=1)
    assert back.max() < 1e-8


def test_chosen_faces_alone_decide(crown):
    """The lower half of the scan is wrong by 0.1 mm; fitted on the upper half it is ignored."""
    low = crown.vertices[:, 2] < 3.0
    off = np.where(low[:, None], crown.vertex_normals * 0.1, 0.0)
    points = crown.vertices + off
    use_faces = crown.triangles[:, :, 2].min(axis=1) > 3.4
    problem = FitProblem(
        points, crown.vertex_areas, shapes.prepared(crown), SuperimposeSettings(), use_faces
    )
    found = run(best_fit_steps(problem, SLIGHTLY_OFF))
    back = np.linalg.norm(apply(found.T_design_scan, points) - points, axis=1)
    assert back.max() < 1e-6
    assert found.rms_mm < 1e-7
    everywhere = run(best_fit_steps(replace(problem, use_faces=None), SLIGHTLY_OFF))
    assert everywhere.rms_mm > 0.02


def test_points_far_off_are_refused(crown):
    points = apply(motion(np.eye(3), [100.0, 0.0, 0.0]), crown.vertices)
    problem = FitProblem(points, crown.vertex_areas, shapes.prepared(crown), SuperimposeSettings())
    apart = SurfaceIndex(crown).closest(points).distance_mm.min()
    assert 0.0 <= nearest_mm(points, problem.design) - apart < 0.3**2 / (8.0 * apart)
    with pytest.raises(SuperimpositionError, match=r"^scan: .* it has 0 points within 1 mm"):
        run(best_fit_steps(problem, np.eye(4), from_samples=False))
