"""The evaluation mesh: every edge short, the surface unchanged, every point traced."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.files import read_mesh
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh


def _mesh(source: trimesh.Trimesh) -> TriangleMesh:
    return TriangleMesh(source.vertices, source.faces)


def _random_surface(seed: int) -> TriangleMesh:
    """Triangles of all shapes: a sphere cut open and sheared."""
    rng = np.random.default_rng(seed)
    source = trimesh.creation.icosphere(subdivisions=1, radius=4.0)
    vertices = source.vertices * [1.0, 0.2, 2.0] + rng.normal(0, 0.3, source.vertices.shape)
    return TriangleMesh(vertices, source.faces[rng.random(len(source.faces)) > 0.1])


def _longest_edge(mesh: TriangleMesh) -> float:
    ends = mesh.vertices[mesh.graph.edges]
    return float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).max())


def _assert_sound(evaluation: EvaluationMesh) -> None:
    mesh, design = evaluation.mesh, evaluation.design
    assert _longest_edge(mesh) <= evaluation.spacing_mm
    np.testing.assert_array_equal(mesh.vertices[: len(design.vertices)], design.vertices)
    # Conforming: no vertex added on one side of an edge only would leave the borders alone.
    assert len(mesh.graph.border_loops) == len(design.graph.border_loops)
    euler = [
        len(m.vertices) - len(m.graph.edges) + np.count_nonzero(~m.graph.collapsed)
        for m in (mesh, design)
    ]
    assert euler[0] == euler[1]
    # Each point is where its face and weights say.
    corners = design.triangles[evaluation.point_face]
    traced = np.einsum("ij,ijk->ik", evaluation.point_barycentric, corners)
    np.testing.assert_allclose(traced, mesh.vertices, rtol=0, atol=1e-13)
    assert (evaluation.point_barycentric >= 0).all()
    np.testing.assert_array_equal(evaluation.point_barycentric.sum(axis=1), 1.0)
    # Each face is part of its source face: same normal direction, and areas that add up.
    assert (np.diff(evaluation.source_face) >= 0).all()
    area = np.bincount(evaluation.source_face, mesh.face_areas, minlength=len(design))
    np.testing.assert_allclose(area, design.face_areas, rtol=1e-11, atol=1e-15)
    along = np.einsum("ij,ij->i", mesh.face_cross, design.face_normals[evaluation.source_face])
    assert (along >= -1e-12).all()
    assert evaluation.weights_mm2.sum() == pytest.approx(design.area_mm2, rel=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_surfaces_of_any_shape(seed: int) -> None:
    evaluation = evaluation_mesh(_random_surface(seed), 0.25)
    assert len(evaluation.points) > 1000
    _assert_sound(evaluation)


def test_equilateral_triangle_becomes_four_to_the_n() -> None:
    # Side 1 halved until ≤ 0.1: four times, so 4⁴ faces and (2⁴+1)(2⁴+2)/2 points.
    mesh = TriangleMesh([[0, 0, 0], [1, 0, 0], [0.5, np.sqrt(0.75), 0]], [[0, 1, 2]])
    evaluation = evaluation_mesh(mesh, 0.1)
    assert len(evaluation.mesh) == 256
    assert len(evaluation.points) == 153
    _assert_sound(evaluation)


def test_fine_mesh_is_handed_back_as_it_is() -> None:
    mesh = _mesh(trimesh.creation.icosphere(subdivisions=3, radius=1.0))
    evaluation = evaluation_mesh(mesh, 1.0)
    assert evaluation.mesh is mesh
    assert evaluation.source_face.tolist() == list(range(len(mesh)))
    values = np.arange(len(mesh.vertices))
    np.testing.assert_array_equal(evaluation.interpolate(values), values)


def test_area_and_volume_of_solids_are_kept() -> None:
    for source in (
        trimesh.creation.box(extents=(2, 3, 4)),
        trimesh.creation.torus(major_radius=2.0, minor_radius=0.7),
    ):
        evaluation = evaluation_mesh(_mesh(source), 0.2)
        assert evaluation.mesh.area_mm2 == pytest.approx(source.area, rel=1e-12)
        assert evaluation.mesh.volume_mm3 == pytest.approx(source.volume, rel=1e-12)
        assert not len(evaluation.mesh.graph.border_sides)


def test_linear_values_are_carried_exactly() -> None:
    evaluation = evaluation_mesh(_random_surface(3), 0.3)
    slope = np.array([[0.3, -2.0], [1.1, 0.5], [-0.7, 1.0]])
    carried = evaluation.interpolate(evaluation.design.vertices @ slope)
    np.testing.assert_allclose(carried, evaluation.points @ slope, rtol=0, atol=1e-12)
    one = evaluation.interpolate(evaluation.design.vertices[:, 2])
    np.testing.assert_allclose(one, evaluation.points[:, 2], rtol=0, atol=1e-13)


def test_triangles_do_not_get_worse() -> None:
    for seed in range(5):
        evaluation = evaluation_mesh(_random_surface(seed), 0.2)
        before, after = evaluation.design.corner_angles, evaluation.mesh.corner_angles
        assert np.median(after.min(axis=1)) >= np.median(before.min(axis=1))
        # Halving a face along a median at most halves its smallest angle (about).
        assert after.min() >= 0.45 * before.min()


def test_edges_of_three_faces_and_faces_without_area() -> None:
    vertices = [[0, 0, 0], [0, 0, 1], [1, 0, 0], [-1, 1, 0], [-1, -1, 0], [0, 0, 0.4], [9, 9, 9]]
    faces = [[0, 1, 2], [1, 0, 3], [0, 1, 4], [0, 5, 1], [2, 2, 0]]
    evaluation = evaluation_mesh(TriangleMesh(vertices, faces), 0.1)
    assert _longest_edge(evaluation.mesh) <= 0.1
    assert evaluation.mesh.area_mm2 == pytest.approx(evaluation.design.area_mm2, rel=1e-12)
    assert len(evaluation.mesh.graph.non_manifold_edges) == 16  # the edge of length 1, halved
    assert evaluation.point_face[6] == -1  # a vertex that no face uses


@pytest.mark.parametrize("spacing", [0.0, -1.0, np.nan, np.inf])
def test_spacing_must_be_a_length(spacing: float) -> None:
    with pytest.raises(SettingError, match="spacing"):
        evaluation_mesh(_random_surface(0), spacing)


@pytest.mark.parametrize("width", [10_000.0, 1e-3])
def test_explosive_growth_is_refused(width: float) -> None:
    mesh = TriangleMesh([[0, 0, 0], [10_000, 0, 0], [0, width, 0]], [[0, 1, 2]], "sheet")
    with pytest.raises(SettingError, match=r"^sheet: .* divides it, .* more than 4 million faces"):
        evaluation_mesh(mesh, 0.1 if width > 1 else 0.0001)


@pytest.mark.parametrize(
    "name", ["teeth/sj_crown_FDI16.obj", "crowns/incisor_enamel_cap.ply", "nasty/ascii_spider.stl"]
)
def test_real_meshes(shared_meshes: Path, name: str) -> None:
    _assert_sound(evaluation_mesh(read_mesh(shared_meshes / name).mesh, 0.15))
