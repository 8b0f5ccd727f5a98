"""The parts of the closest-point search: curve order, pieces, candidates; and odd meshes."""

from __future__ import annotations

import numpy as np
import pytest
from cuspwise.standalone_core.mesh.morton import morton_codes, runs, sorting_order
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from cuspwise.standalone_core.surface.exact import FaceFrames
from cuspwise.standalone_core.surface.grouping import blocks_of
from cuspwise.standalone_core.surface.pieces import Pieces
from made.tiers import slow
from scipy.spatial import cKDTree


def test_morton_code_interleaves_bits() -> None:
    places = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [3.0, 2.0, 1.0]]) + 0.5
    codes = morton_codes(places, np.zeros(3), 1024.0)
    # x = 3, y = 2, z = 1: bits z y x of the upper and the lower cell are 011 and 101.
    assert codes.tolist() == [0b001, 0b010, 0b100, 0b011101]
    outside = morton_codes(np.array([[-5.0, 2000.0, 0.0]]), np.zeros(3), 1024.0)
    assert (
        outside.tolist() == morton_codes(np.array([[0.0, 1023.5, 0]]), np.zeros(3), 1024).tolist()
    )


def test_sorting_order_is_stable() -> None:
    codes = np.random.default_rng(1).integers(0, 50, 1000).astype(np.uint32)
    assert np.array_equal(sorting_order(codes), np.argsort(codes, kind="stable"))


@pytest.mark.parametrize("size", [1, 3, 8])
def test_runs_cover_all_and_never_cross_cells(size: int) -> None:
    cells = np.sort(np.random.default_rng(2).integers(0, 40, 500))
    members, repeated = runs(cells, size)
    assert np.array_equal(members[~repeated], np.arange(500))
    assert (cells[members] == cells[members[:, :1]]).all()


def test_blocks_hold_every_point_once() -> None:
    points = np.random.default_rng(3).normal(size=(40_000, 3))
    blocks = blocks_of(points, np.full(3, -2.0), np.full(3, 2.0), 0.5)
    assert len(blocks) > 1
    assert np.array_equal(
        np.sort(np.concatenate([block.points for block in blocks])), np.arange(40_000)
    )
    for block in blocks:
        own = block.slots[~block.repeated]
        assert np.array_equal(np.sort(own), np.arange(len(block.points)))
        members = block.members[block.members >= 0]
        assert np.array_equal(np.sort(members), np.arange(len(block.slots)))


def test_balls_hold_their_faces() -> None:
    rng = np.random.default_rng(4)
    corners = rng.normal(size=(300, 3, 3)) * rng.lognormal(0, 2, (300, 1, 1))
    corners[:20, 2] = corners[:20, 0] + 1e-9 * (corners[:20, 1] - corners[:20, 0])
    corners[20:25, 2] = corners[20:25, 1]
    pieces = Pieces.of(corners, FaceFrames.of(corners))
    assert len(pieces.face) < 300 * 30
    face = rng.integers(0, 300, 20_000)
    points = np.einsum("nk,nki->ni", rng.dirichlet([1, 1, 1], 20_000), corners[face])
    for number in range(300):
        balls = pieces.face == number
        gap = np.linalg.norm(points[face == number][:, None] - pieces.centre[balls][None], axis=2)
        assert (gap <= pieces.radius[balls] * (1 + 1e-9) + 1e-12).any(axis=1).all()


@pytest.mark.parametrize("seed", range(6))
def test_random_soups_against_every_face(seed: int) -> None:
    """Slivers, doubled, crossing and degenerate faces of sizes over five powers of ten."""
    rng = np.random.default_rng(100 + seed)
    centre, size = rng.normal(size=(400, 1, 3)), 10.0 ** rng.uniform(-4, 1, (400, 1, 1))
    corners = centre + size * rng.normal(size=(400, 3, 3))
    corners[::7, 1] = corners[::7, 0]
    corners[1::7, 2] = 0.5 * (corners[1::7, 0] + corners[1::7, 1])
    corners[2::7] = corners[3::7][: len(corners[2::7])]
    corners[4::7, 0] = corners[4::7, 1] = corners[4::7, 2]
    soup = TriangleMesh(corners.reshape(-1, 3), np.arange(1200).reshape(-1, 3))
    points = rng.normal(size=(300, 3)) * 10.0 ** rng.uniform(-2, 2, (300, 1))
    found = SurfaceIndex(soup).closest(points, signed=True)
    frames = FaceFrames.of(corners)
    pairs = np.repeat(points.T, 400, axis=1), np.tile(np.arange(400), 300)
    least = np.sqrt(frames.squared_distances(*pairs).reshape(300, 400).min(axis=1))
    assert found.distance_mm == pytest.approx(least, rel=1e-12, abs=1e-10)
    assert np.abs(found.signed_mm) == pytest.approx(least, rel=1e-12, abs=1e-10)
    again = np.einsum("nk,nki->ni", found.barycentric, corners[found.face])
    assert again == pytest.approx(found.foot, abs=1e-9)


