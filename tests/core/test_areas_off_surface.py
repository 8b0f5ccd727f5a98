"""Margin lines and places off the design's surface are refused at once, with how far and why."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import AreaSet, MarginLine
from cuspwise.standalone_core.areas.completion import completed_steps
from cuspwise.standalone_core.areas.files import load_areas
from cuspwise.standalone_core.areas.off_surface import MOST_LINE_POINTS, OFF_SURFACE_MM
from cuspwise.standalone_core.errors import AreaError, OtherDesignError
from cuspwise.standalone_core.mesh.refine import EvaluationMesh
from cuspwise.standalone_core.progress import run
from made.saved_areas import crown_areas, crown_document, crown_points, overlap, write


@pytest.fixture(scope="module")
def evaluation() -> EvaluationMesh:
    return crown_points()


@pytest.fixture(scope="module")
def area_set() -> AreaSet:
    return crown_areas()


@pytest.fixture
def document() -> dict[str, Any]:
    return crown_document()


def refused(path: Path, document: dict[str, Any], evaluation: EvaluationMesh) -> AreaError:
    """The error of loading a document; unchecked it would take minutes, or terabytes."""
    file = write(path / "areas.json", document)
    with pytest.raises(AreaError) as caught:
        load_areas(file, evaluation)
    assert caught.value.subject == str(file)
    return caught.value


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (25.4, "25.4 times what they should be (inches for millimetres)"),
        (1000.0, "1000 times what they should be"),
        (0.001, "1/1000 what they should be"),
        (1 / 25.4, "1/25.4 what they should be (millimetres for inches)"),
        (1e9, ""),
        (1e300, ""),
    ],
)
def test_line_in_another_unit_is_refused_with_its_distance(
    tmp_path: Path,
    document: dict[str, Any],
    evaluation: EvaluationMesh,
    factor: float,
    words: str,
) -> None:
    points = factor * np.array(document["margin_line"]["points_mm"])
    document["margin_line"]["points_mm"] = points.tolist()
    problem = refused(tmp_path, document, evaluation)
    assert "The margin line lies off the design's surface" in problem.reason
    assert f"at {len(points):,} of its {len(points):,} points" in problem.reason
    assert "0.5 mm are allowed" in problem.reason
    assert words in problem.reason
    if 1.0 < factor < 1e6:
        told = float(problem.reason.split("at most by ")[1].split(" mm")[0])
        apart = np.linalg.norm(points[:, None] - evaluation.points[::7], axis=2).min(axis=1).max()
        assert told == pytest.approx(apart, rel=0.01)


def test_line_of_a_moved_design_is_said_to_be_moved(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    points = np.array(document["margin_line"]["points_mm"])
    document["margin_line"]["points_mm"] = (points + np.array([0.0, 0.0, 30.0])).tolist()
    assert "probably moved" in refused(tmp_path, document, evaluation).reason


@pytest.mark.parametrize("off_mm", [0.3, 0.45, 0.55, 3.0])
def test_a_line_may_lie_half_a_millimetre_off(
    area_set: AreaSet, evaluation: EvaluationMesh, off_mm: float
) -> None:
    """Moved straight down from the rim, each point lies as far off as it was moved."""
    assert area_set.margin_line is not None
    points = area_set.margin_line.points_mm - [0.0, 0.0, off_mm]
    held = AreaSet(evaluation, {}, MarginLine(points, origin="user"), settings=area_set.settings)
    if off_mm > OFF_SURFACE_MM:
        with pytest.raises(AreaError, match="lies off the design's surface") as caught:
            run(completed_steps(held))
        told = float(caught.value.reason.split("at most by ")[1].split(" mm")[0])
        assert off_mm - 0.06 < told <= off_mm + 1e-3
        return
    found = run(completed_steps(held))
    assert overlap(found, found["intaglio"].points, area_set["intaglio"].points) > 0.97


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (np.zeros((MOST_LINE_POINTS + 1, 3)), "100,001 points"),
        (np.zeros((2, 3)), "2 points"),
        (np.full((5, 3), np.nan), "not finite"),
        (np.full((5, 3), np.inf), "not finite"),
    ],
)
def test_lines_of_no_use_are_refused(
    evaluation: EvaluationMesh, points: np.ndarray, words: str
) -> None:
    held = AreaSet(evaluation, {}, MarginLine(points, origin="user"))
    with pytest.raises(AreaError, match=words):
        run(completed_steps(held))


def test_line_that_jumps_to_and_fro_is_refused(
    area_set: AreaSet, evaluation: EvaluationMesh
) -> None:
    """Every point lies on the margin, but their order is lost: the line is hundreds of mm long."""
    assert area_set.margin_line is not None
    order = np.random.default_rng(1).permutation(len(area_set.margin_line.points_mm))
    held = AreaSet(evaluation, {}, MarginLine(area_set.margin_line.points_mm[order], origin="user"))
    with pytest.raises(AreaError, match="probably not in order"):
        run(completed_steps(held))


def test_a_file_whose_places_were_all_scaled_says_so(
    tmp_path: Path, document: dict[str, Any], evaluation: EvaluationMesh
) -> None:
    """Also where its checksum still is the design's: areas would be those of other places."""
    document["points_mm"] = (25.4 * np.array(document["points_mm"])).tolist()
    problem = refused(tmp_path, document, evaluation)
    assert isinstance(problem, OtherDesignError)
    assert "25.4 times what they should be" in problem.reason


@pytest.mark.parametrize(
    ("centre", "radius", "words"),
    [
        ([0.0, 0.0, 1e9], 0.5, "Area support: 1 cannot be placed"),
        ([0.0, 0.0, 1e9], 1e10, "the design's diagonal"),
        ([0.0, 0.0, float("nan")], 0.5, "three finite numbers"),
        ([0.0, 0.0], 0.5, "three finite numbers"),
        ([0.0, 0.0, 0.0], -1.0, "a radius above 0"),
        ([0.0, 0.0, 0.0], float("nan"), "a radius above 0"),
        ("top × 25.4", 0.5, "25.4 times what they should be"),
    ],
)
def test_places_off_the_surface_are_refused(
    tmp_path: Path,
    document: dict[str, Any],
    evaluation: EvaluationMesh,
    centre: Any,
    radius: float,
    words: str,
) -> None:
    if isinstance(centre, str):
        top = evaluation.points[evaluation.points[:, 2].argmax()]
        centre = (25.4 * top).tolist()
    document["areas"]["support: 1"] = {"centre_mm": centre, "radius_mm": radius}
    assert words in refused(tmp_path, document, evaluation).reason
