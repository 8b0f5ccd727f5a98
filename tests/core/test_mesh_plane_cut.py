"""A plane through a surface: against closed forms, and against trimesh."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.mesh.plane_cut import CutCurve, placed_cut, plane_cut
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from made.crowns import demo_crown


def length(curve: CutCurve) -> float:
    points = curve.points_mm
    ring = np.vstack([points, points[:1]]) if curve.closed else points
    return float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum())


def area(curve: CutCurve) -> float:
    """Enclosed in the plane z = const, by the shoelace formula."""
    x, y = curve.points_mm[:, 0], curve.points_mm[:, 1]
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def test_a_box_is_cut_in_its_rectangle():
    box = trimesh.creation.box((4.0, 3.0, 2.0))
    (curve,) = plane_cut(TriangleMesh(box.vertices, box.faces), (0, 0, 0.3), (0, 0, 7))
    assert curve.closed
    assert length(curve) == pytest.approx(14.0, abs=1e-12)
    assert area(curve) == pytest.approx(12.0, abs=1e-12)


def test_a_plane_through_corners_still_gives_one_closed_curve():
    box = trimesh.creation.box((2.0, 2.0, 2.0))
    (curve,) = plane_cut(TriangleMesh(box.vertices, box.faces), (0, 0, 0), (1, -1, 0))
    assert curve.closed
    assert length(curve) == pytest.approx(2 * 2.0 + 2 * 2.0 * np.sqrt(2.0), abs=1e-9)


def test_what_is_missed_is_not_cut():
    box = trimesh.creation.box()
    assert plane_cut(TriangleMesh(box.vertices, box.faces), (0, 0, 5), (0, 0, 1)) == ()


def test_an_open_surface_is_cut_in_an_open_curve_from_border_to_border():
    ball = trimesh.creation.icosphere(3, 2.0)
    upper = TriangleMesh(ball.vertices, ball.faces[ball.triangles.mean(axis=1)[:, 2] > 0.0])
    (curve,) = plane_cut(upper, (0, 0, 0), (0.3, 1, 0))
    assert not curve.closed
    assert length(curve) == pytest.approx(np.pi * 2.0, rel=0.03)
    ends = curve.points_mm[[0, -1], 2]
    assert (np.abs(ends) < 0.4).all()  # a face's edge is 0.3


@pytest.mark.parametrize("normal", [(1, 0, 0), (0.2, 1, 0.1), (0, 0.1, 1)])
def test_a_crown_is_cut_as_trimesh_cuts_it(normal: tuple[float, ...]):
    crown = demo_crown(0.3).mesh
    origin = (0.05, 0.02, 3.01)
    curves = plane_cut(crown, origin, normal)
    peer = trimesh.Trimesh(crown.vertices, crown.faces, process=False).section(
        plane_origin=origin, plane_normal=normal
    )
    assert all(curve.closed for curve in curves)
    assert sum(map(length, curves)) == pytest.approx(peer.length, rel=1e-9)
    assert len(curves) == len(peer.entities)


def test_a_placed_mesh_is_cut_as_its_moved_points_are():
    """The same curves, to rounding, as of the mesh whose points were moved; a mirror included."""
    mesh = demo_crown(0.4).mesh
    turn = trimesh.transformations.random_rotation_matrix(np.array([0.2, 0.7, 0.4]))
    place = trimesh.transformations.translation_matrix((30.0, -7.0, 2.0)) @ turn
    place = place @ np.diag([1.0, -1.5, 0.8, 1.0])
    moved = TriangleMesh(mesh.vertices @ place[:3, :3].T + place[:3, 3], mesh.faces)
    origin, normal = moved.bounds.mean(axis=0), (0.3, 0.2, 1.0)
    for one, other in zip(
        placed_cut(mesh, place, origin, normal), plane_cut(moved, origin, normal), strict=True
    ):
        assert one.closed == other.closed
        assert length(one) == pytest.approx(length(other), rel=1e-9)
        off = (one.points_mm - origin) @ np.array(normal)
        assert np.abs(off).max() < 1e-9
