"""Starts, chosen faces, steps, repeatability and refusals of superimposition."""

from __future__ import annotations

import made.superimpose_shapes as shapes
import numpy as np
import pytest
from cuspwise.standalone_core.errors import SettingError, SuperimpositionError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import apply, motion
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.superimpose.superimposition import superimpose, superimpose_steps
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.crowns import demo_crown
from scipy.spatial.transform import Rotation


@pytest.fixture(scope="module")
def crown() -> TriangleMesh:
    return demo_crown(0.3).mesh


@pytest.fixture(scope="module")
def design(crown) -> PreparedDesign:
    return shapes.prepared(crown)


def picked(mesh: TriangleMesh, seed: int) -> np.ndarray:
    """Three picked points, 0.3 mm off as by hand."""
    rng = np.random.default_rng(seed)
    high = [np.argmax(mesh.vertices @ way) for way in ([1, 0, 0], [0, 1, 0], [-1, -1, 2])]
    return mesh.vertices[high] + rng.uniform(-0.3, 0.3, (3, 3))


def test_landmark_pairs_start_the_fit(crown, design):
    pose = shapes.random_poses(1, 2)[0]
    settings = SuperimposeSettings(
        start="landmarks",
        landmarks_scan_mm=apply(pose, picked(crown, 1)),
        landmarks_design_mm=picked(crown, 2),
        look_for_rivals=False,
    )
    found = superimpose(crown.moved(pose), design, settings)
    assert found.start == "landmarks"
    assert shapes.return_error_um(found.T_design_scan, pose, crown) < 0.01
    assert found.verdict == "good"
    assert any("landmark pairs fit to" in warning for warning in found.warnings)


def test_landmarks_alone_leave_their_own_error(crown, design):
    pose = shapes.random_poses(1, 2)[0]
    settings = SuperimposeSettings(
        start="landmarks",
        landmarks_scan_mm=apply(pose, picked(crown, 1)),
        landmarks_design_mm=picked(crown, 2),
        refine=False,
    )
    found = superimpose(crown.moved(pose), design, settings)
    assert shapes.return_error_um(found.T_design_scan, pose, crown) > 20.0
    assert found.iterations == 0


def test_mirrored_landmarks_are_pointed_out(crown, design):
    four = crown.vertices[[0, 500, 1500, 3000]]
    settings = SuperimposeSettings(
        start="landmarks",
        landmarks_scan_mm=four * [-1.0, 1.0, 1.0],
        landmarks_design_mm=four,
        refine=False,
        max_distance_mm=20.0,
    )
    found = superimpose(crown, design, settings)
    assert any("mirror image of the landmarks" in warning for warning in found.warnings)


def test_in_place_without_refining_moves_nothing(crown, design):
    """A shift of 0.1 mm along z stays, and is measured: the mean square is 0.01 · mean n_z²."""
    scan = crown.moved(motion(np.eye(3), [0.0, 0.0, 0.005]))
    settings = SuperimposeSettings(start="in_place", refine=False)
    found = superimpose(scan, design, settings)
    assert np.array_equal(found.T_design_scan, np.eye(4))
    assert found.converged
    assert found.rivals == ()
    share = crown.face_areas @ crown.face_normals[:, 2] ** 2 / crown.area_mm2
    assert found.rms_mm == pytest.approx(0.005 * np.sqrt(share), rel=0.03)


def test_in_place_with_refining_closes_a_small_gap(crown, design):
    turn = Rotation.from_rotvec(np.radians([1.0, -1.4, 1.0])).as_matrix()
    pose = motion(turn, [0.2, 0.1, -0.2])
    found = superimpose(crown.moved(pose), design, SuperimposeSettings(start="in_place"))
    assert shapes.return_error_um(found.T_design_scan, pose, crown) < 0.01
    assert found.verdict == "good"


def test_same_input_gives_the_same_bits(crown):
    scan = shapes.with_form_error(crown, np.random.default_rng(3), 0.03, 0.003)
    scan = scan.moved(shapes.random_poses(1, 1)[0])
    first, second = (superimpose(scan, SurfaceIndex(crown)) for _ in range(2))
    assert np.array_equal(first.T_design_scan, second.T_design_scan)
    assert first.rms_mm == second.rms_mm
    assert first.reason == second.reason
    for one, other in zip(first.rivals, second.rivals, strict=True):
        assert np.array_equal(one.T_design_scan, other.T_design_scan)


def test_a_prepared_design_changes_nothing(crown, design):
    scan = crown.moved(shapes.random_poses(1, 11)[0])
    alone = superimpose(scan, SurfaceIndex(crown))
    reused = superimpose(scan, design)
    assert np.array_equal(alone.T_design_scan, reused.T_design_scan)


