"""Points over known faces find what a search finds; how a surface bends over its edges."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.arrays import FloatArray, IntArray
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.surface.bends import face_bends
from cuspwise.standalone_core.surface.closest import ClosestPoints, SurfaceIndex
from cuspwise.standalone_core.surface.known import KnownFaces, _Prisms

REACH_MM = 0.5


def _box() -> TriangleMesh:
    made = trimesh.creation.box((2.0, 3.0, 4.0))
    return TriangleMesh(made.vertices, made.faces)


def test_a_box_bends_back_by_a_right_angle_over_its_twelve_edges() -> None:
    """tan(90°/2) = 1 along the edges, 0 across the diagonal of each side."""
    bends = face_bends(_box())
    np.testing.assert_allclose(np.sort(bends, axis=1), [[-1.0, -1.0, 0.0]] * 12, atol=1e-15)
    np.testing.assert_allclose(face_bends(_box().flipped()).max(axis=1), 1.0, atol=1e-15)


def test_borders_do_not_bend_and_crowded_edges_count_as_unknown() -> None:
    one = TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    assert not face_bends(one).any()
    corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]]
    fan = TriangleMesh(corners, [[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    np.testing.assert_array_equal(np.isinf(face_bends(fan)), [[True, False, False]] * 3)


@pytest.mark.parametrize("angle_deg", [5.0, 30.0, 90.0])
def test_a_valley_is_known_up_to_the_plane_that_halves_it(angle_deg: float) -> None:
    """Of points at height d over a side, those nearer to the edge than d tan(θ/2) are searched."""
    turn = np.radians(angle_deg)
    ridge = [[0, -9, 0], [0, 9, 0]]
    right = [[9 * np.cos(turn), 0, 9 * np.sin(turn)]]
    valley = TriangleMesh([*ridge, [-9, 0, 0], *right], [[0, 1, 2], [1, 0, 3]])
    np.testing.assert_allclose(face_bends(valley)[:, 0], np.tan(turn / 2), rtol=1e-12)
    height = 0.02
    away = height * np.tan(turn / 2) * np.array([0.5, 0.99, 1.01, 2.0])
    points = np.stack([-away, np.zeros(4), np.full(4, height)], axis=1)
    over = _Prisms.over(valley, np.zeros(4, dtype=np.int64))
    assert over.holds(points.T)[0].tolist() == [False, False, True, True]
    index = SurfaceIndex(valley)
    fresh = index.closest(points, max_distance_mm=REACH_MM, signed=True)
    assert fresh.face.tolist() == [1, 1, 0, 0]
    found = _known(index, np.zeros(4, dtype=np.int64), points)
    assert found.face.tolist() == [1, 1, 0, 0]
    np.testing.assert_allclose(found.signed_mm, fresh.signed_mm, atol=1e-15)
    assert over.holds((points * (1, 1, -1)).T)[0].all()  # a ridge, seen from there


def _known(index: SurfaceIndex, faces: IntArray, points: FloatArray) -> ClosestPoints:
    return run(KnownFaces(index, faces, REACH_MM).closest_steps(points))


@pytest.mark.parametrize("shift_um", [1.0, 10.0, 40.0])
def test_a_shifted_crown_lies_over_its_own_faces(shift_um: float) -> None:
    """As a search finds it, to rounding: what is farther than 30 µm is searched for."""
    crown = demo_crown(0.2).mesh
    index = SurfaceIndex(crown)
    places = crown.triangles.mean(axis=1)
    moved = places + 1e-3 * shift_um * np.array([0.6, 0.0, 0.8])
    found = _known(index, np.arange(len(crown)), moved)
    fresh = index.closest(moved, max_distance_mm=REACH_MM, signed=True)
    off = np.abs(found.signed_mm - fresh.signed_mm)
    assert np.count_nonzero(off > 1e-14) < 1e-3 * len(off)
    assert off.max() < 1e-4 * shift_um


def test_points_of_which_nothing_is_known_or_far_from_it_are_searched_for() -> None:
    index = SurfaceIndex(_box())
    rng = np.random.default_rng(1)
    points = rng.uniform(-3.0, 3.0, (500, 3))
    fresh = index.closest(points, max_distance_mm=REACH_MM, signed=True)
    for faces in (np.full(500, -1), rng.integers(-1, 12, 500)):
        found = _known(index, faces, points)
        far = np.flatnonzero((faces < 0) | (fresh.distance_mm > 0.03))
        assert len(far) > 400
        for name in ("foot", "distance_mm", "signed_mm", "face", "feature"):
            ours, theirs = getattr(found, name)[far], getattr(fresh, name)[far]
            np.testing.assert_array_equal(ours, theirs)


def test_normals_and_weights_of_a_few_are_those_of_all() -> None:
    crown = demo_crown(0.4).mesh
    few = np.array([[0, 5, 9], [200, 3, 77]])
    moved = crown.moved([[0, -1, 0, 3], [1, 0, 0, 0], [0, 0, 1, 1], [0, 0, 0, 1]])
    for mesh in (crown, moved):
        ours = mesh.vertex_normals_of(few)
        np.testing.assert_allclose(ours, mesh.vertex_normals[few], atol=1e-15)
        np.testing.assert_array_equal(mesh.vertex_normals_of(few), mesh.vertex_normals[few])
    index = SurfaceIndex(crown)
    edge, corner = crown.triangles[:40, :2].mean(axis=1), crown.vertices[crown.faces[40:80, 2]]
    middle = crown.triangles[80:120].mean(axis=1)
    found = index.closest(np.concatenate([edge, corner, middle]))
    assert (np.bincount(np.minimum(found.feature, 1)) > 0).all()
    rows = np.arange(0, 120, 3)
    np.testing.assert_array_equal(found.barycentric_of(rows), found.barycentric[rows])
