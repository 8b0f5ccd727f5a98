"""A check's files are written whole or not at all, whatever was measured."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.deviation.measures import measure_areas
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.deviation.verdict import judge, with_verdicts
from cuspwise.standalone_core.errors import ReportError
from cuspwise.standalone_core.report.check import output as report_files
from cuspwise.standalone_core.report.check.output import write_check, write_check_steps
from cuspwise.standalone_core.report.check.terminal import check_view
from cuspwise.standalone_core.superimpose.result import (
    RivalPose,
    WeakDirection,
)
from made.check_results import Reader, make_result
from rich.console import Console


@pytest.fixture(scope="module")
def result() -> CheckResult:
    return make_result()


def test_writing_again_replaces_and_leaves_other_files_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "pictures").mkdir()
    (tmp_path / "pictures" / "occlusal.png").write_bytes(b"of an earlier check")
    (tmp_path / "pictures" / "mine.png").write_bytes(b"mine")
    for name in ("exceedances.csv", "contacts.csv"):  # what patches and marks were called
        (tmp_path / name).write_text("of an earlier version", encoding="utf-8")
    for _ in range(2):
        files = write_check(make_result(), tmp_path, pictures="no")
    assert {p.name for p in files} == {
        *("check.html", "check.json", "deviation_design.ply", "deviation_scan.ply"),
        *("patches.csv", "measures.csv", "README.csv"),
    }
    assert {p.name for p in tmp_path.iterdir()} == {p.name for p in files} | {
        "notes.txt",
        "pictures",
    }
    assert [p.name for p in (tmp_path / "pictures").iterdir()] == ["mine.png"]


@pytest.mark.parametrize("moment", ["page", "surfaces", "closed"])
def test_an_interrupt_leaves_the_folder_as_it_was(
    result: CheckResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str
) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    target = tmp_path / "deep" / "out"
    if moment == "closed":
        steps = write_check_steps(result, target, pictures="no")
        for _ in range(3):
            next(steps)
        steps.close()
    else:
        name = {"page": "_write_page", "surfaces": "write_mesh"}[moment]
        monkeypatch.setattr(report_files, name, interrupt)
        with pytest.raises(KeyboardInterrupt):
            write_check(result, target, pictures="no")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_is_told_and_leaves_the_old_results(
    result: CheckResult, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_check(result, tmp_path, pictures="no")
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ReportError, match="No space left") as caught:
        write_check(result, tmp_path, pictures="no")
    assert str(tmp_path / "measures.csv") in str(caught.value)
    assert caught.value.remedy
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before


def test_a_file_in_the_way_is_told(result: CheckResult, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file", encoding="utf-8")
    with pytest.raises(ReportError, match="could not be written"):
        write_check(result, tmp_path / "out", pictures="no")


def test_nothing_measured_and_no_clear_position_still_make_a_page(
    result: CheckResult, tmp_path: Path
) -> None:
    count = len(result.design_to_scan)
    fields = [
        replace(field, deviation_mm=np.full(count, np.nan), status=np.ones(count, dtype=np.uint8))
        for field in result.fields
    ]
    fit = replace(
        result.superimposition,
        verdict="ambiguous",
        reason="Another pose fits nearly as well.",
        weak_directions=(
            WeakDirection("turning", np.eye(3)[2], np.zeros(3), 0.0, "turning about (0, 0, 1)"),
        ),
        rivals=(RivalPose(np.eye(4), 0.01, np.inf, 180.0, 0.1),),
    )
    measures = measure_areas(fields, result.area_set, result.settings.tolerances.tolerances_um)
    verdicts = judge(measures, fit, result.settings.tolerances)
    blind = replace(
        result,
        superimposition=fit,
        design_to_scan=fields[0],
        scan_to_design=fields[1],
        measures=with_verdicts(measures, verdicts),
        verdicts=verdicts,
        patches=(),
    )
    write_check(blind, tmp_path, pictures="no")
    text = Reader((tmp_path / "check.html").read_text(encoding="utf-8")).text
    assert "Not decidable: whole crown, occlusal and margin" in text
    assert "The scan fits its design in more than one position." in text
    assert "Weakly held: turning about (0, 0, 1)." in text
    assert "nan" not in text.lower().split()
    document = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert document["superimposition"]["rivals"][0]["ratio"] is None
    console = Console(width=80, file=io.StringIO())
    console.print(check_view(blind))
    assert "Not decidable" in console.file.getvalue()


def test_no_tolerance_no_verdict_still_makes_a_page(result: CheckResult, tmp_path: Path) -> None:
    bare = Tolerances(tolerances_um={})
    settings = replace(result.settings, tolerances=bare)
    measures = measure_areas(result.fields, result.area_set, {})
    verdicts = judge(measures, result.superimposition, bare)
    free = replace(
        result, settings=settings, measures=measures, verdicts=verdicts, patches=(), warnings=()
    )
    write_check(free, tmp_path, pictures="no")
    text = Reader((tmp_path / "check.html").read_text(encoding="utf-8")).text
    assert "No verdict: no tolerance applies" in text
    Console(width=80, file=io.StringIO()).print(check_view(free))


def test_names_that_begin_like_formulas_are_quoted_in_a_checks_tables(tmp_path: Path) -> None:
    name = '=HYPERLINK("x")'
    write_check(make_result(area=name), tmp_path, pictures="no")
    for file in ("measures.csv", "patches.csv"):
        with (tmp_path / file).open(encoding="utf-8-sig", newline="") as stream:
            rows = list(csv.DictReader(stream))
        cells = [cell for row in rows for cell in row.values()]
        # A patch's areas are listed in one cell, this one not first.
        assert f"'{name}" in cells or file == "patches.csv"
        assert any(name in cell for cell in cells), file
        assert not any(cell.startswith("=") for cell in cells)
        # Numbers stay numbers.
        negative = any(re.fullmatch(r"-\d+\.\d+", cell) for cell in cells)
        assert negative or file == "patches.csv"
