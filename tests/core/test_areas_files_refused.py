"""Areas files that cannot be used: what is wrong is named, with what to do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.areas.files import load_areas, save_areas
from cuspwise.standalone_core.errors import AreaError, FileError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from made.crowns import demo_crown
from made.saved_areas import as_version_1, crown_areas, crown_document, crown_points, write


@pytest.fixture(scope="module")
def evaluation() -> EvaluationMesh:
    return crown_points()


@pytest.fixture(scope="module")
def area_set() -> AreaSet:
    return crown_areas()


@pytest.fixture
def document() -> dict[str, Any]:
    return crown_document()


def test_margin_line_that_parts_nothing_is_refused(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    points = document["margin_line"]["points_mm"]
    document["margin_line"] = {"closed": False, "points_mm": points[:20]}
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
