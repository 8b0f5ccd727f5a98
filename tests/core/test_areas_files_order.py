"""An areas file serves one design, however its vertices and triangles are sorted, and no other."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.areas.files import load_areas, save_areas
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.errors import AreaError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from made.saved_areas import (
    SETTINGS,
    as_version_1,
    crown_areas,
    crown_document,
    crown_points,
    overlap,
    write,
)
from scipy.spatial import cKDTree


@pytest.fixture(scope="module")
def evaluation() -> EvaluationMesh:
    return crown_points()


@pytest.fixture(scope="module")
def area_set() -> AreaSet:
    return crown_areas()


@pytest.fixture
def document() -> dict[str, Any]:
    return crown_document()


def shuffled(evaluation: EvaluationMesh, seed: int = 5) -> EvaluationMesh:
    """The same design with vertices, triangles and the triangles' corners in another order."""
    rng = np.random.default_rng(seed)
    design = evaluation.design
    order = rng.permutation(len(design.vertices))
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    faces = place[design.faces[rng.permutation(len(design))]]
    turns = (np.arange(3) + rng.integers(3, size=(len(faces), 1))) % 3
    faces = np.take_along_axis(faces, turns, axis=1)
    mesh = TriangleMesh(design.vertices[order], faces, "shuffled")
    assert mesh.checksum != design.checksum
    return evaluation_mesh(mesh, evaluation.spacing_mm)


def at_places_of(one: EvaluationMesh, other: EvaluationMesh) -> np.ndarray:
    """Point of the one nearest to each point of the other."""
    distance, nearest = cKDTree(one.points).query(other.points)
    assert np.quantile(distance, 0.999) < 1e-9
    return np.asarray(nearest)


def test_file_serves_the_same_design_in_another_order(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    path = save_areas(tmp_path / "areas.json", area_set)
    other = shuffled(evaluation)
    loaded, at = load_areas(path, other), at_places_of(evaluation, other)
    assert list(loaded.areas) == list(area_set.areas)
    for name in area_set.areas:
        assert np.array_equal(loaded[name].points, area_set[name].points[at]), name
        assert loaded[name].origin == "automatic"


def test_design_vertices_count_in_the_files_own_order(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    chosen = np.flatnonzero(evaluation.design.vertices[:, 2] > 5.0)
    document["areas"]["tips"] = {"design_vertices": chosen.tolist()}
    other = shuffled(evaluation)
    loaded = load_areas(write(tmp_path / "areas.json", document), other)
    count = len(other.design.vertices)
    assert np.array_equal(loaded["tips"].points[:count], other.design.vertices[:, 2] > 5.0)


def test_rounding_of_an_exported_copy_does_no_harm(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    """Single precision far from the origin, as a scanner or a modelling program leaves it."""
    far = np.array([120.0, -80.0, 40.0])
    moved = TriangleMesh(
        (evaluation.design.vertices + far).astype(np.float32) - far, evaluation.design.faces
    )
    other = evaluation_mesh(moved, evaluation.spacing_mm)
    assert other.design.checksum != evaluation.design.checksum
    loaded = load_areas(save_areas(tmp_path / "areas.json", area_set), other)
    anew = find_areas(other, SETTINGS)
    for name in area_set.areas:
        assert overlap(anew, loaded[name].points, anew[name].points) > 0.995, name


def test_a_design_changed_by_two_micrometres_is_another(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    vertices = evaluation.design.vertices.copy()
    vertices[7, 2] += 0.002
    other = evaluation_mesh(TriangleMesh(vertices, evaluation.design.faces), 0.15)
    path = save_areas(tmp_path / "areas.json", area_set)
    with pytest.raises(AreaError, match="another design"):
        load_areas(path, other)


def test_a_design_with_a_face_less_is_another(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    other = evaluation_mesh(TriangleMesh(evaluation.design.vertices, evaluation.design.faces[9:]))
    path = save_areas(tmp_path / "areas.json", area_set)
    with pytest.raises(AreaError, match="another design"):
        load_areas(path, other)


def test_version_1_is_still_read(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    path = write(tmp_path / "areas.json", as_version_1(document))
    loaded = load_areas(path, evaluation)
    for name in area_set.areas:
        assert np.array_equal(loaded[name].points, area_set[name].points), name
        assert loaded[name].origin == "automatic"
    with pytest.raises(AreaError, match="another design"):
        load_areas(path, shuffled(evaluation))


def test_moved_areas_are_those_of_the_moved_design(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    motion = np.eye(4)
    motion[:3, :3] = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    motion[:3, 3] = (3.0, -2.0, 7.0)
    there = evaluation.moved(motion)
    loaded = load_areas(save_areas(tmp_path / "areas.json", area_set.moved(motion)), there)
    back = loaded.moved(np.linalg.inv(motion), evaluation)
    assert loaded.settings.mesial_direction == pytest.approx((0.0, 1.0, 0.0))
    assert back.settings.mesial_direction == pytest.approx((1.0, 0.0, 0.0))
    assert back.evaluation is evaluation
    assert back.insertion == pytest.approx(area_set.insertion, abs=1e-12)
    assert back.margin_line is not None
    assert area_set.margin_line is not None
    assert np.abs(back.margin_line.points_mm - area_set.margin_line.points_mm).max() < 2e-6
    for name in area_set.areas:
        assert np.array_equal(back[name].points, area_set[name].points), name
