"""Triangles through each other, against exact arithmetic and closed forms."""

from __future__ import annotations

import os
from fractions import Fraction
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.mesh import intersections
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.intersections import self_intersections
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

CASES = int(os.environ.get("CUSPWISE_CASES", "12"))
SPHERE = trimesh.creation.icosphere(subdivisions=4, radius=5.0)


def _joined(*parts: TriangleMesh) -> TriangleMesh:
    offsets = np.cumsum([0, *(len(part.vertices) for part in parts)])
    return TriangleMesh(
        np.concatenate([part.vertices for part in parts]),
        np.concatenate([part.faces + k for part, k in zip(parts, offsets, strict=False)]),
    )


def _volume(a, b, c, d) -> Fraction:
    """Six times the signed volume of a tetrahedron, exactly."""
    u, v, w = ([x - y for x, y in zip(p, a, strict=True)] for p in (b, c, d))
    return (
        u[0] * (v[1] * w[2] - v[2] * w[1])
        - u[1] * (v[0] * w[2] - v[2] * w[0])
        + u[2] * (v[0] * w[1] - v[1] * w[0])
    )


def _pass_through(one, other) -> bool:
    for edges, (a, b, c) in ((one, other), (other, one)):
        for p, q in ((edges[0], edges[1]), (edges[1], edges[2]), (edges[2], edges[0])):
            if _volume(a, b, c, p) * _volume(a, b, c, q) >= 0:
                continue
            around = [_volume(p, q, *side) for side in ((a, b), (b, c), (c, a))]
            if all(x >= 0 for x in around) or all(x <= 0 for x in around):
                return True
    return False


@pytest.mark.parametrize("seed", range(CASES))
def test_pairs_among_random_triangles_agree_with_exact_arithmetic(seed: int) -> None:
    """Of all sizes, some of them sharing vertices, which are not compared."""
    rng = np.random.default_rng(seed)
    vertices = rng.normal(size=(50, 3)) * rng.choice([0.3, 1.0, 3.0], size=(50, 1))
    faces = np.array([rng.choice(50, size=3, replace=False) for _ in range(34)])
    exact = [[[Fraction(float(x)) for x in p] for p in vertices[face]] for face in faces]
    expected = sum(
        _pass_through(exact[i], exact[j])
        for i, j in combinations(range(len(faces)), 2)
        if not set(faces[i]) & set(faces[j])
    )
    assert expected > 10
    found = self_intersections(TriangleMesh(vertices, faces))
    assert (found.pairs, found.complete) == (expected, True)


def test_two_spheres_pass_through_each_other_along_their_common_circle() -> None:
    # At distance d the circle has the radius √(R² − d²/4), in the plane halfway.
    sphere = TriangleMesh(SPHERE.vertices, SPHERE.faces)
    shift = np.array([1.7, 2.3, 3.1])
    both = _joined(sphere, TriangleMesh(sphere.vertices + shift, sphere.faces))
    found = self_intersections(both)
    distance = float(np.linalg.norm(shift))
    radius = np.sqrt(25.0 - distance**2 / 4)
    # A line on a surface meets (2/π)·(length of the edges / area) edges a mm (Cauchy–Crofton, from
    # memory); each edge met, of either sphere, ends a pair of triangles and begins the next.
    edges_per_mm = 2 / np.pi * SPHERE.edges_unique_length.sum() / SPHERE.area
    assert found.pairs == pytest.approx(2 * edges_per_mm * 2 * np.pi * radius, rel=0.05)
    along = (np.array(found.place_mm) @ shift) / distance
    assert along == pytest.approx(distance / 2, abs=0.05)
    assert np.linalg.norm(found.place_mm) == pytest.approx(5.0, abs=0.03)
    assert f"{found.pairs:,} pairs of triangles pass through each other" in found.words


def test_a_piece_that_passes_through_itself_is_found() -> None:
    """A spike pushed out through the other side of the sphere."""
    vertices = SPHERE.vertices.copy()
    vertices[100] = -1.2 * vertices[100]
    found = self_intersections(TriangleMesh(vertices, SPHERE.faces))
    assert found.pairs > 0
    assert np.linalg.norm(found.place_mm - vertices[100] / 1.2) < 0.5


def test_neighbours_touching_and_parallel_sheets_do_not_pass_through() -> None:
    sphere = TriangleMesh(SPHERE.vertices, SPHERE.faces)
    box = trimesh.creation.box(extents=(2, 3, 4)).subdivide()
    solid = TriangleMesh(box.vertices, box.faces)
    beside = TriangleMesh(box.vertices + np.array([2.0, 0.2, 0.3]), box.faces)
    for mesh in (
        sphere,
        _joined(sphere, TriangleMesh(sphere.vertices * 1.02, sphere.faces)),
        _joined(solid, beside),
    ):
        assert self_intersections(mesh) == intersections.SelfIntersections(0, True, None)
    assert self_intersections(sphere).words == ""


def test_vertices_that_lie_on_an_edge_but_for_rounding_do_not_pass_through() -> None:
    """A fan beside an edge that is divided on one side only, in a file's float32."""
    rng = np.random.default_rng(0)
    for _ in range(CASES):
        ends = rng.uniform(-12, 12, size=(2, 3))
        middle = ends[0] + rng.uniform(0.2, 0.8) * (ends[1] - ends[0])
        across, beyond = rng.normal(size=(2, 3))
        vertices = [*ends, middle, middle + across, middle - across + 0.1 * beyond]
        vertices += [middle - across - 0.1 * beyond]
        faces = [[0, 1, 3], [2, 4, 5], [0, 2, 4], [2, 1, 5]]
        mesh = TriangleMesh(np.float32(vertices), faces)
        assert self_intersections(mesh).pairs == 0


def test_real_teeth_do_not_pass_through_themselves(shared_meshes: Path) -> None:
    for name in ("crowns/incisor_enamel_cap.ply", "crowns/small_molar_cap.ply"):
        assert self_intersections(repair_mesh(read_mesh(shared_meshes / name).mesh).mesh).pairs == 0
    # A rebuilt tooth row whose crowns stand in each other.
    row = repair_mesh(read_mesh(shared_meshes / "arch_pairs" / "case0_upper_test.obj").mesh)
    assert self_intersections(row.mesh).pairs > 500
    assert len(row.health.overlapping_pieces) == 5


def test_crowded_triangles_are_given_up_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intersections, "MAX_COMPARED", 5_000)
    monkeypatch.setattr(intersections, "_AT_ONCE", 1_000)
    rng = np.random.default_rng(0)
    soup = TriangleMesh(rng.normal(size=(900, 3)), np.arange(900).reshape(-1, 3))
    found = self_intersections(soup)
    assert not found.complete
    assert found.words.startswith("At least ")
