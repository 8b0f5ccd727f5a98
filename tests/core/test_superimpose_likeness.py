"""Another part is told by how far off it lies typically; a bad crown of the right part is not."""

from __future__ import annotations

import made.superimpose_shapes as shapes
import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.shape import CrownShape, Outline
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose.candidates import measured
from cuspwise.standalone_core.superimpose.feet import NormalEquations
from cuspwise.standalone_core.superimpose.frame import MotionFrame
from cuspwise.standalone_core.superimpose.likeness import likeness
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.superimpose.rigid import motion
from cuspwise.standalone_core.superimpose.sampling import surface_samples
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from made.tiers import slow

POSE = shapes.random_poses(1, 5)[0]
OTHER = CrownShape(
    cusp_count=4,
    contour=Outline(5.2, (0.1, -0.6, 0.05), (0.0, 0.1)),
    margin_outline=Outline(4.4, (0.05, -0.5, 0.03)),
)
"""A molar that is wider from cheek to tongue than the demo crown; invented as that is."""


@pytest.fixture(scope="module")
def crown() -> TriangleMesh:
    return demo_crown(0.3).mesh


@pytest.fixture(scope="module")
def design(crown) -> PreparedDesign:
    return shapes.prepared(crown)


def resized(mesh: TriangleMesh, factor: float) -> TriangleMesh:
    return mesh.moved(np.diag([factor, factor, factor, 1.0]))


def reach(mesh: TriangleMesh) -> float:
    return float(MotionFrame.of(mesh.triangles.mean(axis=1), mesh.face_areas).length_mm)


def cut(mesh: TriangleMesh, way: tuple[float, float, float], share: float) -> TriangleMesh:
    """The share of the area that lies farthest out one way."""
    order = np.argsort(-(mesh.triangles.mean(axis=1) @ np.array(way)))
    kept = np.zeros(len(mesh.faces), dtype=bool)
    kept[order[np.cumsum(mesh.face_areas[order]) < share * mesh.area_mm2]] = True
    return mesh.kept(kept)


def broken(mesh: TriangleMesh, way: tuple[float, float, float], depth_mm: float) -> TriangleMesh:
    """What is farther out one way than ``depth_mm`` below the outermost place is ground flat."""
    out = np.array(way) / np.linalg.norm(way)
    height = mesh.vertices @ out
    lost = np.minimum(height.max() - depth_mm - height, 0.0)
    return TriangleMesh(mesh.vertices + lost[:, None] * out, mesh.faces)


def row_of(mesh: TriangleMesh) -> TriangleMesh:
    """Three of a part side by side."""
    count = len(mesh.vertices)
    places = [mesh.vertices + 12.0 * k * np.eye(3)[0] for k in range(3)]
    faces = [mesh.faces + k * count for k in range(3)]
    return TriangleMesh(np.concatenate(places), np.concatenate(faces))


def thicker(mesh: TriangleMesh, by_mm: float) -> TriangleMesh:
    return TriangleMesh(mesh.vertices + by_mm * mesh.vertex_normals, mesh.faces)


BAD_CROWNS = {
    "2 % too large": lambda mesh: resized(mesh, 1.02),
    "2 % too small": lambda mesh: resized(mesh, 0.98),
    "0.1 mm too thick": lambda mesh: thicker(mesh, 0.1),
    "0.1 mm too thin": lambda mesh: thicker(mesh, -0.1),
    "a corner of 3 mm lost": lambda mesh: broken(mesh, (1.0, 0.5, 0.6), 3.0),
    "worn by 1 mm": lambda mesh: broken(mesh, (0.0, 0.0, 1.0), 1.0),
    "60 % missing on one side": lambda mesh: cut(mesh, (1.0, 0.3, 0.2), 0.4),
    "the occlusal third": lambda mesh: cut(mesh, (0.0, 0.0, 1.0), 0.33),
}


QUICK = {"2 % too large", "worn by 1 mm", "60 % missing on one side"}


@pytest.mark.parametrize(
    "what",
    [what if what in QUICK else slow(what) for what in BAD_CROWNS],
)
def test_a_bad_crown_is_not_a_wrong_part(crown, design, what):
    scan = BAD_CROWNS[what](shapes.with_form_error(crown, np.random.default_rng(0), 0.03, 0.002))
    found = superimpose(scan.moved(POSE), design)
    assert found.verdict == "good"
    assert found.points_used == pytest.approx(found.share_used * len(scan.vertices), rel=0.2)


@pytest.mark.parametrize("turned_round", [False, True])
def test_a_crown_of_another_shape_is_a_wrong_part(crown, turned_round):
    other = demo_crown(0.3, OTHER).mesh
    same_size = resized(other, reach(crown) / reach(other))
    scan, target = (crown, same_size) if turned_round else (same_size, crown)
    found = superimpose(scan.moved(POSE), shapes.prepared(target))
    assert found.verdict == "wrong_part"
    assert "half of what comes near the design is more than" in found.reason
    assert "lies within 300 µm" in found.reason


def test_a_long_part_is_given_no_more_room(crown):
    """Three other crowns in a row: three times as long, and as wrong as one."""
    found = superimpose(
        row_of(demo_crown(0.3, OTHER).mesh).moved(POSE), shapes.prepared(row_of(crown))
    )
    assert found.verdict in ("wrong_part", "doubtful")


