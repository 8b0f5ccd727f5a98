"""A study's crowns, each with its own numbers and map on its scan: those of Check Crown."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call
from studies import core_run, out_of_date

SAME_UM = 1e-3
SAME_MM = 3e-6  # of single points: the study's files are of single precision
MEASURES = ("mean_um", "mean_abs_um", "rms_um", "half_p90_p10_um")


@pytest.fixture
def strewn(listed: SimpleNamespace) -> SimpleNamespace:
    """The listed scans and their design, moved and turned, each its own way."""
    scans = [item.scan for item in listed.settings.scans]
    for number, scan in enumerate(scans):
        scan.location = (20.0 + 13.0 * number, -7.0, 3.0)
        scan.rotation_euler = (0.3, -1.0, 2.0 * number)
    listed.settings.design.rotation_euler = (0.1, 0.2, 0.3)
    listed.bpy.context.view_layer.update()
    return SimpleNamespace(**vars(listed), scans=scans, design=listed.settings.design)


def result(case: SimpleNamespace, scan: Any) -> Any:
    return case.part("addon.check.store").result_of(scan)


def numbers(kept: Any) -> np.ndarray:
    """All measures of a result in µm, (row, measure), both directions, area by area."""
    rows = kept["check"]["measures"]
    return np.array([[row[name] or math.nan for name in MEASURES] for row in rows])


def judged(kept: Any) -> list[Any]:
    """Verdicts and warnings of a result."""
    rows = [(row["area"], row["verdict"], row["reason"]) for row in kept["check"]["verdicts"]]
    return [*rows, kept["check"]["warnings"], len(kept["check"]["patches"])]


def ids(case: SimpleNamespace) -> list[str]:
    return [scan.cuspwise.result_id for scan in case.scans]


def poses(case: SimpleNamespace) -> np.ndarray:
    return np.array([scan.matrix_world for scan in case.scans])


def test_they_are_those_of_check_crown_and_of_the_study(strewn: SimpleNamespace) -> None:
    store, scans = strewn.part("addon.check.store"), strewn.scans
    assert call(strewn, "run_study") == {"FINISHED"}
    assert out_of_date(strewn) == ""
    assert [scan.cuspwise.state for scan in scans] == ["CURRENT"] * 4
    run = core_run(strewn, strewn.folder / "study.toml", strewn.folder / "study_results")
    assert run.reused > 0
    found, laid = [result(strewn, scan) for scan in scans], poses(strewn)
    for kept, crown in zip(found, run.crowns, strict=True):
        rows = [(row["area"], row["direction"], row["rms_um"]) for row in kept["check"]["measures"]]
        own = [(row.area, row.direction, row.rms_um) for row in crown.measures]
        assert [row[:2] for row in rows] == [row[:2] for row in own]
        theirs = np.array([row[2] or math.nan for row in rows])
        assert np.array_equal(theirs, [row[2] for row in own], equal_nan=True)
    for number in (0, 3):
        strewn.settings.scan_index = number
        points = store.points_of(scans[number])[0]
        call(strewn, "restore_position")
        assert call(strewn, "check_crown") == {"FINISHED"}
        fresh = result(strewn, scans[number])
        assert np.nanmax(np.abs(numbers(found[number]) - numbers(fresh))) <= SAME_UM
        assert judged(found[number]) == judged(fresh)
        again = store.points_of(scans[number])[0]
        assert np.array_equal(np.isnan(points), np.isnan(again))
        assert np.nanmax(np.abs(points - again)) <= SAME_MM
        assert np.abs(poses(strewn)[number] - laid[number]).max() < 1e-4


def test_neither_is_measured_again(strewn: SimpleNamespace) -> None:
    """Check All and a second study find all of them current; a scan that was moved is not.

    They lie in each other: one is coloured and seen alone, until that ends; a map that is shown
    already stays.
    """
    strewn.settings.scan_index = 2
    call(strewn, "run_study")
    assert [scan.hide_get() for scan in strewn.scans] == [True, True, False, True]
    assert strewn.design.hide_get()
    assert strewn.scans[2].cuspwise.coloured
    call(strewn, "remove_colour_map")
    assert not any(obj.hide_get() for obj in (*strewn.scans, strewn.design))
    before = ids(strewn)
    call(strewn, "check_all")
    call(strewn, "run_study")
    assert ids(strewn) == before
    assert not any(scan.cuspwise.coloured for scan in strewn.scans)
    call(strewn, "show_group_map")
    strewn.scans[2].location.x += 1.0
    strewn.bpy.context.view_layer.update()
    assert strewn.scans[2].cuspwise.state == "OUT_OF_DATE"
    call(strewn, "run_study")
    assert [now == then for now, then in zip(ids(strewn), before, strict=True)] == [1, 1, 0, 1]
    assert strewn.settings.study.shown
    assert all(scan.hide_get() for scan in strewn.scans)


def test_a_study_from_where_scans_lie_outlives_laying_them_down(strewn: SimpleNamespace) -> None:
    call(strewn, "check_all")
    strewn.settings.start = "in_place"
    for number, scan in enumerate(strewn.scans):
        scan.location.x += 0.01 * (number + 1)
    strewn.bpy.context.view_layer.update()
    before = poses(strewn)
    call(strewn, "run_study")
    assert np.abs(poses(strewn) - before)[:, 0, 3].max() > 1e-3
    store = strewn.part("addon.study.study_store")
    assert (out_of_date(strewn), store.refresh(strewn.scene)) == ("", "")
    strewn.scans[1].location.x += 0.01
    assert "moved" in out_of_date(strewn)


def test_left_alone_where_that_was_chosen(strewn: SimpleNamespace) -> None:
    before = poses(strewn)
    strewn.settings.study.keep_crowns = False
    assert call(strewn, "run_study") == {"FINISHED"}
    assert np.array_equal(poses(strewn), before)
    assert ids(strewn) == [""] * 4


def test_one_that_is_left_out_says_why(strewn: SimpleNamespace) -> None:
    """A cube is no crown of this design."""
    bpy = strewn.bpy
    other = strewn.scans[1]
    vertices = np.array([[x, y, z] for x in (0, 9) for y in (0, 9) for z in (0, 9)], dtype=float)
    faces = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
    cube = bpy.data.meshes.new("Cube")
    cube.from_pydata(vertices.tolist(), [], faces)
    other.data = cube
    strewn.settings.scan_index = 1
    call(strewn, "run_study")
    assert strewn.settings.scan_index == 0  # the first that has numbers, to be seen alone
    assert [scan.hide_get() for scan in strewn.scans] == [False, True, True, True]
    assert [scan.cuspwise.state for scan in strewn.scans] == ["CURRENT", "NONE"] + ["CURRENT"] * 2
    kept = strewn.part("addon.study.study_store").study_of(strewn.scene)
    assert [row["name"] for row in kept["left_out"]] != []
    assert kept["left_out"][0]["reason"] in other.cuspwise.problem