def test_chosen_faces_decide_from_any_pose(crown, design):
    low = crown.vertices[:, 2] < 3.0
    off = np.where(low[:, None], crown.vertex_normals * 0.1, 0.0)
    scan = TriangleMesh(crown.vertices + off, crown.faces)
    use_faces = crown.triangles[:, :, 2].min(axis=1) > 3.4
    pose = shapes.random_poses(1, 12)[0]
    found = superimpose(scan.moved(pose), design, use_faces=use_faces)
    assert shapes.return_error_um(found.T_design_scan, pose, scan) < 0.01
    assert found.share_used < 0.8
    whole = superimpose(scan.moved(pose), design)
    assert shapes.return_error_um(whole.T_design_scan, pose, scan) > 5.0


def test_steps_report_growing_progress(crown):
    steps = []
    run(superimpose_steps(crown, SurfaceIndex(crown)), steps.append)
    fractions = [step.fraction for step in steps]
    assert len(steps) > 10
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0
    assert {step.label for step in steps} >= {"Searching the pose", "Best fit"}


def test_a_whole_turn_of_units_does_not_matter(crown):
    """The same crown in other units of length, with the limits in those units."""
    scale = np.diag([0.1, 0.1, 0.1, 1.0])
    settings = SuperimposeSettings(max_distance_mm=0.1, tolerance_mm=2e-7)
    small = crown.moved(scale)
    pose = shapes.random_poses(1, 13, reach_mm=5.0)[0]
    found = superimpose(small.moved(pose), SurfaceIndex(small), settings)
    assert shapes.return_error_um(found.T_design_scan, pose, small) < 0.001
    assert found.verdict == "good"


@pytest.mark.parametrize(
    ("settings", "subject"),
    [
        ({"start": "guess"}, "start"),
        ({"fit_weighting": "absolute"}, "fit_weighting"),
        ({"keep_share": 0.0}, "keep_share"),
        ({"keep_share": 1.5}, "keep_share"),
        ({"max_distance_mm": -1.0}, "max_distance_mm"),
        ({"max_distance_mm": float("nan")}, "max_distance_mm"),
        ({"max_iterations": 0}, "max_iterations"),
        ({"start": "landmarks"}, "start"),
        ({"landmarks_scan_mm": [[1.0, 2.0]]}, "landmarks_scan_mm"),
    ],
)
def test_settings_are_checked(settings, subject):
    with pytest.raises(SettingError) as caught:
        SuperimposeSettings(**settings)
    assert caught.value.subject == subject


def test_chosen_faces_are_checked(crown, design):
    with pytest.raises(SettingError, match="shape"):
        superimpose(crown, design, use_faces=np.ones(3, dtype=bool))
    with pytest.raises(SettingError, match="chooses no face"):
        superimpose(crown, design, use_faces=np.zeros(len(crown.faces), dtype=bool))


def test_a_scan_without_surface_is_refused(design):
    empty = TriangleMesh(np.zeros((3, 3)), [[0, 1, 2]], "empty.stl")
    with pytest.raises(SuperimpositionError, match=r"empty\.stl: It has no surface"):
        superimpose(empty, design)


@pytest.mark.parametrize("start", ["in_place", "landmarks"])
def test_a_scan_far_off_is_named_with_its_distance(crown, design, start):
    """From 50 mm aside; found from any position it would lie on its design."""
    aside = crown.vertices + np.array([50.0, 0.0, 0.0])
    apart = SurfaceIndex(crown).closest(aside).distance_mm.min()
    pairs = picked(crown, 1)
    settings = SuperimposeSettings(
        start=start, landmarks_scan_mm=pairs, landmarks_design_mm=pairs, refine=False
    )
    scan = TriangleMesh(aside, crown.faces, "Scan 24")
    with pytest.raises(SuperimpositionError) as caught:
        superimpose(scan, design, settings)
    assert caught.value.subject == "Scan 24"
    assert caught.value.reason == f"It lies {apart:.0f} mm from the design."
    assert caught.value.arguments == ("start",)


def test_a_scan_of_too_few_points_is_named_with_their_count(design):
    one = TriangleMesh(design.index.mesh.vertices[:3], [[0, 1, 2]], "one.stl")
    settings = SuperimposeSettings(start="in_place", refine=False)
    words = r"^one\.stl: Where it lies, it has 3 points within 1 mm .*; a fit takes 6\."
    with pytest.raises(SuperimpositionError, match=words):
        superimpose(one, design, settings)


def test_landmarks_in_one_line_are_told_with_the_scan_that_has_them(crown, design):
    line = np.linspace([0.0, 0.0, 0.0], [1.0, 1.0, 1.0], 4)
    settings = SuperimposeSettings(
        start="landmarks",
        landmarks_scan_mm=line,
        landmarks_design_mm=picked(crown, 1)[[0, 1, 2, 0]],
        look_for_rivals=False,
    )
    words = r"^demo crown: The rotation is open: its landmarks lie on one line"
    with pytest.raises(SuperimpositionError, match=words):
        superimpose(crown, design, settings)


def test_sizes_are_told_without_powers_of_ten(crown, design):
    large = TriangleMesh(1e6 * crown.vertices, crown.faces, "large.stl")
    with pytest.raises(SuperimpositionError, match=r"^large\.stl: It is 1,000,000 times as large"):
        superimpose(large, design)
