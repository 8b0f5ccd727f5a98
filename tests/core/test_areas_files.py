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


def test_margin_line_that_parts_nothing_is_refused(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    line = document["margin_line"]["points_mm"]
    document["margin_line"] = {"origin": "user", "closed": False, "points_mm": line[:20]}
    with pytest.raises(AreaError, match="does not part"):
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
        (("point_count",), 7),
        (("point_count",), 10**13),
        (("spacing_mm",), 1e-9),
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


def test_missing_file_and_folder_are_said(
    tmp_path: Path, area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    with pytest.raises(AreaError, match=r"none\.json"):
        load_areas(tmp_path / "none.json", evaluation)
    with pytest.raises(FileError):
        save_areas(tmp_path / "nowhere" / "areas.json", area_set)
