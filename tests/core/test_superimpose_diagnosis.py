"""What a superimposition says about itself: free motions, rivals, mirrored and wrong parts."""

from __future__ import annotations

import made.superimpose_shapes as shapes
import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.errors import SuperimpositionError
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import motion
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from made.crowns import demo_crown
from made.tiers import slow

MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])


@pytest.fixture(scope="module")
def crown() -> TriangleMesh:
    return demo_crown(0.3).mesh


@pytest.fixture(scope="module")
def design(crown) -> PreparedDesign:
    return shapes.prepared(crown)


def revolved(sections: int) -> TriangleMesh:
    """A wavy cup about the z axis through (2, 1, 0)."""
    height = np.linspace(0.0, 1.0, 60)
    radius = 3.5 + np.sin(2.0 * height) + 0.3 * np.sin(9.0 * height)
    lid = np.linspace(1.0, 0.0, 40)[1:]
    profile = np.vstack(
        [
            np.stack([radius, 6.0 * height], axis=1),
            np.stack([radius[-1] * lid, 6.0 + np.sin(3.0 * (1.0 - lid))], axis=1),
        ]
    )
    mesh = trimesh.creation.revolve(profile, sections=sections)
    mesh.merge_vertices()
    mesh.update_faces(mesh.nondegenerate_faces())
    return shapes.from_trimesh(mesh).moved(motion(np.eye(3), [2.0, 1.0, 0.0]))


def bumpy(height_mm: float) -> TriangleMesh:
    """A four-cornered knob; on one corner only, a bump that tells the four turns apart."""
    ball = trimesh.creation.icosphere(5, 1.0)
    x, y, z = ball.vertices.T
    angle = np.arctan2(y, x)
    level = np.sqrt(x**2 + y**2)
    radius = 4.5 + 0.6 * level**4 * np.cos(4.0 * angle) + 0.5 * z
    bump = height_mm * np.exp(-20.0 * ((x - 0.7) ** 2 + y**2 + (z - 0.7) ** 2))
    return TriangleMesh(ball.vertices * (radius + bump)[:, None], ball.faces)


def test_a_crown_is_good_and_held(crown, design):
    scan = shapes.with_form_error(crown, np.random.default_rng(0), 0.02, 0.002)
    found = superimpose(scan.moved(shapes.random_poses(1, 4)[0]), design)
    assert found.verdict == "good"
    assert found.converged
    assert not found.weak_directions
    assert not found.warnings
    assert found.share_used == pytest.approx(1.0)
    assert found.points_used == len(scan.vertices)
    assert found.rivals
    assert found.rivals[0].ratio > 3.0
    assert found.rivals[0].ratio == pytest.approx(found.rivals[0].rms_mm / found.rms_mm, rel=0.05)


@pytest.mark.parametrize("start", ["auto", "in_place"])
def test_a_sphere_turns_freely(start):
    ball = shapes.from_trimesh(trimesh.creation.icosphere(4, 5.0))
    settings = SuperimposeSettings(start=start, look_for_rivals=False)
    found = superimpose(ball, shapes.prepared(ball), settings)
    assert found.verdict == "ambiguous"
    assert [weak.kind for weak in found.weak_directions] == ["turning"] * 3
    axes = np.array([weak.axis for weak in found.weak_directions])
    assert abs(np.linalg.det(axes)) == pytest.approx(1.0, abs=1e-6)
    for weak in found.weak_directions:
        away = weak.through_mm - (weak.through_mm @ weak.axis) * weak.axis
        assert np.linalg.norm(away) < 0.05
    assert "turning about" in found.reason


@pytest.mark.parametrize("sections", [64, 200])
def test_a_surface_of_revolution_is_ambiguous_about_its_axis(sections):
    cup = revolved(sections)
    found = superimpose(cup.moved(shapes.random_poses(1, 3)[0]), shapes.prepared(cup))
    assert found.verdict == "ambiguous"
    (weak,) = found.weak_directions
    assert weak.kind == "turning"
    np.testing.assert_allclose(np.abs(weak.axis), [0.0, 0.0, 1.0], atol=0.01)
    np.testing.assert_allclose(weak.through_mm[:2], [2.0, 1.0], atol=0.05)
    assert weak.stiffness < 2.5 / sections
    assert "turning about (0.00, 0.00, 1.00)" in found.reason.replace("-0.00", "0.00")


def test_a_plane_slides():
    sheet = shapes.flat_sheet(5.0, 40)
    settings = SuperimposeSettings(start="in_place", look_for_rivals=False)
    part = sheet.kept(np.abs(sheet.triangles).max(axis=(1, 2)) < 4.0)
    found = superimpose(part, shapes.prepared(sheet), settings)
    assert found.verdict == "ambiguous"
    kinds = sorted(weak.kind for weak in found.weak_directions)
    assert kinds == ["sliding", "sliding", "turning"]
    for weak in found.weak_directions:
        upright = abs(weak.axis[2])
        assert upright == pytest.approx(1.0 if weak.kind == "turning" else 0.0, abs=1e-6)


