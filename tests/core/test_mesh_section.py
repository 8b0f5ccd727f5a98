"""Cutting a mesh with many planes: against formulae, and against cutting every face by itself."""

from __future__ import annotations

import numpy as np
import trimesh
from cuspwise.standalone_core.demo.production import random_pose
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.section import Sections, cut_near_places
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from made.crowns import demo_crown


def _line_of(points: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Evenly numbered places along a ring of points, and unit chords between their neighbours."""
    places = points[:: len(points) // count]
    chord = np.roll(places, -1, axis=0) - np.roll(places, 1, axis=0)
    return places, chord / np.linalg.norm(chord, axis=1, keepdims=True)


def _one_plane(mesh: TriangleMesh, place: np.ndarray, normal: np.ndarray, radius: float) -> set:
    """Faces cut within the radius, each with its two ends, found face by face."""
    found = set()
    height = (mesh.vertices - place) @ normal
    for face in np.flatnonzero(np.ptp((height >= 0).astype(int)[mesh.faces], axis=1)):
        ends = []
        for k in range(3):
            i, j = sorted((mesh.faces[face, k], mesh.faces[face, (k + 1) % 3]))
            if (height[i] >= 0) != (height[j] >= 0):
                share = height[i] / (height[i] - height[j])
                ends.append(mesh.vertices[i] + share * (mesh.vertices[j] - mesh.vertices[i]))
        if np.linalg.norm(np.array(ends) - place, axis=1).max() <= radius:
            found.add((int(face), tuple(sorted(tuple(np.round(end, 9)) for end in ends))))
    return found


def _pieces(cut: Sections, plane: int) -> set:
    rows = np.flatnonzero(cut.plane == plane)
    return {
        (int(cut.face[row]), tuple(sorted(tuple(np.round(end, 9)) for end in cut.ends_mm[row])))
        for row in rows
    }


def test_a_ball_is_cut_in_circles():
    """Of radius √(r² − h²) for a plane at height h; the mesh's own chords lie within r − r cos."""
    ball = trimesh.creation.icosphere(subdivisions=5, radius=3.0)
    mesh = TriangleMesh(ball.vertices, ball.faces)
    edge = float(np.linalg.norm(np.diff(ball.vertices[ball.edges], axis=1), axis=2).max())
    height = np.linspace(-1.0, 1.0, 21)
    places = np.stack([np.sqrt(9.0 - height**2), 0 * height, height], axis=1)
    normals = np.tile([0.0, 0.0, 1.0], (21, 1))
    cut = cut_near_places(mesh, places, normals, radius_mm=20.0, longest_edge_mm=edge, closed=False)
    radius = np.linalg.norm(cut.ends_mm[..., :2], axis=2)
    expected = np.sqrt(9.0 - height[cut.plane] ** 2)[:, None]
    np.testing.assert_allclose(cut.ends_mm[..., 2], height[cut.plane][:, None] * [1, 1], atol=1e-12)
    assert (radius <= expected + 1e-12).all()
    assert (radius > expected - 1.5 * edge**2 / 8 / 2.8).all()
    length = np.linalg.norm(cut.ends_mm[:, 0] - cut.ends_mm[:, 1], axis=1)
    around = np.bincount(cut.plane, length)
    np.testing.assert_allclose(around, 2 * np.pi * np.sqrt(9.0 - height**2), rtol=1e-3)
    assert not cut.loose.any()  # closed circles
    assert not cut.border.any()
    assert len(np.unique(cut.curve)) == 21


def test_every_piece_is_found_that_cutting_face_by_face_finds():
    """On the demo crown in any pose, with planes across its margin line."""
    crown = demo_crown(0.3)
    pose = random_pose(np.random.default_rng(5))
    design = evaluation_mesh(crown.mesh.moved(pose), 0.1)
    line = crown.margin_line_mm @ pose[:3, :3].T + pose[:3, 3]
    places, normals = _line_of(line, 250)
    cut = cut_near_places(design.mesh, places, normals, radius_mm=0.8, longest_edge_mm=0.1)
    for plane in range(0, 250, 12):
        expected = _one_plane(design.mesh, places[plane], normals[plane], 0.8)
        assert len(expected) > 20
        assert _pieces(cut, plane) == expected


def test_ends_that_meet_share_a_number_and_border_ends_are_told():
    """A strip of squares: each line across it is one curve with two loose ends on its border."""
    x, y = np.meshgrid(np.linspace(0, 2, 21), np.linspace(0, 0.5, 6))
    points = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    rows = (np.arange(5)[:, None] * 21 + np.arange(20)).ravel()
    faces = np.concatenate(
        [
            np.stack([rows, rows + 1, rows + 22], axis=1),
            np.stack([rows, rows + 22, rows + 21], axis=1),
        ]
    )
    places = np.stack([np.linspace(0.35, 1.65, 14), np.full(14, 0.2), np.zeros(14)], axis=1)
    normals = np.tile([1.0, 0.0, 0.0], (14, 1))
    mesh = TriangleMesh(points, faces)
    sizes = {"longest_edge_mm": 0.15, "closed": False}
    cut = cut_near_places(mesh, places, normals, radius_mm=1.0, **sizes)
    assert len(np.unique(cut.curve)) == 14
    assert np.array_equal(cut.loose, cut.border)
    assert cut.border.sum() == 28
    border_y = cut.ends_mm[cut.border[cut.node]][:, 1]
    assert set(np.round(border_y, 12)) == {0.0, 0.5}
    near = cut_near_places(mesh, places, normals, radius_mm=0.25, **sizes)
    assert (near.loose & ~near.border).sum() == 14  # the upper end is cut off by the radius
    assert near.border.sum() == 14


def test_nothing_near_gives_nothing():
    crown = demo_crown(0.8)
    places = np.array([[50.0, 0.0, 0.0], [50.1, 0.0, 0.0], [50.2, 0.0, 0.0]])
    normals = np.tile([1.0, 0.0, 0.0], (3, 1))
    cut = cut_near_places(
        crown.mesh, places, normals, radius_mm=1.0, longest_edge_mm=1.2, closed=False
    )
    assert len(cut.plane) == 0
    assert len(cut.curve) == 0
