"""A crown finds its die from any pose, and rests in the same seat from each."""

from __future__ import annotations

import cuspwise
import numpy as np
import pytest
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.demo.die import demo_die
from cuspwise.standalone_core.fit.crown import FitCrown, moved_crown, ready_crown_steps
from cuspwise.standalone_core.fit.die import FitDie
from cuspwise.standalone_core.fit.seat.lie import lie_of
from cuspwise.standalone_core.fit.seat.rough_pose import RoughPose, rough_pose_steps
from cuspwise.standalone_core.fit.seat.seat_crown import seat_crown_steps
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import inverse, motion
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.cavities import meshed
from scipy.spatial.transform import Rotation

EDGE_MM = 0.2


@pytest.fixture(scope="module")
def crown() -> FitCrown:
    design = cuspwise.demo_crown(EDGE_MM)
    return run(ready_crown_steps(design.mesh, spacing_mm=EDGE_MM, threads=1))


@pytest.fixture(scope="module")
def die() -> FitDie:
    made = demo_die(cuspwise.demo_crown(EDGE_MM), margin_um=0.0, edge_mm=EDGE_MM)
    return FitDie(made.mesh, SurfaceIndex(made.mesh, threads=1), made.insertion)


def random_pose(seed: int) -> FloatArray:
    turn = Rotation.random(random_state=seed).as_matrix()
    return motion(turn, np.random.default_rng(seed).uniform(-30.0, 30.0, 3))


def laid(crown: FitCrown, die: SurfaceIndex, seed: int) -> tuple[RoughPose, FloatArray]:
    """The rough pose from a random one, and where it takes the crown as it was before."""
    start = random_pose(seed)
    pose = run(rough_pose_steps(moved_crown(crown, start), die))
    return pose, pose.T_die_crown @ start


def seats_apart_um(crown: FitCrown, die: FitDie, seeds: range) -> float:
    """Largest distance between two places of a point of the intaglio, from all starts."""
    points = crown.evaluation.points[crown.intaglio]
    places = []
    for seed in seeds:
        start = random_pose(seed)
        moved = moved_crown(crown, start)
        pose = run(rough_pose_steps(moved, die.index)).T_die_crown
        seat = run(seat_crown_steps(moved, die, pose, is_scan=False, with_play=False))
        whole = seat.T_die_crown @ start
        places.append(points @ whole[:3, :3].T + whole[:3, 3])
    return 1e3 * max(float(np.linalg.norm(at - places[0], axis=1).max()) for at in places[1:])


@pytest.mark.slow
def test_twenty_random_poses_end_in_one_seat(crown: FitCrown, die: FitDie) -> None:
    assert seats_apart_um(crown, die, range(20)) <= 0.3


@pytest.mark.slow
def test_the_rough_pose_is_the_best_fit_of_the_intaglio(crown: FitCrown, die: FitDie) -> None:
    """The demo's cement space of 50 µm is shared out: below that lie no more than its half."""
    pose, whole = laid(crown, die.index, 3)
    assert not pose.intended
    assert pose.warnings == ()
    assert pose.covered_share > 0.99
    assert pose.typical_um < 30.0
    assert np.abs(whole - np.eye(4)).max() < 0.1
    # No small motion makes it smaller.
    best = lie_of(crown, die.index, whole).rms_mm
    for axis in np.eye(3):
        for step in (-0.005, 0.005):
            aside = motion(np.eye(3), step * axis) @ whole
            assert lie_of(crown, die.index, aside).rms_mm > best
            about = motion(Rotation.from_rotvec(0.2 * step * axis).as_matrix(), np.zeros(3)) @ whole
            assert lie_of(crown, die.index, about).rms_mm > best


def test_by_its_design_a_crown_lies_where_it_was_meant_to(crown: FitCrown, die: FitDie) -> None:
    design = PreparedDesign(SurfaceIndex(crown.evaluation.design, threads=1))
    own = run(rough_pose_steps(crown, die.index, design))
    assert own.intended
    assert np.array_equal(own.T_die_crown, np.eye(4))
    assert own.rms_um == 0.0
    start = random_pose(5)
    far = run(rough_pose_steps(moved_crown(crown, start), die.index, design))
    assert far.intended
    assert np.abs(far.T_die_crown - inverse(start)).max() < 1e-6


def scan_of_teeth(die: TriangleMesh) -> TriangleMesh:
    """Round teeth beside the die, by formula, in one file with it."""

    def teeth(p: FloatArray) -> FloatArray:
        rows = [
            np.sqrt(((p[0] - x) / 4.4) ** 2 + (p[1] / 4.6) ** 2 + ((p[2] - 1) / 5.5) ** 2)
            for x in (-10.0, 10.5)
        ]
        return np.minimum(*rows) - 1.0

    beside = meshed(teeth, (-16.0, -6.0, -6.0), (16.0, 6.0, 8.0), 0.5)
    faces = np.vstack([die.faces, beside.faces + len(die.vertices)])
    return TriangleMesh(np.vstack([die.vertices, beside.vertices]), faces, "scan")


@pytest.mark.slow
def test_a_die_among_other_teeth_is_found(crown: FitCrown, die: FitDie) -> None:
    _, alone = laid(crown, die.index, 7)
    scan = SurfaceIndex(scan_of_teeth(die.mesh), threads=1)
    pose, whole = laid(crown, scan, 7)
    assert pose.covered_share > 0.99
    assert np.abs(whole - alone).max() < 1e-4
