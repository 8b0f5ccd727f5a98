"""Closest points of a surface whose rows are crowded: long triangles, fans at two poles."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface import nearby, search
from cuspwise.standalone_core.surface.closest import ClosestPoints, SurfaceIndex
from cuspwise.standalone_core.surface.exact import FaceFrames
from cuspwise.standalone_core.surface.nearby import NearPieces
from cuspwise.standalone_core.surface.pieces import Pieces
from cuspwise.standalone_core.surface.rivals import Rivals, challenged
from scipy.spatial import cKDTree
from test_surface_closest import brute_force

NAMES = ("foot", "distance_mm", "signed_mm", "face", "feature")


def lathe_piece(turns: int, rows: int, crowding: float) -> TriangleMesh:
    """A bumpy ball of 4 mm whose rows crowd at its equator, by exp(``crowding``) or so."""
    share = np.linspace(-1.0, 1.0, rows + 2)[1:-1]
    height = np.sinh(crowding * share) / np.sinh(crowding) if crowding else share
    turn, polar = np.meshgrid(np.arange(turns) * 2 * np.pi / turns, 0.5 * np.pi * height)
    turn, polar = np.append(turn, [0.0, 0.0]), np.append(polar, [-0.5 * np.pi, 0.5 * np.pi])
    radius = 4.0 + 0.2 * np.cos(3 * turn) * np.cos(polar) ** 3
    flat = np.cos(polar)
    around = np.column_stack([flat * np.cos(turn), flat * np.sin(turn), np.sin(polar)])
    here = np.arange(turns) + turns * np.arange(rows - 1)[:, None]
    beside = np.roll(here, -1, axis=1)
    first, last, poles = here[0], here[-1] + turns, turns * rows
    faces = [
        np.stack([here, beside, beside + turns], -1).reshape(-1, 3),
        np.stack([here, beside + turns, here + turns], -1).reshape(-1, 3),
        np.stack([np.full(turns, poles), np.roll(first, -1), first], -1),
        np.stack([np.full(turns, poles + 1), last, np.roll(last, -1)], -1),
    ]
    return TriangleMesh(radius[:, None] * around, np.concatenate(faces))


def scanned(mesh: TriangleMesh, count: int, off_mm: float) -> np.ndarray:
    """Points on faces picked at random, ``off_mm`` off with as much noise."""
    rng = np.random.default_rng(11)
    face = rng.integers(len(mesh), size=count)
    points = np.einsum("nk,nki->ni", rng.dirichlet([1, 1, 1], count), mesh.triangles[face])
    away = off_mm * rng.normal(1.0, 0.3, size=(count, 1))
    return points + away * mesh.face_normals[face]


def same(one: ClosestPoints, other: ClosestPoints) -> None:
    for name in NAMES:
        assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True), name


def near_pieces(mesh: TriangleMesh) -> NearPieces:
    frames = FaceFrames.of(mesh.triangles)
    return NearPieces(Pieces.of(mesh.triangles, frames), frames, np.inf, 1e-11)


@pytest.mark.parametrize("off_mm", [0.003, 0.2, 1.5])
def test_every_face_asked_one_by_one(off_mm: float) -> None:
    mesh = lathe_piece(48, 60, 4.0)
    points = scanned(mesh, 250, off_mm)
    found = SurfaceIndex(mesh).closest(points, signed=True)
    assert found.distance_mm == pytest.approx(brute_force(points, mesh), abs=1e-12)
    assert (found.signed_mm > 0).mean() > 0.97  # some noise is larger than the way off


@pytest.mark.parametrize("off_mm", [0.003, 0.2])
def test_libigl_agrees(off_mm: float) -> None:
    igl = pytest.importorskip("igl")
    mesh = lathe_piece(150, 240, 4.0)
    points = scanned(mesh, 20_000, off_mm)
    found = SurfaceIndex(mesh).closest(points)
    squared = igl.point_mesh_squared_distance(points, mesh.vertices, mesh.faces)[0]
    assert found.distance_mm == pytest.approx(np.sqrt(squared), abs=1e-9)


@pytest.mark.parametrize("off_mm", [0.003, 0.1])
@pytest.mark.parametrize(
    ("sparse", "rounds", "listed"),
    [
        (0.0, nearby.ROUNDS, search._LISTED),
        (5.0, (1, 3), 3 * 700),
        (5.0, (10**9,), 10**9 * 40),
        (5.0, (), search._LISTED),
    ],
)
def test_all_ways_find_the_same(
    monkeypatch: pytest.MonkeyPatch,
    off_mm: float,
    sparse: float,
    rounds: tuple[int, ...],
    listed: int,
) -> None:
    """Point by point or in groups; few pieces listed, or all of them; in parts of any size."""
    mesh = lathe_piece(40, 50, 4.0)
    points = scanned(mesh, 1500, off_mm)
    usual = SurfaceIndex(mesh, threads=1).closest(points, signed=True)
    monkeypatch.setattr(search, "_SPARSE", sparse)
    monkeypatch.setattr(search, "ROUNDS", rounds)
    monkeypatch.setattr(search, "_LISTED", listed)
    same(SurfaceIndex(mesh, threads=3).closest(points, signed=True), usual)


def test_crowded_rows_are_settled_by_more_pieces_a_point() -> None:
    even, crowded = lathe_piece(120, 120, 0.0), lathe_piece(120, 120, 4.0)
    counts = []
    for mesh in (even, crowded):
        near, points = near_pieces(mesh), scanned(mesh, 5000, 0.003)
        points = points[np.abs(points[:, 2]) < 0.5]
        reach = near.reach(points, 64)
        assert reach is not None
        assert near.find(points, reach).sure.mean() > 0.9
        counts.append(reach.pieces)
    assert counts[1] > 1.5 * counts[0]


def test_no_pieces_are_listed_for_points_far_off() -> None:
    mesh = lathe_piece(120, 120, 4.0)
    assert near_pieces(mesh).reach(scanned(mesh, 5000, 1.5), 32) is None


def test_the_tree_tells_the_power_and_misses_no_ball() -> None:
    rng = np.random.default_rng(12)
    mesh = lathe_piece(30, 40, 4.0)
    pieces = Pieces.of(mesh.triangles, FaceFrames.of(mesh.triangles))
    points = scanned(mesh, 200, 0.05)
    away = np.linalg.norm(points[:, None] - pieces.centre, axis=2)
    power = away**2 - pieces.radius**2
    count = len(pieces.face)
    distance, number = pieces.listed(points, count, np.inf)
    assert (np.sort(number, axis=1) == np.arange(count)).all()
    expected = pieces.largest_radius**2 + np.take_along_axis(power, number, axis=1)
    np.testing.assert_allclose(distance**2, expected, rtol=1e-12, atol=1e-12)
    # The two halves of a rectangle have the same ball.
    least = np.where(power <= power.min(axis=1, keepdims=True) + 1e-12, pieces.face, -1)
    assert (pieces.nearest_face(points)[:, None] == least).any(axis=1).all()
    bound = rng.uniform(0.0, 0.5, size=(200, 1))
    meets = away <= pieces.radius + bound
    tree_distance = np.empty_like(distance)
    np.put_along_axis(tree_distance, number, distance, axis=1)
    assert (tree_distance[meets] <= (pieces.largest_radius + bound + 0 * away)[meets] + 1e-12).all()


def test_rivals_are_all_faces_within_the_slack_of_the_nearest() -> None:
    mesh = lathe_piece(20, 30, 3.0)
    frames, points = FaceFrames.of(mesh.triangles), scanned(mesh, 60, 0.05)
    pairs = np.repeat(np.arange(60), len(mesh)), np.tile(np.arange(len(mesh)), 60)
    squared = frames.squared_distances(points[pairs[0]].T, pairs[1]).reshape(60, -1)
    nearest = squared.argmin(axis=1)
    _, worse = cKDTree(mesh.triangles.mean(axis=1)).query(points + 0.3)
    guess = frames.feet(np.ascontiguousarray(points.T), worse)
    assert (worse != nearest).mean() > 0.5
    twice = Rivals(*(np.tile(each, 2) for each in pairs))
    rivals = challenged(np.ascontiguousarray(points.T), guess, twice, frames, 0.02)
    least = squared.min(axis=1)
    assert guess.squared == pytest.approx(least, abs=1e-15)
    within = np.sqrt(squared) <= np.sqrt(least)[:, None] + 0.02
    within[np.arange(60), guess.faces] = False
    assert np.array_equal(np.stack(rivals), np.stack(np.nonzero(within)))
