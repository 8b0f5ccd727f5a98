"""Points over known faces find what a search finds; how a surface bends over its edges."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.surface.bends import face_bends
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from cuspwise.standalone_core.surface.known import KnownFaces

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
    height = 0.05
    away = height * np.tan(turn / 2) * np.array([0.5, 0.99, 1.01, 2.0])
    points = np.stack([-away, np.zeros(4), np.full(4, height)], axis=1)
    index = SurfaceIndex(valley)
    over = index.over_faces(points, np.zeros(4, dtype=np.int64), REACH_MM)
    assert over.found.tolist() == [False, False, True, True]
    fresh = index.closest(points, max_distance_mm=REACH_MM, signed=True)
    assert fresh.face.tolist() == [1, 1, 0, 0]
    np.testing.assert_allclose(over.signed_mm[2:], fresh.signed_mm[2:], atol=1e-15)
    behind = index.over_faces(points * (1, 1, -1), np.zeros(4, dtype=np.int64), REACH_MM)
    assert behind.found.all()  # a ridge, seen from there


@pytest.mark.parametrize("shift_um", [1.0, 10.0])
def test_a_shifted_crown_lies_over_its_own_faces(shift_um: float) -> None:
    """As a search finds it to 1e-9 µm at all but a few points: where a third face is nearer."""
    crown = demo_crown(0.2).mesh
    index = SurfaceIndex(crown)
    places = crown.triangles.mean(axis=1)
    known = KnownFaces.at(index, places, REACH_MM)
    np.testing.assert_array_equal(known.face, np.arange(len(crown)))
    moved = places + 1e-3 * shift_um * np.array([0.6, 0.0, 0.8])
    found = run(known.closest_steps(moved))
    fresh = index.closest(moved, max_distance_mm=REACH_MM, signed=True)
    assert found.found.all()
    off = np.abs(found.signed_mm - fresh.signed_mm)
    assert np.count_nonzero(off > 1e-12) < 1e-3 * len(off)
    assert off.max() < 1e-4 * shift_um


def test_points_of_which_nothing_is_known_are_searched_for() -> None:
    index = SurfaceIndex(_box())
    rng = np.random.default_rng(1)
    points = rng.uniform(-3.0, 3.0, (500, 3))
    known = KnownFaces.at(index, np.where(points[:, :1] > 0, points, np.nan), REACH_MM)
    assert (known.face < 0).all()  # no place on the surface
    found, fresh = (
        run(known.closest_steps(points)),
        index.closest(points, max_distance_mm=REACH_MM, signed=True),
    )
    for name in ("foot", "distance_mm", "signed_mm", "face", "feature"):
        np.testing.assert_array_equal(getattr(found, name), getattr(fresh, name))
