"""Areas files: what is saved comes back, what somebody changed counts, the rest follows."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import Area, AreaSet, AreaSettings
from cuspwise.standalone_core.areas.files import areas_document, load_areas, save_areas
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from made.crowns import demo_crown
from made.saved_areas import SETTINGS, crown_areas, crown_document, crown_points, overlap, write


@pytest.fixture(scope="module")
def evaluation() -> EvaluationMesh:
    return crown_points()


@pytest.fixture(scope="module")
def area_set() -> AreaSet:
    return crown_areas()


@pytest.fixture
def document() -> dict[str, Any]:
    return crown_document()


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