def test_a_nearly_fourfold_shape_names_its_rivals():
    """Turned by a quarter it differs by its one small bump only."""
    knob = bumpy(0.03)
    scan = shapes.with_form_error(knob, np.random.default_rng(2), 0.01, 0.002)
    pose = shapes.random_poses(1, 6)[0]
    found = superimpose(scan.moved(pose), shapes.prepared(knob))
    assert found.verdict == "ambiguous"
    assert "fits nearly as well" in found.reason
    close = [rival for rival in found.rivals if rival.ratio < 1.5]
    turns = sorted(round(rival.turn_deg / 90.0) * 90 for rival in close)
    assert turns == [90, 90, 180]
    for rival in close:
        assert rival.turn_deg == pytest.approx(round(rival.turn_deg / 90.0) * 90, abs=1.0)
    # and the pose kept is the true one all the same
    assert shapes.return_error_um(found.T_design_scan, pose, knob) < 20.0


def test_a_clear_bump_settles_the_fourfold_shape():
    knob = bumpy(0.6)
    pose = shapes.random_poses(1, 7)[0]
    found = superimpose(knob.moved(pose), shapes.prepared(knob))
    assert found.verdict == "good"
    nearest_quarter = 90.0 * round(found.rivals[0].turn_deg / 90.0)
    assert found.rivals[0].turn_deg == pytest.approx(nearest_quarter, abs=1.0)
    assert nearest_quarter > 0.0
    assert shapes.return_error_um(found.T_design_scan, pose, knob) < 0.01


def test_a_mirrored_crown_is_called_mirrored(crown, design):
    scan = shapes.with_form_error(crown, np.random.default_rng(1), 0.02, 0.002)
    found = superimpose(scan.moved(MIRROR), design)
    assert found.verdict == "mirrored"
    assert "mirror image" in found.reason
    assert np.linalg.det(found.T_design_scan[:3, :3]) == pytest.approx(1.0)


@pytest.mark.parametrize("number", [16, *(slow(n) for n in (11, 36))])
def test_mirrored_real_crowns(shared_meshes, number):
    crown = shapes.real_mesh(shared_meshes / "teeth" / f"sj_crown_FDI{number}.obj")
    found = superimpose(crown.moved(MIRROR), shapes.prepared(crown))
    assert found.verdict == "mirrored"


@pytest.mark.parametrize(
    ("scan", "design"),
    [
        (16, 36),
        *(slow(*two) for two in ((11, 16), (16, 11), (36, 16))),
    ],
)
def test_another_tooth_is_called_a_wrong_part(shared_meshes, scan, design):
    teeth = shared_meshes / "teeth"
    crowns = [shapes.real_mesh(teeth / f"sj_crown_FDI{number}.obj") for number in (scan, design)]
    found = superimpose(crowns[0], shapes.prepared(crowns[1]))
    assert found.verdict == "wrong_part"
    assert found.warnings


def test_another_unit_is_refused(crown, design):
    with pytest.raises(SuperimpositionError, match=r"25\.4 times as large"):
        superimpose(crown.moved(np.diag([25.4, 25.4, 25.4, 1.0])), design)


@pytest.mark.slow
def test_an_unshrunk_crown_is_called_a_wrong_part(crown, design):
    """Zirconia milled in its enlarged form: 1.25 for 20 % shrinkage, 1/(1 − s)."""
    found = superimpose(crown.moved(np.diag([1.25, 1.25, 1.25, 1.0])), design)
    assert found.verdict == "wrong_part"


def test_extra_pieces_neither_pull_nor_alarm(crown, design):
    """Debris and a stub beyond the distance limit take no part in the fit."""
    debris = []
    for number, place in enumerate([(8.0, 0.0, 3.0), (0.0, -8.0, 5.0), (6.0, 6.0, 9.0)]):
        ball = trimesh.creation.icosphere(3, 0.4 + 0.1 * number)
        debris.append(ball.apply_translation(place))
    whole = trimesh.util.concatenate(
        [trimesh.Trimesh(crown.vertices, crown.faces, process=False), *debris]
    )
    scan = shapes.from_trimesh(whole)
    pose = shapes.random_poses(1, 9)[0]
    found = superimpose(scan.moved(pose), design)
    assert found.verdict == "good"
    assert shapes.return_error_um(found.T_design_scan, pose, crown) < 0.01


def test_the_other_pose_is_reported_when_the_start_was_wrong(crown, design):
    turned = motion(np.diag([-1.0, -1.0, 1.0]), [0.0, 0.0, 0.0])
    found = superimpose(crown.moved(turned), design, SuperimposeSettings(start="in_place"))
    assert found.rms_mm > 0.05
    assert found.verdict == "ambiguous"
    assert any("Another pose fits better" in warning for warning in found.warnings)
    assert found.rivals[0].rms_mm < 1e-3
    assert found.rivals[0].turn_deg > 150.0
