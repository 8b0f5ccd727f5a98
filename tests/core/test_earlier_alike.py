"""Whether an earlier study was measured alike: design, settings, areas; what differs is named."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import cuspwise
import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.deviation.settings import DeviationSettings
from cuspwise.standalone_core.study.analysis.earlier_alike import (
    JUDGES_ONLY,
    OTHER_AREAS,
    OTHER_DESIGN,
    OTHER_SETTINGS,
)
from cuspwise.standalone_core.study.file.check_sections import MEASURING, SUPERIMPOSITION
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.earlier_studies import as_earlier, scanned
from made.study_runs import study

NOW = {"a": {"whole": [9.0, 10.0, 12.0], "margin": [14.0, 13.0, 15.0]}}
BEFORE = {"a": {"whole": [8.0, 9.0, 9.5], "margin": [10.0, 11.0, 12.0]}}


def now() -> StudyRun:
    return scanned(study(NOW), "now")


def with_check(run: StudyRun, **changes: Any) -> StudyRun:
    return replace(run, plan=replace(run.plan, check=replace(run.plan.check, **changes)))


def compared(
    folder: Path,
    change: Callable[[dict[str, Any]], object] | None = None,
    run: StudyRun | None = None,
) -> cuspwise.EarlierComparison:
    """A study against an earlier one whose document was changed."""
    earlier = as_earlier(scanned(study(BEFORE), "earlier"), folder, change)
    return cuspwise.against_earlier(run or now(), earlier)


def test_studies_that_were_measured_alike_are_compared(tmp_path: Path):
    found = compared(tmp_path)
    assert (found.why_not, found.remedy) == ((), "")
    assert {row.area for row in found.rows} == {"whole", "margin"}


def test_another_design_is_named_with_both(tmp_path: Path):
    def change(document):
        document["measured_on"]["design_checksum"] = "f" * 64
        document["design"] |= {"name": "old.stl", "triangles": 123456}

    found = compared(tmp_path, change)
    (reason,) = found.why_not
    name = now().design.mesh.name
    assert f"old.stl (123,456 triangles) earlier, {name} (2 triangles) now" in reason
    assert found.remedy == OTHER_DESIGN
    assert found.rows == found.tolerances == ()


def test_the_same_design_under_another_name_or_format_is_the_same(tmp_path: Path):
    def change(document):
        document["design"] |= {"name": "other.ply", "sha256": "e" * 64}

    assert not compared(tmp_path, change).why_not


COUNTING = {
    "spacing_mm": (0.2, "Largest distance between measuring points, mm (spacing_mm): 0.2"),
    "weighted": (False, "Weigh points by area, not all alike (weighted): false"),
    "ignore_loose_pieces": (True, "(ignore_loose_pieces): true"),
    "fit_areas": (["occlusal"], "(fit_areas): [occlusal]"),
}


@pytest.mark.parametrize("name", COUNTING)
def test_a_setting_that_changes_numbers_is_named_with_both_values(tmp_path: Path, name: str):
    value, words = COUNTING[name]
    found = compared(tmp_path, lambda document: document["plan"]["check"].update({name: value}))
    (reason,) = found.why_not
    assert f"{words} earlier, " in reason
    assert reason.endswith(" now.")
    assert found.remedy == OTHER_SETTINGS


@pytest.mark.parametrize("part", ["superimpose", "deviation"])
def test_every_setting_of_measuring_counts_or_is_known_to_judge_only(tmp_path: Path, part: str):
    kind = {"superimpose": SuperimposeSettings, "deviation": DeviationSettings}[part]
    names = [one.name for one in fields(kind) if not one.name.startswith("landmarks")]
    for name in names:
        found = compared(tmp_path, lambda doc, name=name: doc["plan"]["check"][part].pop(name))
        told = [text for text in (*found.why_not, *found.notes) if f"({name}): not noted" in text]
        assert len(told) == 1, name
        assert bool(found.why_not) == (name not in JUDGES_ONLY), name
        assert bool(found.rows) == (name in JUDGES_ONLY), name


def test_settings_that_only_judge_are_all_of_measuring():
    known = {key.name for key in (*MEASURING.keys, *SUPERIMPOSITION.keys)}
    assert known > JUDGES_ONLY


def test_all_settings_that_differ_are_named_at_once(tmp_path: Path):
    def change(document):
        document["plan"]["check"]["spacing_mm"] = 0.3
        document["plan"]["check"]["deviation"]["search_mm"] = 2.5
        document["measured_on"]["design_checksum"] = ""

    found = compared(tmp_path, change)
    assert len(found.why_not) == 2
    assert "(spacing_mm): 0.3 earlier, 0.1 now." in found.why_not[1]
    assert "(search_mm): 2.5 earlier, 1.0 now." in found.why_not[1]
    assert found.remedy == f"{OTHER_DESIGN} {OTHER_SETTINGS}"
    assert found.lines[0].endswith(found.remedy)


def test_landmarks_count_only_where_no_best_fit_follows(tmp_path: Path):
    def on_landmarks(points: list[list[float]], *, refine: bool) -> StudyRun:
        chosen = SuperimposeSettings(
            start="landmarks",
            landmarks_scan_mm=points,
            landmarks_design_mm=points,
            refine=refine,
        )
        return with_check(now(), superimpose=chosen)

    points = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]
    others = [[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [0.0, 1.0, 0.0]]
    for refine in (True, False):
        for before, same in ((points, True), (others, False)):
            earlier = as_earlier(scanned(on_landmarks(before, refine=refine), "earlier"), tmp_path)
            found = cuspwise.against_earlier(on_landmarks(points, refine=refine), earlier)
            assert bool(found.why_not) == (not refine and not same)


def with_margin(run: StudyRun, inside: list[bool]) -> StudyRun:
    old = run.area_set
    areas = {**old.areas, "margin": Area("margin", np.array(inside))}
    return replace(run, area_set=AreaSet(old.evaluation, areas))


def test_an_area_of_other_points_is_left_out_with_both_sizes(tmp_path: Path):
    run = with_margin(now(), [True, False, False, True])
    found = compared(tmp_path, run=run)
    assert not found.why_not
    assert {row.area for row in found.rows} == {"whole"}
    sizes = now().area_set.area_mm2("margin"), run.area_set.area_mm2("margin")
    (note,) = (text for text in found.notes if "margin" in text)
    assert "not made of the same measuring points" in note
    assert f"({sizes[0]:.2f} mm² earlier, {sizes[1]:.2f} mm² now)" in note


def test_how_an_area_came_about_does_not_matter(tmp_path: Path):
    def change(document):
        document["plan"]["check"]["areas_file"] = "areas.json"
        document["plan"]["check"]["areas"]["margin_band_mm"] = 3.0

    assert not compared(tmp_path, change).why_not


def test_without_a_common_area_nothing_is_compared(tmp_path: Path):
    found = compared(tmp_path, lambda document: document["measured_on"].update(areas={}))
    (reason,) = found.why_not
    assert reason.startswith("No area is the same. Not compared: the whole crown, which is not")
    assert found.remedy == OTHER_AREAS


def test_a_best_fit_on_another_area_is_another_measuring(tmp_path: Path):
    run = with_check(now(), fit_areas=("margin",))

    def change(document):
        document["plan"]["check"]["fit_areas"] = ["margin"]

    assert not compared(tmp_path, change, run).why_not
    moved = with_margin(run, [True, False, False, True])
    (reason,) = compared(tmp_path, change, moved).why_not
    assert reason.startswith("The best fit ran on another area.")


def test_what_an_earlier_plan_analysed_does_not_matter(tmp_path: Path):
    """Its file holds every measure of every area, whatever it compared itself."""

    def change(document):
        document["plan"] |= {"measures": ["hausdorff_um"], "areas": ["whole"]}
        document["plan"]["analysis"] |= {"lead": "ranks", "confidence": 0.5}

    found = compared(tmp_path, change)
    assert {row.measure for row in found.rows} == {"mean_abs_um", "rms_um"}
    assert {row.test.confidence for row in found.rows} == {0.95}
    assert all(math.isfinite(row.test.p) for row in found.rows)
