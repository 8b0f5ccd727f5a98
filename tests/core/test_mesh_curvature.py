"""Mean curvature against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.mesh.curvature import mean_curvature
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh


def of(mesh: trimesh.Trimesh) -> TriangleMesh:
    return TriangleMesh(mesh.vertices, mesh.faces)


def strip(heights: FloatArray, step_mm: float, rows: int) -> TriangleMesh:
    """Rows of the same polyline, (k, 2) of x and z, along y."""
    k = len(heights)
    y = step_mm * np.arange(rows)
    points = np.stack(
        [np.tile(heights[:, 0], rows), np.repeat(y, k), np.tile(heights[:, 1], rows)], axis=1
    )
    corner = (np.arange(rows - 1)[:, None] * k + np.arange(k - 1)).ravel()
    lower = np.stack([corner, corner + 1, corner + k], axis=1)
    upper = np.stack([corner + 1, corner + k + 1, corner + k], axis=1)
    return TriangleMesh(points, np.concatenate([lower, upper]))


@pytest.mark.parametrize("rounds", [0, 1, 3])
@pytest.mark.parametrize(("subdivisions", "error"), [(2, 2e-4), (4, 1e-5)])
def test_a_sphere_has_one_over_its_radius(rounds: int, subdivisions: int, error: float) -> None:
    """Also at the twelve vertices with five neighbours: the mixed area makes it so."""
    ball = of(trimesh.creation.icosphere(subdivisions, radius=3.0))
    np.testing.assert_allclose(mean_curvature(ball, rounds), 1.0 / 3.0, rtol=error)
    np.testing.assert_allclose(mean_curvature(ball.flipped(), rounds), -1.0 / 3.0, rtol=error)


def test_a_cylinder_has_half_of_that_and_its_borders_none() -> None:
    """Exact for a prism inscribed in a cylinder: 2 sin(π/n) of pull over a chord 2R sin(π/n)."""
    radius_mm, sides, rows = 2.0, 24, 6
    angle = 2.0 * np.pi * np.arange(sides) / sides
    ring = radius_mm * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = np.concatenate(
        [np.column_stack([ring, np.full(sides, 0.3 * row)]) for row in range(rows)]
    )
    start = np.arange((rows - 1) * sides)
    after = start // sides * sides + (start + 1) % sides
    lower = np.stack([start, after, start + sides], axis=1)
    upper = np.stack([after, after + sides, start + sides], axis=1)
    found = mean_curvature(TriangleMesh(points, np.concatenate([lower, upper])), rounds=0)
    inside = slice(sides, -sides)
    np.testing.assert_allclose(found[inside], 1.0 / (2.0 * radius_mm), rtol=1e-12)
    assert not found[:sides].any()
    assert not found[-sides:].any()


def test_a_torus_is_convex_outside_and_less_so_inside() -> None:
    """(R + 2 r cos φ) / (2 r (R + r cos φ)), by the two principal curvatures."""
    great, small = 4.0, 1.5
    torus = of(trimesh.creation.torus(great, small, major_sections=200, minor_sections=80))
    cosine = (np.hypot(*torus.vertices[:, :2].T) - great) / small
    expected = (great + 2.0 * small * cosine) / (2.0 * small * (great + small * cosine))
    np.testing.assert_allclose(mean_curvature(torus, 0), expected, rtol=2e-3)


@pytest.mark.parametrize("turn_deg", [-30.0, 5.0, 60.0])
def test_a_crease_spreads_its_turn_over_the_faces_beside_it(turn_deg: float) -> None:
    """Two planes that meet at an angle θ pull by 2 sin(θ/2) along their edge: H h = sin(θ/2)."""
    step_mm, half = 0.2, np.radians(turn_deg) / 2.0
    x = step_mm * np.arange(-3, 4)
    roof = np.stack([x * np.cos(half), -np.abs(x) * np.sin(half)], axis=1)
    found = mean_curvature(strip(roof, step_mm, 5), rounds=0).reshape(5, 7)
    np.testing.assert_allclose(found[1:-1, 3], np.sin(half) / step_mm, rtol=1e-12)
    np.testing.assert_allclose(found[1:-1, [1, 2, 4, 5]], 0.0, atol=1e-12)


def test_it_does_not_depend_on_where_the_mesh_lies_and_falls_with_its_size() -> None:
    egg = trimesh.creation.icosphere(3, radius=1.0)
    egg.apply_scale((1.0, 1.5, 2.0))
    first = mean_curvature(of(egg))
    egg.apply_transform(trimesh.transformations.rotation_matrix(0.7, (1.0, 2.0, 3.0)))
    egg.apply_translation((30.0, -20.0, 10.0))
    egg.apply_scale(2.0)
    np.testing.assert_allclose(mean_curvature(of(egg)), 0.5 * first, rtol=1e-9)


@pytest.mark.parametrize("offset", [1e-3, 1e-6, 1e-9, 0.0])
def test_a_sliver_does_not_blow_up(offset: float) -> None:
    """A point beside the middle of an edge makes a face without a width there."""
    ball = trimesh.creation.icosphere(3, radius=1.0)
    i, j, k = ball.faces[0]
    a, b, c = ball.vertices[[i, j, k]]
    added = len(ball.vertices)
    points = np.vstack([ball.vertices, (1.0 - offset) * (0.4 * a + 0.6 * b) + offset * c])
    parts = [[i, j, added], [j, k, added], [k, i, added]]
    found = mean_curvature(TriangleMesh(points, np.vstack([ball.faces[1:], parts])))
    assert np.abs(found).max() < 1.1
    far = np.ones(added + 1, dtype=bool)
    near = np.isin(ball.faces, [i, j, k]).any(axis=1)
    far[np.unique(ball.faces[near])] = far[added] = False
    np.testing.assert_allclose(found[far], 1.0, rtol=1e-4)


def test_what_has_no_area_has_no_curvature() -> None:
    points = [[0, 0, 0], [1, 0, 0], [2, 0, 0], [9, 9, 9]]
    assert mean_curvature(TriangleMesh(points, [[0, 1, 2], [0, 0, 1]])).tolist() == [0.0] * 4
    assert len(mean_curvature(TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)))) == 0


def test_large_sizes_are_cut_where_asked() -> None:
    box = evaluation_mesh(of(trimesh.creation.box((2.0, 2.0, 2.0))), 0.2).mesh
    assert mean_curvature(box, 0).max() > 4.0
    assert mean_curvature(box, 0, most_per_mm=4.0).max() == 4.0


def test_evaluation_points_carry_the_curvature_of_their_own_mesh() -> None:
    ball = evaluation_mesh(of(trimesh.creation.icosphere(4, radius=4.0)), 1.0)
    np.testing.assert_allclose(ball.curvature, 0.25, rtol=1e-4)
    assert ball.curvature is ball.curvature
