"""Superimposition of open data that nobody on the project made."""

from __future__ import annotations

import made.superimpose_shapes as shapes
import numpy as np
import pytest
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.point_pairs import fit_point_pairs
from cuspwise.standalone_core.superimpose.rigid import apply, inverse, largest_displacement
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.scaled_fit import with_scale


def both_ways(scan: TriangleMesh, design: SurfaceIndex, pose: np.ndarray) -> np.ndarray:
    """Distances of the moved scan's vertices from the design, and the other way, mm."""
    moved = scan.moved(pose)
    there = design.closest(moved.vertices).distance_mm
    back = SurfaceIndex(moved).closest(design.mesh.vertices).distance_mm
    return np.concatenate([there, back])


@pytest.mark.slow  # the whole check against the same figures is quick: test_check_real.py
def test_tooth_row_against_the_published_figures(shared_meshes):
    """arch_pairs/case0 of 3D-Teeth-Reconstruction (MIT): RMSD 0.5061, ASSD 0.4375 mm published.

    The authors aligned with a transform of their own before measuring, and their prediction is
    4 % smaller than the reference; they do not say whether a scale was taken out, nor how they
    sampled the surfaces. So only this is comparable: with a rigid best fit the figures must lie
    above the published ones, with a scale as well below them, and both near. Their Hausdorff
    distance (1.3158 mm) is left out: it hangs on a single point and on the sampling.
    """
    folder = shared_meshes / "arch_pairs"
    reference = SurfaceIndex(shapes.real_mesh(folder / "case0_upper_reference.obj"))
    test = shapes.real_mesh(folder / "case0_upper_test.obj")
    found = superimpose(test, reference, SuperimposeSettings(max_distance_mm=3.0))
    assert found.verdict == "doubtful"
    assert "A bad crown and another part cannot be distinguished" in found.reason
    assert found.converged
    assert found.warnings
    rigid = both_ways(test, reference, found.T_design_scan)
    pose = found.T_design_scan
    some, weights = test.vertices[::8], test.vertex_areas[::8]
    for _ in range(15):
        feet = reference.closest(apply(pose, some)).foot
        fit = fit_point_pairs(some, feet, weights=weights)
        pairs = with_scale(fit, some, feet, weights)
        pose = pairs.T_target_source
    scaled = both_ways(test, reference, pose)
    assert pairs.scale == pytest.approx(1.043, abs=0.005)
    for published, figure in ((0.5061, lambda d: np.sqrt(np.mean(d**2))), (0.4375, np.mean)):
        assert figure(scaled) < published < figure(rigid)
        assert figure(rigid) < 1.4 * published
        assert figure(scaled) > 0.7 * published


def hippo(shared_meshes, number: int) -> TriangleMesh:
    """One range scan of the figurine of Super4PCS (Apache-2.0), 100 mm long instead of 1."""
    path = shared_meshes / "registration" / f"hippo{number}.obj"
    return shapes.real_mesh(path).moved(np.diag([100.0, 100.0, 100.0, 1.0]))


@pytest.mark.slow  # three superimpositions of large scans
def test_partly_overlapping_range_scans(shared_meshes):
    """hippo1 and hippo2 in their file poses, some 43° apart, about 70 % of area in common.

    The folder holds no true pose. Checked instead: the residual where they overlap is below half
    the mean edge, the pose is the same from other starting poses, and laying the first on the
    second gives the inverse motion to half an edge.
    """
    first, second = (hippo(shared_meshes, number) for number in (1, 2))
    settings = SuperimposeSettings(fit_weighting="robust", max_distance_mm=2.0, least_overlap=0.3)
    edge_mm = np.sqrt(first.area_mm2 / len(first.faces) * 4.0 / np.sqrt(3.0))
    design = shapes.prepared(first)
    found = superimpose(second, design, settings)
    assert found.verdict == "good"
    assert 0.5 < found.share_used < 0.9
    assert found.rms_mm < 0.5 * edge_mm
    assert found.rivals[0].ratio > 3.0
    (pose,) = shapes.random_poses(1, seed=1)
    again = superimpose(second.moved(pose), design, settings)
    assert (
        shapes.return_error_um(
            found.T_design_scan @ inverse(again.T_design_scan @ pose), np.eye(4), first
        )
        < 0.1
    )
    back = superimpose(first, shapes.prepared(second), settings)
    corners = first.vertices
    apart = largest_displacement(back.T_design_scan, inverse(found.T_design_scan), corners)
    assert apart < 0.5 * edge_mm


def test_a_scan_that_lost_a_third_of_its_faces(shared_meshes):
    """parasaurolophus_6700 (opencv_contrib, Apache-2.0): many holes; it comes back exactly."""
    scan = shapes.real_mesh(shared_meshes / "registration" / "parasaur_6700.ply")
    scan = scan.moved(np.diag([0.1, 0.1, 0.1, 1.0]))
    design = shapes.prepared(scan)
    keep = np.random.default_rng(0).random(len(scan.faces)) > 0.33
    part = scan.kept(keep)
    for pose in shapes.random_poses(3, seed=4):
        found = superimpose(part.moved(pose), design)
        assert found.verdict == "good"
        assert shapes.return_error_um(found.T_design_scan, pose, part) < 0.01
