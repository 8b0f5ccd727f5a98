"""Edges, pieces and borders against closed forms, libigl and trimesh."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.grouping import KeyGroups, group_points, group_triples
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh

igl = pytest.importorskip("igl")

SOLIDS = {
    # name: (mesh, Euler characteristic V − E + F = 2 − 2 × genus)
    "sphere": (trimesh.creation.icosphere(subdivisions=3, radius=5.0), 2),
    "cube": (trimesh.creation.box(extents=(8, 8, 8)), 2),
    "torus": (trimesh.creation.torus(major_radius=5.0, minor_radius=2.0), 0),
}


def _mesh(source: trimesh.Trimesh) -> TriangleMesh:
    return TriangleMesh(source.vertices, source.faces)


def _igl(answer: Any) -> Any:
    """Return the first value; some versions of libigl give more than one."""
    return answer[0] if isinstance(answer, tuple) else answer


def _grid(k: int) -> TriangleMesh:
    """Flat square of k × k cells, two triangles each, facing up."""
    x, y = np.meshgrid(np.arange(k + 1.0), np.arange(k + 1.0), indexing="ij")
    i, j = np.meshgrid(np.arange(k), np.arange(k), indexing="ij")
    a = (i * (k + 1) + j).ravel()
    b, c, d = a + k + 1, a + k + 2, a + 1
    vertices = np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], axis=1)
    return TriangleMesh(vertices, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]))


@pytest.mark.parametrize("name", SOLIDS)
def test_euler_characteristic_of_solids(name: str) -> None:
    source, euler = SOLIDS[name]
    mesh = _mesh(source)
    graph = mesh.graph
    assert len(mesh.vertices) - len(graph.edges) + len(mesh) == euler
    assert (graph.edge_face_count == 2).all()
    assert mesh.graph.border_loops == []
    assert not mesh.graph.border_vertices.any()
    # trimesh as independent reference.
    assert set(map(tuple, graph.edges)) == set(map(tuple, source.edges_unique))
    pairs = np.sort(graph.face_pairs, axis=1)
    assert set(map(tuple, pairs)) == set(map(tuple, source.face_adjacency))


@pytest.mark.parametrize("name", SOLIDS)
def test_face_edges_join_faces_and_edges(name: str) -> None:
    graph = _mesh(SOLIDS[name][0]).graph
    for k in range(3):
        ends = np.sort(graph.faces[:, [k, (k + 1) % 3]], axis=1)
        np.testing.assert_array_equal(graph.edges[graph.face_edges[:, k]], ends)


def test_border_of_a_grid_runs_once_round_with_the_surface_on_its_left() -> None:
    mesh = _grid(5)
    (loop,) = mesh.graph.border_loops
    assert len(loop) == 20
    x, y = mesh.vertices[loop, :2].T
    # Shoelace formula: 25 unit squares, counter-clockwise.
    assert 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) == 25.0
    assert len(set(loop)) == 20
    np.testing.assert_array_equal(np.flatnonzero(mesh.graph.border_vertices), np.sort(loop))


def test_loops_agree_with_igl_on_a_grid_with_holes() -> None:
    mesh = _grid(12)
    middle = mesh.triangles.mean(axis=1)[:, :2]
    hole = (np.abs(middle - [3, 3]) < 1).all(axis=1) | (np.abs(middle - [8, 7]) < 2).all(axis=1)
    mesh = mesh.kept(~hole)
    loops = mesh.graph.border_loops
    assert [len(loop) for loop in loops] == [48, 16, 8]
    longest = igl.boundary_loop(mesh.faces).tolist()
    # The same vertices in the same cyclic order.
    turn = longest.index(loops[0][0])
    assert longest[turn:] + longest[:turn] == loops[0].tolist()


def test_border_is_divided_where_it_touches_itself() -> None:
    # Two triangles that share vertex 0 only: two loops, one piece, one border.
    mesh = TriangleMesh(
        [[0, 0, 0], [1, 0, 0], [1, 1, 0], [-1, 0, 0], [-1, -1, 0]], [[0, 1, 2], [0, 3, 4]]
    )
    assert sorted(sorted(loop) for loop in mesh.graph.border_loops) == [[0, 1, 2], [0, 3, 4]]
    assert mesh.graph.piece_of_face.tolist() == [0, 0]
    assert mesh.graph.border_of_side.max() == 0


def test_loops_of_mixed_winding_are_closed_all_the_same() -> None:
    mesh = _grid(4)
    faces = mesh.faces.copy()
    faces[::3] = faces[::3, ::-1]
    (loop,) = TriangleMesh(mesh.vertices, faces).graph.border_loops
    assert set(loop) == set(mesh.graph.border_loops[0])


def test_three_faces_at_one_edge() -> None:
    vertices = [[0, 0, 0], [0, 0, 1], [1, 0, 0], [-1, 1, 0], [-1, -1, 0]]
    mesh = TriangleMesh(vertices, [[0, 1, 2], [1, 0, 3], [0, 1, 4]])
    assert mesh.graph.edges[mesh.graph.non_manifold_edges].tolist() == [[0, 1]]
    assert not _igl(igl.is_edge_manifold(mesh.faces))
    assert len(mesh.graph.border_sides) == 6


def test_face_with_a_vertex_twice_joins_nothing() -> None:
    mesh = TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2], [0, 1, 1]])
    assert mesh.graph.collapsed.tolist() == [False, True]
    assert mesh.graph.face_edges[1].tolist() == [-1, -1, -1]
    assert (mesh.graph.edge_face_count == 1).all()
    assert len(mesh.graph.border_loops[0]) == 3


def test_mesh_without_faces_has_an_empty_graph() -> None:
    graph = TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)).graph
    assert len(graph.edges) == len(graph.border_sides) == len(graph.piece_of_face) == 0
    assert graph.border_loops == []


@pytest.mark.parametrize(
    "name",
    [
        "crowns/incisor_enamel_cap.ply",
        "crowns/small_molar_cap.ply",
        "teeth/sj_crown_FDI36.obj",
        "registration/hippo2.obj",
        "nasty/vertex_colour_nonmanifold.ply",
        "nasty/inch_part.stl",
    ],
)
def test_real_meshes_agree_with_igl_and_trimesh(shared_meshes: Path, name: str) -> None:
    mesh = read_mesh(shared_meshes / name, unit="mm").mesh
    graph = mesh.graph
    reference = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert len(graph.edges) == len(reference.edges_unique)
    assert (not len(graph.border_sides) and not len(graph.non_manifold_edges)) == (
        reference.is_watertight
    )
    assert _igl(igl.is_edge_manifold(mesh.faces)) == (len(graph.non_manifold_edges) == 0)
    component = _igl(igl.vertex_components(mesh.faces))
    assert graph.piece_of_face.max() + 1 == len(np.unique(component[mesh.faces[:, 0]]))
    border = _igl(igl.is_border_vertex(mesh.faces))
    np.testing.assert_array_equal(mesh.graph.border_vertices, border)


# --- grouping --------------------------------------------------------------------------------


def _assert_grouped(groups: KeyGroups, rows: np.ndarray) -> None:
    """Compare with numpy.unique over whole rows."""
    unique, reference = np.unique(rows, axis=0, return_inverse=True)
    pairs = np.unique(np.stack([groups.label, reference.ravel()], axis=1), axis=0)
    assert len(pairs) == len(unique) == len(groups.starts)
    first, label = groups.by_appearance()
    assert (np.diff(first) > 0).all()
    np.testing.assert_array_equal(rows[first][label], rows)
    assert groups.counts.sum() == len(rows)


def test_grouping_agrees_with_numpy() -> None:
    rng = np.random.default_rng(1)
    for count in (1, 2, 3, 50, 2000):
        rows = rng.integers(0, 9, size=(count, 3))
        _assert_grouped(group_triples(rows), rows)
        _assert_grouped(group_points(rows / 7.0), rows)
    assert len(group_triples(np.zeros((0, 3), dtype=np.int64)).starts) == 0


def test_grouping_survives_a_hash_that_mixes_everything_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from cuspwise.standalone_core.mesh import grouping

    good = grouping._hash
    poor_bits = np.uint64(0xC000000000000000)  # four different values only
    monkeypatch.setattr(grouping, "_hash", lambda columns: good(columns) & poor_bits)
    rows = np.random.default_rng(2).integers(0, 6, size=(3000, 3))
    _assert_grouped(group_triples(rows), rows)