@pytest.mark.parametrize(
    ("scale", "shift"),
    [
        (1e-6, 1e3),
        (1e6, 0.0),
        *(slow(*case) for case in ((1e-6, 0.0), (1.0, 0.0), (1.0, 1e3), (1e6, 1e3))),
    ],
)
def test_scale_and_place_do_not_matter(scale: float, shift: float) -> None:
    rng = np.random.default_rng(5)
    turn = np.linspace(0, 2 * np.pi, 201)[:-1]
    # A closed double cone with long slivers: a fan to each tip.
    rim = np.column_stack([np.cos(turn), np.sin(turn), 0.1 * np.sin(5 * turn)])
    vertices = np.vstack([rim, [[0, 0, 1], [0, 0, -1.0]]])
    k = np.arange(200)
    faces = np.vstack(
        [
            np.column_stack([k, np.roll(k, -1), np.full(200, 200)]),
            np.column_stack([np.roll(k, -1), k, np.full(200, 201)]),
        ]
    )
    points = rng.uniform(-1.5, 1.5, (2000, 3))
    base = SurfaceIndex(TriangleMesh(vertices, faces)).closest(points, signed=True)
    other = SurfaceIndex(TriangleMesh(scale * (vertices + shift), faces)).closest(
        scale * (points + shift), signed=True
    )
    assert other.signed_mm / scale == pytest.approx(base.signed_mm, abs=1e-9)


def test_maximum_distance_changes_nothing_within_it() -> None:
    rng = np.random.default_rng(6)
    turn = rng.normal(size=(3000, 3))
    points = turn / np.linalg.norm(turn, axis=1, keepdims=True) * rng.uniform(3, 8, (3000, 1))
    mesh = sphere_patch()
    free = SurfaceIndex(mesh).closest(points, signed=True)
    bounded = SurfaceIndex(mesh).closest(points, signed=True, max_distance_mm=1.0)
    near = free.distance_mm <= 1.0
    assert 0.1 < near.mean() < 0.9
    assert np.array_equal(bounded.found, near)
    for name in ("foot", "distance_mm", "signed_mm", "face", "feature", "on_border"):
        assert np.array_equal(getattr(bounded, name)[near], getattr(free, name)[near]), name


def test_border_of_an_open_patch() -> None:
    mesh = sphere_patch()
    found = SurfaceIndex(mesh).closest(mesh.vertices * 1.01)
    rim = np.abs(mesh.vertices[:, 2]) < 1e-12
    assert np.array_equal(found.on_border, rim)
    # The nearest vertex is the foot of a point right over a vertex of a convex surface.
    assert np.array_equal(cKDTree(mesh.vertices).query(found.foot)[1], np.arange(len(rim)))


def sphere_patch(n: int = 30) -> TriangleMesh:
    """Upper half of a sphere of 5 mm, open at z = 0."""
    polar, turn = np.linspace(0, np.pi / 2, n)[1:, None], np.arange(2 * n)[None] * np.pi / n
    ring = np.stack(
        [np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar) + 0 * turn], -1
    )
    ring[-1, :, 2] = 0.0
    m, rows = 2 * n, n - 1
    i, j = np.arange(rows - 1)[:, None] * m, np.arange(m)[None]
    k = (j + 1) % m
    faces = [
        np.stack([i + j, i + m + j, i + m + k], -1).reshape(-1, 3),
        np.stack([i + j, i + m + k, i + k], -1).reshape(-1, 3),
        np.stack([np.full(m, rows * m), j[0], k[0]], -1),
    ]
    vertices = np.vstack([5.0 * ring.reshape(-1, 3), [[0, 0, 5.0]]])
    return TriangleMesh(vertices, np.concatenate(faces))
