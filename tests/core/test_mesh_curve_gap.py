"""Gap and overlap of two outlines: circles by formula, and scipy's distances of many points."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.mesh.curve_gap import curve_gap
from cuspwise.standalone_core.mesh.plane_cut import CutCurve, plane_cut
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from scipy.spatial import cKDTree


def ball(centre: tuple[float, float, float], radius: float) -> TriangleMesh:
    made = trimesh.creation.icosphere(5, radius)
    return TriangleMesh(made.vertices + centre, made.faces)


def gap_of(one: TriangleMesh, other: TriangleMesh, normal: tuple[float, ...]) -> float:
    found = curve_gap(
        plane_cut(one, (0, 0, 0), normal), plane_cut(other, (0, 0, 0), normal), normal
    )
    assert found is not None
    return found


SAG = 0.003  # of facets of 0.13 mm on a sphere of 2 mm: e² / (8 R) twice, and some


@pytest.mark.parametrize("apart", [0.3, 0.04, 0.0, -0.02, -0.4])
@pytest.mark.parametrize("normal", [(0, 0, 1), (0.0, 0.6, 0.8)])
def test_two_balls_on_the_plane(apart: float, normal: tuple[float, ...]):
    """Great circles of radius 2 whose middles lie 4 + apart away: that is the gap, or minus the
    depth of the overlap."""
    found = gap_of(ball((0, 0, 0), 2.0), ball((4.0 + apart, 0, 0), 2.0), normal)
    assert found == pytest.approx(apart, abs=2 * SAG)


def test_a_ball_in_a_hollow_keeps_its_distance():
    """A shell's section are two rings, with material between them: the hollow is outside."""
    outer, inner = ball((0, 0, 0), 3.0), ball((0, 0, 0), 2.5)
    rings = (*plane_cut(outer, (0, 0, 0), (0, 0, 1)), *plane_cut(inner, (0, 0, 0), (0, 0, 1)))
    small = plane_cut(ball((0.1, 0, 0), 2.3), (0, 0, 0), (0, 0, 1))
    assert curve_gap(rings, small, (0, 0, 1)) == pytest.approx(0.1, abs=2 * SAG)
    deep = plane_cut(ball((0.3, 0, 0), 2.3), (0, 0, 0), (0, 0, 1))
    assert curve_gap(deep, rings, (0, 0, 1)) == pytest.approx(-0.1, abs=2 * SAG)


def test_open_outlines_have_a_distance_and_no_inside():
    line = CutCurve(np.array([(0.0, 0, 0), (1, 0, 0), (1, 2, 0)]), closed=False)
    square = CutCurve(np.array([(3.0, 0, 0), (4, 0, 0), (4, 4, 0), (3, 4, 0)]), closed=True)
    assert curve_gap([line], [square], (0, 0, 1)) == pytest.approx(2.0)
    assert curve_gap([square], [line], (0, 0, 1)) == pytest.approx(2.0)
    assert curve_gap([], [square], (0, 0, 1)) is None


def densely(ring: np.ndarray) -> np.ndarray:
    """Points of a closed outline, 400 on each piece."""
    share = np.linspace(0.0, 1.0, 400)[:, None, None]
    return ((1.0 - share) * ring + share * np.roll(ring, -1, axis=0)).reshape(-1, 2)


def test_distances_are_those_of_scipy_on_many_points():
    """Of rough outlines whose nearest places are no corners of both; at most a step longer."""
    rng = np.random.default_rng(4)
    for _ in range(2):
        turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, 40))
        sizes = rng.uniform(1.5, 2.5, (2, 40))
        one, other = (
            np.column_stack([middle + size * np.cos(turn), size * np.sin(turn)])
            for middle, size in zip((0.0, 5.5), sizes, strict=True)
        )
        curves = [[CutCurve(np.column_stack([r, np.zeros(40)]), closed=True)] for r in (one, other)]
        expected = cKDTree(densely(other)).query(densely(one))[0].min()
        found = curve_gap(*curves, (0, 0, 1))
        assert expected - 5e-3 <= found <= expected + 1e-12
