"""The table of all crowns: its order, its choice and its words. Needs no Blender."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from cuspwise.addon.check.crown_rows import (
    FAILED,
    GONE,
    NOT_CHECKED,
    OUT_OF_DATE,
    Row,
    areas_of,
    is_shown,
    measured,
    numbers,
    order_of,
    short,
    sum_of,
    wide_text,
)
from cuspwise.standalone_core.check import check_meshes
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.deviation.verdict import Verdict
from cuspwise.standalone_core.report.check.document import check_document
from cuspwise.standalone_core.tray.result import TrayCrown
from cuspwise.standalone_core.words.names import NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN

ANY = Verdict("", "", "", math.nan, math.nan, 1.0, "")


def crown(name: str, verdict: str, group: str = "", **about: tuple[str, float, float]) -> Row:
    """A crown with areas of (verdict, number, limit)."""
    found = tuple(area_verdict(area, *said) for area, said in about.items())
    return Row(name, group, verdict, "", TrayCrown("", "", "", found))


def area_verdict(area: str, verdict: str, mean_abs_um: float, limit_um: float) -> Verdict:
    return replace(ANY, area=area, verdict=verdict, mean_abs_um=mean_abs_um, tolerance_um=limit_um)


ROWS = [
    crown("M 10", WITHIN, "Milled", whole=(WITHIN, 12.0, 100.0), margin=(WITHIN, 45.0, 50.0)),
    crown("P 2", OUTSIDE, "Printed", whole=(WITHIN, 70.0, 100.0), margin=(OUTSIDE, 60.0, 50.0)),
    Row("P 3", "Printed", FAILED, "It has no faces.", None),
    crown("M 9", OUTSIDE, "Milled", whole=(OUTSIDE, 190.0, 100.0), margin=(OUTSIDE, 61.0, 50.0)),
    crown("M 1", NOT_DECIDABLE, "milled", whole=(NOT_DECIDABLE, math.nan, 100.0)),
    GONE,
    Row("P 1", "Printed", NOT_CHECKED, "", None),
]


def names(sort_by: str, area: str = "") -> list[str]:
    return [ROWS[number].name for number in order_of(ROWS, sort_by, area) if ROWS[number].name]


@pytest.mark.parametrize(
    ("sort_by", "area", "expected"),
    [
        ("LIST", "", ["M 10", "P 2", "P 3", "M 9", "M 1", "P 1"]),
        ("NAME", "", ["M 1", "M 9", "M 10", "P 1", "P 2", "P 3"]),
        ("VERDICT", "", ["P 3", "M 9", "P 2", "M 1", "P 1", "M 10"]),
        ("AREA", "whole", ["M 9", "P 2", "M 10", "P 3", "M 1", "P 1"]),
        ("AREA", "margin", ["M 9", "P 2", "M 10", "P 3", "M 1", "P 1"]),
    ],
)
def test_order(sort_by: str, area: str, expected: list[str]) -> None:
    assert names(sort_by, area) == expected


def test_choice_by_group_and_verdict() -> None:
    def shown(group: str, status: str) -> list[str]:
        return [row.name for row in ROWS if is_shown(row, group, status)]

    assert shown("", "") == [row.name for row in ROWS if row is not GONE]
    assert shown("milled", "") == ["M 10", "M 9", "M 1"]
    assert shown("", OUTSIDE) == ["P 2", "M 9"]
    assert shown("printed", FAILED) == ["P 3"]
    assert shown("printed", WITHIN) == []


def test_words() -> None:
    assert sum_of(ROWS) == (
        "6 crowns: 1 could not be checked, 2 outside, 1 not decidable, 1 not checked, 1 within."
    )
    assert sum_of(ROWS[:1]) == "1 crown: 1 within."
    assert [short(row) for row in ROWS if row is not GONE] == [
        "45.0 µm margin",  # 90 % of its limit, the whole crown 12 %
        "60.0 µm margin",  # the one that decides, though the whole crown's number is larger
        "no result",
        "190.0 µm whole crown",
        "whole crown",
        "not checked",
    ]
    assert numbers(area_verdict("margin", WITHIN, 45.0, 50.0)) == "45.0 of 50 µm"
    assert numbers(area_verdict("axial", NO_TOLERANCE, 7.24, math.nan)) == "7.2 µm"
    assert areas_of(ROWS) == ["whole", "margin"]


def test_as_wide_text() -> None:
    """A line for each crown; a crown without numbers keeps its line, and its reason."""
    lines = [line.split("\t") for line in wide_text(ROWS[1:3], "Molar").splitlines()]
    assert [len(line) for line in lines] == [12, 12, 12]
    assert lines[0][4:7] == ["whole crown (µm)", "whole crown", "whole crown limit"]
    assert lines[1][:7] == ["P 2", "Printed", "Molar", "outside", "70.00", "within", "100.00"]
    assert lines[1][7:10] == ["60.00", "outside", "50.00"]
    assert lines[2] == [
        *("P 3", "Printed", "Molar", "could not be checked"),
        *[""] * 7,
        "It has no faces.",
    ]


def test_out_of_date_comes_before_what_is_within() -> None:
    old = Row("old", "", OUT_OF_DATE, "It was moved.", ROWS[0].crown)
    assert order_of([ROWS[0], old, ROWS[1]], "VERDICT") == [2, 1, 0]
    assert short(old) == "45.0 µm margin"


def test_what_a_kept_result_says() -> None:
    """Numbers and verdicts of a real check, read back from its text; another version is none."""
    design = demo_crown(edge_mm=0.7)
    result = check_meshes(
        design.mesh, design.mesh.moved(_lifted(0.2)), CheckSettings(spacing_mm=0.7)
    )
    kept: dict[str, Any] = {"version": 4, "check": check_document(result)}
    found = measured(json.dumps(kept, default=str), 4)
    assert found is not None
    assert repr(found.verdicts) == repr(result.verdicts)  # NaN included
    assert (found.verdict, found.warnings) == (NOT_DECIDABLE, result.warnings)  # it is the design
    assert measured(json.dumps(kept, default=str), 5) is None
    assert measured("", 4) is None


def _lifted(mm: float) -> Any:
    import numpy as np

    motion = np.eye(4)
    motion[2, 3] = mm
    return motion
