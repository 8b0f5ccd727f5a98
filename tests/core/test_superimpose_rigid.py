"""Rigid motions, evenly spread rotations and evenly spread samples."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.mesh.morton import curve_order
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.superimpose import rigid
from cuspwise.standalone_core.superimpose.frame import MotionFrame
from cuspwise.standalone_core.superimpose.rotations import even_rotations
from cuspwise.standalone_core.superimpose.sampling import surface_samples, thinned
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation


@pytest.mark.parametrize("angle", [0.0, 1e-12, 1e-5, 0.3, np.pi, 5.0])
def test_rotation_from_vector_agrees_with_scipy(angle):
    vector = angle * np.array([2.0, -1.0, 2.0]) / 3.0
    expected = Rotation.from_rotvec(vector).as_matrix()
    np.testing.assert_allclose(rigid.rotation_from_vector(vector), expected, atol=1e-15)


@pytest.mark.parametrize(("angle_deg", "error_um"), [(0.5, 0.19), (5.0, 19.0)])
def test_what_a_linearised_rotation_would_cost(angle_deg, error_um):
    """R (1 − cos θ) at R = 5 mm: 0.19 µm at 0.5°, 19 µm at 5° (closed form)."""
    angle, point = np.radians(angle_deg), np.array([5.0, 0.0, 0.0])
    exact = rigid.rotation_from_vector([0.0, 0.0, angle]) @ point
    linear = point + np.cross([0.0, 0.0, angle], point)
    radial_um = 1000.0 * (linear - exact)[0]
    assert radial_um == pytest.approx(5000.0 * (1.0 - np.cos(angle)), rel=1e-9)
    assert radial_um == pytest.approx(error_um, rel=0.02)
    assert np.linalg.norm(exact) == pytest.approx(5.0, abs=1e-14)


def test_nearest_rotation_is_proper_and_leaves_rotations_alone():
    rng = np.random.default_rng(0)
    turn = Rotation.random(random_state=rng).as_matrix()
    np.testing.assert_allclose(rigid.nearest_rotation(turn), turn, atol=1e-15)
    mirror = turn @ np.diag([1.0, 1.0, -1.0])
    assert np.linalg.det(rigid.nearest_rotation(mirror)) == pytest.approx(1.0)
    bent = turn + 1e-3 * rng.normal(size=(3, 3))
    expected = Rotation.from_matrix(bent).as_matrix()
    np.testing.assert_allclose(rigid.nearest_rotation(bent), expected, atol=2e-6)


def test_inverse_and_angle():
    turn = Rotation.from_rotvec([0.0, 0.0, np.radians(179.5)]).as_matrix()
    matrix = rigid.motion(turn, [1.0, 2.0, 3.0])
    np.testing.assert_allclose(rigid.inverse(matrix) @ matrix, np.eye(4), atol=1e-15)
    assert rigid.rotation_angle_deg(turn) == pytest.approx(179.5, abs=1e-9)
    small = Rotation.from_rotvec([1e-9, 0.0, 0.0]).as_matrix()
    assert rigid.rotation_angle_deg(small) == pytest.approx(np.degrees(1e-9), rel=1e-6)


def test_a_frame_turns_about_its_centre():
    points = np.random.default_rng(1).normal([10.0, 0.0, -5.0], size=(50, 3))
    frame = MotionFrame.of(points, np.ones(50))
    moved = rigid.apply(frame.motion(np.array([0.01, 0.02, -0.03, 0.1, 0.2, 0.3])), points)
    shift = moved.mean(axis=0) - points.mean(axis=0)
    np.testing.assert_allclose(shift, [0.1, 0.2, 0.3])


def test_even_rotations_cover_all_rotations():
    """No rotation is farther than 45° from its nearest of 300."""
    turns = even_rotations(300)
    np.testing.assert_allclose(
        turns @ turns.transpose(0, 2, 1), np.tile(np.eye(3), (300, 1, 1)), atol=1e-12
    )
    assert np.linalg.det(turns).min() == pytest.approx(1.0)
    others = Rotation.random(2000, random_state=np.random.default_rng(0)).as_matrix()
    traces = np.einsum("aij,bij->ab", turns, others).max(axis=0)
    farthest = np.degrees(np.arccos((traces.min() - 1.0) / 2.0))
    assert farthest < 45.0
    # far better than chance: 300 random rotations leave gaps beyond 60°
    chance = Rotation.random(300, random_state=np.random.default_rng(1)).as_matrix()
    chance_traces = np.einsum("aij,bij->ab", chance, others).max(axis=0)
    assert farthest < np.degrees(np.arccos((chance_traces.min() - 1.0) / 2.0)) - 10.0


def test_samples_are_on_the_surface_and_even_by_area():
    """Archimedes: equal heights of a sphere have equal areas."""
    ball = trimesh.creation.icosphere(4, 5.0)
    mesh = TriangleMesh(ball.vertices, ball.faces)
    samples = surface_samples(mesh, 5000)
    radius = np.linalg.norm(samples.points, axis=1)
    assert radius.max() <= 5.0
    assert radius.min() > 5.0 * np.cos(0.06)
    counts, _ = np.histogram(samples.points[:, 2], bins=10, range=(-5.0, 5.0))
    np.testing.assert_allclose(counts, 500, atol=25)
    # stratified: nearest neighbours are farther apart than those of random points, 1/(2√density)
    nearest = cKDTree(samples.points).query(samples.points, k=2)[0][:, 1].mean()
    assert nearest > 1.1 * 0.5 / np.sqrt(5000 / (4.0 * np.pi * 25.0))
    again = surface_samples(mesh, 5000)
    assert np.array_equal(again.points, samples.points)


def test_thinned_points_stand_for_equal_weight():
    rng = np.random.default_rng(3)
    points = rng.uniform(size=(20_000, 3))
    weights = np.where(points[:, 0] < 0.5, 3.0, 1.0)
    pick = thinned(weights, curve_order(points), 2000)
    assert np.mean(points[pick, 0] < 0.5) == pytest.approx(0.75, abs=0.01)
