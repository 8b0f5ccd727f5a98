"""Areas files: what is saved comes back, replaced areas count, wrong files are refused."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, AreaSettings
from cuspwise.standalone_core.areas.files import areas_document, load_areas, save_areas
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.errors import AreaError, FileError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from scipy.spatial import cKDTree

SETTINGS = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), margin_band_mm=0.8)


@pytest.fixture(scope="module")
def evaluation() -> EvaluationMesh:
    return evaluation_mesh(demo_crown(0.3).mesh, 0.15)


@pytest.fixture(scope="module")
def area_set(evaluation: EvaluationMesh) -> AreaSet:
    return find_areas(evaluation, SETTINGS)


@pytest.fixture
def document(area_set: AreaSet) -> dict[str, Any]:
    return json.loads(json.dumps(areas_document(area_set)))


def write(path: Path, document: Any) -> Path:
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def overlap(area_set: AreaSet, one: np.ndarray, other: np.ndarray) -> float:
    weights = area_set.evaluation.weights_mm2
    return float(weights[one & other].sum() / weights[one | other].sum())


def test_saved_areas_come_back_as_they_were(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    loaded = load_areas(save_areas(tmp_path / "areas.json", area_set), evaluation)
    assert list(loaded.areas) == list(area_set.areas)
    for name in area_set.areas:
        assert np.array_equal(loaded[name].points, area_set[name].points)
        assert loaded[name].origin == "automatic"
    assert loaded.settings == SETTINGS
    assert loaded.insertion == pytest.approx(area_set.insertion, abs=1e-15)
    assert loaded.margin_line is not None
    assert area_set.margin_line is not None
    assert np.abs(loaded.margin_line.points_mm - area_set.margin_line.points_mm).max() < 1e-6


def test_replaced_areas_are_marked_and_kept(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    upper = evaluation.points[:, 2] > 5.0
    mine = area_set.replaced([Area("occlusal", upper, "user"), Area("tips", upper, "user", "my")])
    loaded = load_areas(save_areas(tmp_path / "areas.json", mine), evaluation)
    assert np.array_equal(loaded["occlusal"].points, upper)
    assert loaded["occlusal"].origin == "file"
    assert loaded["tips"].note == "my"
    assert loaded["axial"].origin == "automatic"
    assert list(loaded.areas)[-1] == "tips"


def test_replacing_a_missing_area_ends_its_absence(evaluation: EvaluationMesh) -> None:
    without = find_areas(evaluation)
    assert "contact_mesial" in without.missing
    points = np.zeros(len(evaluation.points), dtype=bool)
    points[:10] = True
    added = without.replaced([Area("contact_mesial", points, "user")])
    assert "contact_mesial" not in added.missing
    assert added["contact_mesial"].points.sum() == 10


def test_area_of_design_vertices(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    chosen = np.flatnonzero(evaluation.design.vertices[:, 2] > 5.0)
    document["areas"]["tips"] = {"design_vertices": chosen.tolist()}
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    count = len(evaluation.design.vertices)
    assert np.array_equal(np.flatnonzero(loaded["tips"].points[:count]), chosen)
    assert loaded["tips"].origin == "file"
    # Between vertices the border lies half-way.
    upper = evaluation.points[:, 2] > 5.0
    assert overlap(loaded, loaded["tips"].points, upper) > 0.95


def test_file_with_one_area_leaves_the_others_to_be_found(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    small = {
        "format": document["format"],
        "version": document["version"],
        "design_checksum": document["design_checksum"],
        "settings": {"margin_band_mm": 0.8},
        "areas": {"tips": {"design_vertices": [0, 1, 2]}},
    }
    loaded = load_areas(write(tmp_path / "areas.json", small), evaluation)
    assert np.array_equal(loaded["margin"].points, area_set["margin"].points)
    assert loaded["tips"].points[:3].all()


def test_areas_are_carried_to_another_spacing(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    path = save_areas(tmp_path / "areas.json", area_set)
    finer = evaluation_mesh(evaluation.design, 0.1)
    loaded, anew = load_areas(path, finer), find_areas(finer, SETTINGS)
    for name in anew.areas:
        assert overlap(anew, loaded[name].points, anew[name].points) > 0.95, name


def test_users_margin_line_makes_its_areas_anew(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    """Move the line 0.5 mm up the external wall: the intaglio grows by that strip."""
    crown = demo_crown(0.3)
    theta = np.arange(400) * 2 * np.pi / 400
    line = crown.shape.points(theta, np.full(400, 0.5))
    document["margin_line"] = {"origin": "user", "points_mm": line.tolist()}
    document["areas"] = {"occlusal": document["areas"]["occlusal"] | {"origin": "user"}}
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert loaded.margin_line is not None
    assert loaded.margin_line.origin == "file"
    on_vertices = np.column_stack([crown.s, crown.s > 0.5])
    s, _ = evaluation.interpolate(on_vertices).T
    assert overlap(loaded, loaded["external"].points, s > 0.5) > 0.97
    assert overlap(loaded, loaded["intaglio"].points, s < 0.5) > 0.97
    band = loaded["margin"].points
    assert not band[s < -0.45].any()
    assert band[(s > 0.1) & (s < 1.1)].all()
    assert loaded["occlusal"].origin == "file"


def line_up_the_wall(s_mm: float = 0.5) -> list[list[float]]:
    """Margin line moved up the external wall by this much along the profile."""
    theta = np.arange(400) * 2 * np.pi / 400
    return demo_crown(0.3).shape.points(theta, np.full(400, s_mm)).tolist()


def test_edited_points_alone_make_the_areas_anew(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    document["margin_line"]["points_mm"] = line_up_the_wall()
    assert document["margin_line"]["origin"] == "automatic"
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert loaded.margin_line is not None
    assert loaded.margin_line.origin == "file"
    s = evaluation.interpolate(demo_crown(0.3).s)
    assert overlap(loaded, loaded["intaglio"].points, s < 0.5) > 0.97
    assert overlap(area_set, area_set["intaglio"].points, s < 0.5) < 0.97
    assert loaded["margin"].points[(s > 0.1) & (s < 1.1)].all()
    assert not loaded["axial"].points[s < 0.4].any()
    assert {area.origin for area in loaded.areas.values()} == {"automatic"}


def test_line_opened_by_hand_is_the_users(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    document["margin_line"]["closed"] = False
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert loaded.margin_line is not None
    assert loaded.margin_line.origin == "file"


def test_edited_runs_alone_are_the_users(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    document["areas"]["occlusal"]["runs"] = [0, 10]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert np.flatnonzero(loaded["occlusal"].points).tolist() == list(range(10))
    origins = {name: area.origin for name, area in loaded.areas.items()}
    assert origins == {name: "file" if name == "occlusal" else "automatic" for name in origins}
    assert loaded.margin_line is not None
    assert loaded.margin_line.origin == "automatic"
    assert np.array_equal(loaded["axial"].points, area_set["axial"].points)
    # Saved again, it is still the user's.
    again = load_areas(save_areas(tmp_path / "again.json", loaded), evaluation)
    assert again["occlusal"].origin == "file"
    assert again["axial"].origin == "automatic"


def test_edited_points_and_runs_both_count(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    document["margin_line"]["points_mm"] = line_up_the_wall()
    document["areas"]["external"]["runs"] = [0, 10]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    s = evaluation.interpolate(demo_crown(0.3).s)
    assert np.flatnonzero(loaded["external"].points).tolist() == list(range(10))
    assert loaded["external"].origin == "file"
    assert loaded["intaglio"].origin == "automatic"
    assert overlap(loaded, loaded["intaglio"].points, s < 0.5) > 0.97


@pytest.mark.parametrize("entry", ["area", "margin_line"])
def test_entry_without_digest_is_the_users(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh, entry: str
) -> None:
    del (document["margin_line"] if entry == "margin_line" else document["areas"]["axial"])[
        "digest"
    ]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert loaded.margin_line is not None
    assert loaded.margin_line.origin == ("file" if entry == "margin_line" else "automatic")
    assert loaded["axial"].origin == ("file" if entry == "area" else "automatic")


def test_numbers_written_otherwise_are_unchanged(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    """Other programs write 1.0 as 1 and -0.0 as 0."""
    points = document["margin_line"]["points_mm"]
    document["margin_line"]["points_mm"] = [
        [int(v) if v == int(v) else v for v in point] for point in points
    ]
    assert any(type(v) is int for point in document["margin_line"]["points_mm"] for v in point)
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert loaded.margin_line is not None
    assert loaded.margin_line.origin == "automatic"


def test_what_is_deleted_is_found_again(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    for name in ("occlusal", "contact_distal", "whole"):
        del document["areas"][name]
    document["areas"]["axial"]["runs"] = [0, 10]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert list(loaded.areas) == list(area_set.areas)
    for name in set(area_set.areas) - {"axial"}:
        assert np.array_equal(loaded[name].points, area_set[name].points), name
        assert loaded[name].origin == "automatic"
    assert loaded["axial"].points.sum() == 10
    assert loaded.missing == area_set.missing


@pytest.mark.parametrize("key", ["margin_line", "insertion", "settings", "missing", "warnings"])
def test_every_entry_may_be_left_out(
    tmp_path: Path,
    area_set: AreaSet,
    document: dict[str, Any],
    evaluation: EvaluationMesh,
    key: str,
) -> None:
    del document[key]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert area_set.margin_line is not None
    assert loaded.margin_line is not None
    assert loaded.margin_line.length_mm == pytest.approx(area_set.margin_line.length_mm, abs=1e-4)
    assert loaded.insertion == pytest.approx(area_set.insertion, abs=1e-12)
    assert list(loaded.areas) == list(area_set.areas)


def test_area_held_as_missing_is_not_sought(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    del document["areas"]["fossae"], document["areas"]["occlusal"]
    document["missing"]["fossae"] = "Not wanted."
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert "occlusal" in loaded.areas
    assert "fossae" not in loaded.areas
    assert loaded.missing["fossae"] == "Not wanted."


def test_missing_area_is_said_when_the_file_does_not(
    tmp_path: Path, evaluation: EvaluationMesh
) -> None:
    document = json.loads(json.dumps(areas_document(find_areas(evaluation))))
    del document["missing"]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    assert "mesial direction" in loaded.missing["contact_mesial"]


def test_held_path_of_insertion_counts_for_what_is_found(
    tmp_path: Path, area_set: AreaSet, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    tilted = [np.sin(0.3), 0.0, np.cos(0.3)]
    document["insertion"] = tilted
    del document["areas"]["occlusal"]
    loaded = load_areas(write(tmp_path / "areas.json", document), evaluation)
    anew = find_areas(evaluation, AreaSettings(insertion=tuple(tilted)))
    assert loaded.insertion == pytest.approx(tilted)
    assert np.array_equal(loaded["occlusal"].points, anew["occlusal"].points)
    assert not np.array_equal(loaded["occlusal"].points, area_set["occlusal"].points)


@pytest.mark.parametrize("edit", ["short", "off the crown"])
def test_margin_line_that_parts_nothing_is_refused(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh, edit: str
) -> None:
    points = np.array(document["margin_line"]["points_mm"])
    if edit == "short":
        document["margin_line"] = {"closed": False, "points_mm": points[:20].tolist()}
    else:
        document["margin_line"]["points_mm"] = (points + np.array([100.0, 0.0, 0.0])).tolist()
    path = write(tmp_path / "areas.json", document)
    with pytest.raises(AreaError, match="margin line does not part") as caught:
        load_areas(path, evaluation)
    assert caught.value.subject == str(path)


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"runs": [0, "x"]}, "Area occlusal has 'x' in its runs"),
        ({"runs": [0, 2.5]}, "Area occlusal has 2.5 in its runs"),
        ({"runs": [0, True]}, "Area occlusal has True in its runs"),
        ({"runs": [0, 10**30]}, "Area occlusal has 1000"),
        ({"runs": [0, 5, 7]}, "Area occlusal has 3 numbers"),
        ({"runs": [5, 10**9]}, "Area occlusal has 1000000000 in its runs"),
        ({"runs": "all"}, "Area occlusal has 'all' for runs"),
        ({"design_vertices": [3, -1]}, "Area occlusal has -1 in its design_vertices"),
        ({"origin": "user"}, "Area occlusal has neither runs nor design_vertices"),
    ],
)
def test_unusable_area_is_named_with_value_and_remedy(
    tmp_path: Path,
    document: dict[str, Any],
    evaluation: EvaluationMesh,
    entry: dict[str, Any],
    words: str,
) -> None:
    document["areas"]["occlusal"] = entry
    path = write(tmp_path / "areas.json", document)
    with pytest.raises(AreaError, match=words) as caught:
        load_areas(path, evaluation)
    assert caught.value.subject == str(path)
    assert "delete it to have it found" in caught.value.remedy


def test_run_beyond_the_points_is_said(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    count = len(evaluation.points)
    document["areas"]["occlusal"]["runs"] = [count - 5, 6]
    with pytest.raises(AreaError, match=f"a run of 6 points from {count - 5} on"):
        load_areas(write(tmp_path / "areas.json", document), evaluation)


def test_another_designs_file_is_refused(tmp_path: Path, area_set: AreaSet) -> None:
    path = save_areas(tmp_path / "areas.json", area_set)
    other = evaluation_mesh(demo_crown(0.35).mesh, 0.2)
    with pytest.raises(AreaError, match="another design") as caught:
        load_areas(path, other)
    assert "find the areas anew" in caught.value.remedy
    assert caught.value.subject == str(path)


@pytest.mark.parametrize("text", ["", "{", "[1, 2]", '{"format": "something else"}', "null"])
def test_files_of_other_kinds_are_refused(
    tmp_path: Path, evaluation: EvaluationMesh, text: str
) -> None:
    path = tmp_path / "areas.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(AreaError, match="Choose an areas file"):
        load_areas(path, evaluation)


@pytest.mark.parametrize(
    ("where", "value"),
    [
        (("version",), 99),
        (("areas", "occlusal", "runs"), [0, 10**9]),
        (("areas", "occlusal", "runs"), [1, 2, 3]),
        (("areas", "occlusal", "runs"), "all"),
        (("areas", "occlusal"), 5),
        (("areas",), [1]),
        (("areas", "tips"), {"design_vertices": [-1]}),
        (("areas", "tips"), {"design_vertices": [10**9]}),
        (("areas", "tips"), {"design_vertices": [[1, 2]]}),
        (("areas", "tips"), {}),
        (("settings", "margin_band_mm"), -1),
        (("settings", "margin_band_mm"), "wide"),
        (("settings", "unknown"), 1),
        (("insertion",), [0, 0]),
        (("insertion",), [0, 0, None]),
        (("margin_line", "points_mm"), [[0, 0, 0]]),
        (("margin_line", "points_mm"), [[0, 0], [1, 1], [2, 2]]),
        (("margin_line", "points_mm"), [[0, 0, None]] * 5),
        (("margin_line", "points_mm"), [[0, 0, "x"]] * 5),
        (("margin_line",), 5),
        (("point_count",), 7),
        (("point_count",), 10**13),
        (("point_count",), float("inf")),
        (("spacing_mm",), -1),
        (("spacing_mm",), float("nan")),
        (("missing",), 3),
    ],
)
def test_broken_entries_are_refused(
    tmp_path: Path,
    document: dict[str, Any],
    evaluation: EvaluationMesh,
    where: tuple[str, ...],
    value: Any,
) -> None:
    entry = document
    for key in where[:-1]:
        entry = entry[key]
    entry[where[-1]] = value
    with pytest.raises(AreaError):
        load_areas(write(tmp_path / "areas.json", document), evaluation)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("point_count", 7),
        ("point_count", 10**13),
        ("spacing_mm", 1e-9),
        ("spacing_mm", -1),
        ("design_checksum", "0"),
    ],
)
def test_broken_entries_of_version_1_are_refused(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh, key: str, value: Any
) -> None:
    with pytest.raises(AreaError):
        load_areas(
            write(tmp_path / "areas.json", as_version_1(document) | {key: value}), evaluation
        )


def test_missing_file_and_folder_are_said(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    with pytest.raises(AreaError, match=r"none\.json"):
        load_areas(tmp_path / "none.json", evaluation)
    with pytest.raises(FileError):
        save_areas(tmp_path / "nowhere" / "areas.json", area_set)


# One design, however its vertices and triangles are sorted ------------------------------------


def as_version_1(document: dict[str, Any]) -> dict[str, Any]:
    """The same file as the first version wrote it: it counts on the order of the vertices."""
    new = ("points_mm", "design_vertex_count", "design_area_mm2")
    return {name: value for name, value in document.items() if name not in new} | {"version": 1}


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
