"""``study.xlsx``: what the tables hold, read back by openpyxl; the same on every run."""

from __future__ import annotations

import io
import math
import zipfile
from pathlib import Path

import pytest
from cuspwise.standalone_core.cli.study import say_no_workbook
from cuspwise.standalone_core.report.study import output, workbook
from cuspwise.standalone_core.report.study.workbook import study_workbook
from cuspwise.standalone_core.report.tables.dictionary import dictionary
from cuspwise.standalone_core.report.tables.table import Table, table
from cuspwise.standalone_core.words.cautions import CAUTIONS
from made.study_fits import fitted_study

openpyxl = pytest.importorskip("openpyxl")

RUN, ANALYSIS = fitted_study()
ODD_CELLS = ("=1+1", "-3 µm", "#N/A", "a\x00b\udcff", "", None, math.nan, -0.0, 5e-324, True, 7)


@pytest.fixture(scope="module")
def tables() -> dict[str, Table]:
    found = output.study_tables(RUN) | output.analysis_tables(RUN, ANALYSIS)
    cells = table(("crown", "new"), [("c", cell) for cell in ODD_CELLS])
    long = table(("crown",), [("c",)] * (workbook.MOST_ROWS + 1))
    return {**found, "cells": cells, "precision": long}


@pytest.fixture(scope="module")
def data(tables: dict[str, Table]) -> bytes:
    return study_workbook(RUN, ANALYSIS, tables)


@pytest.fixture(scope="module")
def book(data: bytes):
    return openpyxl.load_workbook(io.BytesIO(data))


def test_the_first_sheet_says_what_the_study_is_and_the_cautions(book) -> None:
    about = book["Read me"]
    assert book.sheetnames[:2] == ["Read me", "Columns"]
    said = [row[1] for row in about.iter_rows(values_only=True)]
    assert said[:2] == [RUN.plan.title, RUN.plan.question]
    assert set(CAUTIONS) <= set(said)
    assert any(RUN.plan.groups[0].name in line and "5 crowns" in line for line in said)
    sheets = book.sheetnames[2:]
    assert all(any(line.split(":")[0] == name for line in said) for name in sheets)


def test_every_sheet_holds_its_table_number_by_number(book, tables: dict[str, Table]) -> None:
    assert "precision" not in book.sheetnames  # too long
    assert {"comparisons", "descriptions", "fit", "fit_comparisons"} <= set(book.sheetnames)
    count = 0
    for name in book.sheetnames[2:]:
        sheet, held = book[name], tables[name]
        assert [cell.value for cell in sheet[1]] == list(held.columns)
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref == sheet.dimensions
        for found, row in zip(sheet.iter_rows(min_row=2), held.rows, strict=True):
            for cell, value in zip(found, row, strict=True):
                if name != "cells" and isinstance(value, float) and math.isfinite(value):
                    assert cell.data_type == "n"
                    assert cell.value == pytest.approx(value, rel=1e-15, abs=0.0)
                    count += 1
                elif name != "cells" and isinstance(value, str) and value:
                    assert (cell.data_type, cell.value) == ("s", value)
    assert count > 1000


def test_words_are_never_formulas_and_what_is_not_is_empty(book) -> None:
    cells = [row[1] for row in book["cells"].iter_rows(min_row=2)]
    expected = ["=1+1", "-3 µm", "#N/A", "a\ufffdb\\udcff", *[None] * 3, 0.0, 5e-324, True, 7]
    assert [cell.value for cell in cells] == expected
    assert [cell.data_type for cell in cells[:4]] == ["s"] * 4
    assert cells[9].data_type == "b"
    assert not [c for sheet in book for row in sheet.iter_rows() for c in row if c.data_type == "f"]


def test_the_dictionary_is_a_sheet(book, tables: dict[str, Table]) -> None:
    told = dictionary("study", {name: one.columns for name, one in tables.items()})
    rows = list(book["Columns"].iter_rows(values_only=True))
    assert rows[0] == told.columns
    assert [row[:2] for row in rows[1:]] == [row[:2] for row in told.rows]


def test_widths_show_names_and_numbers_but_no_whole_sentences(book) -> None:
    sheet = book["comparisons"]
    widths = {cell.value: sheet.column_dimensions[cell.column_letter].width for cell in sheet[1]}
    assert all(len(name) < width <= 60 for name, width in widths.items())
    assert widths["sentence"] == 60


def test_the_same_study_makes_the_same_bytes(data: bytes, tables: dict[str, Table]) -> None:
    assert study_workbook(RUN, ANALYSIS, tables) == data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert {entry.date_time[:3] for entry in archive.infolist()} == {(1980, 1, 1)}
        assert b"dcterms:" not in archive.read("docProps/core.xml").split(b">", 2)[2]


def test_it_lies_beside_the_page_and_goes_where_openpyxl_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(output, "can_plot", lambda: False)  # for speed
    written = output.write_study(RUN, ANALYSIS, tmp_path, pictures="no")
    assert tmp_path / "study.xlsx" in written
    say_no_workbook(written)
    assert capsys.readouterr().out == ""
    monkeypatch.setattr(workbook, "find_spec", lambda name: None)
    written = output.write_study(RUN, ANALYSIS, tmp_path, pictures="no")
    assert not (tmp_path / "study.xlsx").exists()
    assert {path.name for path in tmp_path.iterdir()} >= {"report.html", "study.json", "tables"}
    say_no_workbook(written)
    assert "pip install openpyxl" in capsys.readouterr().out
