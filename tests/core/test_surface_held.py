"""Held points give what a fresh search gives, to the last bit, and search only where they must."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.superimpose.rigid import apply, motion_about, rotation_from_vector
from cuspwise.standalone_core.surface.closest import ClosestPoints, SurfaceIndex
from cuspwise.standalone_core.surface.held import HeldPoints

SLACK_MM = 0.002
LIMIT_MM = 0.5


@pytest.fixture(scope="module")
def crown() -> TriangleMesh:
    return demo_crown(0.25).mesh


def _near(mesh: TriangleMesh, count: int) -> np.ndarray:
    """Points beside the surface, on both sides, some of them beyond the limit."""
    rng = np.random.default_rng(3)
    corners = mesh.vertices[mesh.faces[rng.integers(0, len(mesh.faces), count)]]
    weights = rng.dirichlet((1.0, 1.0, 1.0), count)
    away = rng.normal(size=(count, 3)) * rng.choice([0.0, 0.02, 0.4], count)[:, None]
    return np.einsum("nk,nkd->nd", weights, corners) + away


def _same(found: ClosestPoints, fresh: ClosestPoints) -> None:
    for name in ("foot", "distance_mm", "signed_mm", "face", "feature"):
        np.testing.assert_array_equal(getattr(found, name), getattr(fresh, name), err_msg=name)


def _compared(held: HeldPoints, moved: np.ndarray) -> ClosestPoints:
    """What held points find, equal to a fresh search."""
    found = run(held.closest_steps(moved, signed=True))
    _same(found, held.index.closest(moved, max_distance_mm=LIMIT_MM, signed=True))
    return found


@pytest.mark.parametrize("count", [300, 4_000, 60_000])  # each for itself, and in dense groups
@pytest.mark.parametrize("threads", [1, 3])
def test_small_motions_find_what_a_fresh_search_finds(
    crown: TriangleMesh, count: int, threads: int
) -> None:
    held = HeldPoints(SurfaceIndex(crown, threads=threads), LIMIT_MM, SLACK_MM)
    points = _near(crown, count)
    rng = np.random.default_rng(5)
    for step in (0.0, 0.3, 0.99, 0.99):
        turn = rotation_from_vector(rng.normal(size=3) * 1e-4 * step)
        moved = apply(motion_about(turn, points.mean(axis=0), np.zeros(3)), points)
        shift = rng.normal(size=3)
        reach = np.linalg.norm(moved - points, axis=1).max()
        moved += shift / np.linalg.norm(shift) * max(0.0, step * SLACK_MM - reach)
        found = _compared(held, moved)
        assert held.searched == count
        assert 0 < np.count_nonzero(found.found) < count


def test_each_point_may_move_its_own_way(crown: TriangleMesh) -> None:
    held = HeldPoints(SurfaceIndex(crown), LIMIT_MM, SLACK_MM)
    points = _near(crown, 20_000)
    before = _compared(held, points)
    ways = np.random.default_rng(8).normal(size=points.shape)
    moved = points + 0.999 * SLACK_MM * ways / np.linalg.norm(ways, axis=1)[:, None]
    after = _compared(held, moved)
    assert held.searched == len(points)
    assert np.count_nonzero(before.face != after.face) > 20  # else nothing was compared


def test_searches_again_where_a_point_has_moved_too_far(crown: TriangleMesh) -> None:
    held = HeldPoints(SurfaceIndex(crown), LIMIT_MM, SLACK_MM)
    points = _near(crown, 60_000)  # in two parts
    _compared(held, points)
    moved = points.copy()
    moved[17] += (0.0, 0.3, 0.0)
    _compared(held, moved)
    assert len(points) < held.searched < 2 * len(points)
