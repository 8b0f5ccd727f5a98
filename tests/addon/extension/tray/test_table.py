"""All crowns in a table: what it shows, in which order, and what goes out of it."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call
from trays import BROKEN, add_broken, result


def rows(case: SimpleNamespace) -> list[Any]:
    return case.part("addon.check.all_scans").rows_of(case.scene)


def shown(case: SimpleNamespace) -> list[str]:
    """The names in the list as Blender shows them, from top to bottom."""
    panel = case.part("addon.panels.crowns")
    this = SimpleNamespace(filter_name="", bitflag_filter_item=1)
    flags, places = panel.CrownList.filter_items(this, case.bpy.context, case.settings, "scans")
    items = case.settings.scans
    assert sorted(places) == list(range(len(items)))
    order = sorted(range(len(items)), key=lambda number: places[number])
    return [items[number].scan.name for number in order if flags[number]]


def test_a_row_says_what_the_result_says(checked_tray: SimpleNamespace) -> None:
    for row, scan in zip(rows(checked_tray), checked_tray.scans, strict=True):
        check = result(checked_tray, scan)["check"]
        assert (row.name, row.group) == (scan.name, scan.name.split()[0])
        found = {v.area: (v.verdict, v.mean_abs_um) for v in row.verdicts}
        assert found == {
            v["area"]: (v["verdict"], v["mean_abs_um"] if v["mean_abs_um"] else math.nan)
            for v in check["verdicts"]
        }
        deciding = [v for v in check["verdicts"] if v["verdict"] == row.status]
        worst = max(deciding, key=lambda v: v["mean_abs_um"] / v["tolerance_um"])
        assert row.worst.area == worst["area"]


def test_sorted_and_chosen(checked_tray: SimpleNamespace) -> None:
    case, crowns = checked_tray, checked_tray.settings.crowns
    names = [scan.name for scan in case.scans]
    assert shown(case) == names
    broken = add_broken(case, 0)
    case.settings.scans[0].group = "printed"
    call(case, "check_all")
    assert shown(case)[0] == BROKEN
    crowns.sort_by = "NAME"
    assert shown(case) == sorted([*names, BROKEN])
    crowns.sort_by, crowns.area = "AREA", "margin"
    margins = {row.name: row.of_area("margin").mean_abs_um for row in rows(case)[1:]}
    assert shown(case) == [*sorted(names, key=lambda name: -margins[name]), BROKEN]
    crowns.sort_by = "VERDICT"
    assert shown(case)[0] == BROKEN
    crowns.group = "printed"
    assert set(shown(case)) == {BROKEN, "Printed 1", "Printed 2"}
    crowns.status = "failed"
    assert shown(case) == [BROKEN]
    assert "no faces" in broken.cuspwise.problem
    crowns.group = "milled"
    assert shown(case) == []


def test_choosing_a_crown_shows_its_map(checked_tray: SimpleNamespace) -> None:
    case = checked_tray
    assert case.settings.show_colours  # as after Check Crown
    for number in (2, 0, 3):
        case.settings.scan_index = number
        coloured = [scan.name for scan in case.scans if scan.cuspwise.coloured]
        assert coloured == [case.scans[number].name]


def test_out_of_date_is_not_passed_on_as_if_it_were_not(
    checked_tray: SimpleNamespace, tmp_path: Path
) -> None:
    case, file = checked_tray, tmp_path / "tray.csv"
    case.scans[1].location.x += 1.0
    case.bpy.context.view_layer.update()
    assert rows(case)[1].status == "out_of_date"
    assert call(case, "export_crowns", filepath=str(file)) == {"FINISHED"}
    lines = list(csv.DictReader(file.read_text(encoding="utf-8-sig").splitlines()))
    old = [line for line in lines if line["crown"] == case.scans[1].name]
    assert [line["crown_verdict"] for line in old] == ["not_checked"]
    assert "out of date" in old[0]["reason"]
    assert old[0]["mean_abs_um"] == ""


def test_the_table_as_a_file(checked_tray: SimpleNamespace, tmp_path: Path) -> None:
    """A line for each crown and area, with the numbers of the results."""
    case, file = checked_tray, tmp_path / "tray.csv"
    add_broken(case, 4)
    call(case, "check_all")
    assert call(case, "export_crowns", filepath=str(file)) == {"FINISHED"}
    lines = list(csv.DictReader(file.read_text(encoding="utf-8-sig").splitlines()))
    for scan in case.scans:
        own = {line["area"]: line for line in lines if line["crown"] == scan.name}
        for verdict in result(case, scan)["check"]["verdicts"]:
            line = own[verdict["area"]]
            assert line["verdict"] == verdict["verdict"]
            assert float(line["mean_abs_um"]) == pytest.approx(verdict["mean_abs_um"], abs=5e-3)
    assert [line["reason"] for line in lines if line["crown"] == BROKEN] == [
        "It has no faces. Choose another object."
    ]


def test_the_table_as_a_page(checked_tray: SimpleNamespace) -> None:
    case = checked_tray
    assert call(case, "open_crowns") == {"FINISHED"}
    page = Path(case.bpy.app.tempdir) / "all_crowns" / "tray.html"
    text = page.read_text(encoding="utf-8")
    assert all(scan.name in text for scan in case.scans)


def test_nothing_to_copy_before(tray: SimpleNamespace) -> None:
    for name in ("copy_crowns", "open_crowns"):
        with pytest.raises(RuntimeError, match="Check the crowns first"):
            call(tray, name)


def test_the_panel_draws(checked_tray: SimpleNamespace) -> None:
    """Every label of the table is there, numbers whole."""
    case = checked_tray
    add_broken(case, 4)
    call(case, "check_all")
    case.settings.scan_index = 0
    words = case.part("addon.check.crown_rows")
    row = rows(case)[0]
    assert words.sum_of(rows(case)).startswith("5 crowns: 1 could not be checked, ")
    number = f"{row.worst.mean_abs_um:.1f}"
    assert words.short(row).startswith(number)