def sized_teeth(shared_meshes, scan: str, target: str) -> tuple[TriangleMesh, TriangleMesh]:
    first, second = (shapes.real_mesh(shared_meshes / name) for name in (scan, target))
    return resized(first, reach(second) / reach(first)), second


@pytest.mark.parametrize(
    ("scan", "target"),
    [
        ("teeth/sj_crown_FDI16.obj", "teeth/sj_crown_FDI36.obj"),
        ("teeth/sj_crown_FDI36.obj", "teeth/sj_crown_FDI16.obj"),
        ("teeth/sj_crown_FDI16.obj", "crowns/small_molar_cap.ply"),
        ("teeth/sj_crown_FDI11.obj", "crowns/incisor_enamel_cap.ply"),
    ],
)
def test_another_tooth_of_the_same_size_is_a_wrong_part(shared_meshes, scan, target):
    first, second = sized_teeth(shared_meshes, scan, target)
    found = superimpose(first.moved(POSE), shapes.prepared(second))
    assert found.verdict == "wrong_part"


@pytest.mark.slow
def test_two_incisors_in_their_own_sizes(shared_meshes):
    """A crown and an enamel cap of upper central incisors: as alike as two people's teeth are."""
    scan = shapes.real_mesh(shared_meshes / "teeth" / "sj_crown_FDI11.obj")
    target = shapes.real_mesh(shared_meshes / "crowns" / "incisor_enamel_cap.ply")
    found = superimpose(scan.moved(POSE), shapes.prepared(target))
    assert found.verdict in ("wrong_part", "doubtful")


@pytest.mark.slow
def test_a_tooth_row_rebuilt_from_photographs(shared_meshes):
    """Half a millimetre off on 63 mm: by the usual limits no copy of the other."""
    folder = shared_meshes / "arch_pairs"
    target = shapes.real_mesh(folder / "case0_upper_reference.obj")
    scan = shapes.real_mesh(folder / "case0_upper_test.obj")
    found = superimpose(scan, shapes.prepared(target))
    assert found.verdict == "wrong_part"
    assert any("ended early" in warning for warning in found.warnings)


@pytest.mark.parametrize("factor", [0.75, slow(0.8), 1.25])
def test_a_forgotten_shrinkage_is_told_with_its_factor(crown, design, factor):
    found = superimpose(resized(crown, factor).moved(POSE), design)
    assert found.verdict == "wrong_part"
    assert f"It is {factor:.3g} times as large as the design" in found.reason
    assert f"scaled by {1.0 / factor:.3f}" in found.reason


def test_a_wrong_scale_of_5_percent_is_not_judged(crown, design):
    found = superimpose(resized(crown, 1.05).moved(POSE), design)
    assert found.verdict == "doubtful"
    assert "It is 1.05 times as large as the design" in found.reason
    assert found.converged


@pytest.mark.parametrize("what", ["mirrored", "wrong_part"])
def test_a_certain_verdict_ends_the_fit(crown, design, what):
    """No pass over the whole scan is made any more."""
    fine = demo_crown(0.15, None if what == "mirrored" else OTHER).mesh
    scan = fine.moved(np.diag([-1.0, 1.0, 1.0, 1.0])) if what == "mirrored" else fine
    found = superimpose(scan, design)
    assert found.verdict == what
    assert found.points_used <= 4_000 < len(scan.vertices)
    assert not found.converged
    assert any("ended early" in warning for warning in found.warnings)


def test_a_ball_is_not_turned_on_and_on():
    ball = shapes.from_trimesh(trimesh.creation.icosphere(6, 5.0))
    found = superimpose(ball.moved(POSE), shapes.prepared(ball))
    assert found.verdict == "ambiguous"
    assert len(found.weak_directions) == 3
    assert found.converged
    assert found.iterations < 20


def test_directions_hardly_held_are_not_moved_along():
    turn = np.linalg.qr(np.random.default_rng(1).normal(size=(6, 6)))[0]
    values = np.array([1e-4, 0.1, 0.2, 0.3, 0.4, 0.5])
    step = np.arange(1.0, 7.0)
    information = turn @ np.diag(values) @ turn.T
    equations = NormalEquations(
        information, -information @ (turn @ step), MotionFrame(np.zeros(3), 1.0)
    )
    none = np.zeros((6, 6))
    np.testing.assert_allclose(turn.T @ equations.step(none), step, atol=1e-9)
    np.testing.assert_allclose(turn.T @ equations.step(none, 1e-3), [0.0, *step[1:]], atol=1e-9)


def test_likeness_of_a_lifted_sheet():
    """Half of a sheet, 0.05 mm above it: what is typical, close and near follows."""
    sheet = shapes.flat_sheet(5.0, 40)
    half = sheet.kept(sheet.triangles[:, :, 0].max(axis=1) < 1e-9)
    design = shapes.prepared(sheet)
    settings = SuperimposeSettings()
    samples = surface_samples(half, 4_000)
    best = measured(samples.points, design, settings, motion(np.eye(3), [0.0, 0.0, 0.05]))
    like = likeness(samples, best, design, settings)
    assert like.typical_mm == pytest.approx(0.05)
    assert like.scan_overlap == like.close_share == 1.0
    # 1 mm beyond the edge still comes near: six of ten
    assert like.design_overlap == pytest.approx(0.6, abs=0.01)
    assert like.scale is None
