"""A study's tables as one workbook, ``study.xlsx``: to look at and to copy from, never read."""

from __future__ import annotations

import io
import math
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import StudyRun
from ...words.cautions import CAUTIONS
from ...words.text import count_words
from ..tables.column import BARE, COUNT, DEG, MM, MM2, MM3, OF_ROW, PROBABILITY, SHARE, UM
from ..tables.declared import TABLES
from ..tables.dictionary import COLUMNS, dictionary
from ..tables.table import Table
from .sentences import opening_lines

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

MOST_ROWS = 10_000
"""Longer tables are left to ``tables/``: they are for a script, and slow a spreadsheet down."""

FIRST = (
    *("tolerances", "comparisons", "descriptions", "fit_limits", "fit_comparisons", "fit_groups"),
    *("precision_comparisons", "precision_descriptions", "causes", "cause_comparisons"),
    *("odd_crowns", "odd_effects", "verdicts", "fit", "trueness"),
)
"""What is looked for most; the others come after, in their order."""

_ABOUT, _DICTIONARY = "Read me", "Columns"
_FORMATS = {
    **{UM: "0.0", MM: "0.000", MM2: "0.000", MM3: "0.0000", DEG: "0.0"},
    **{SHARE: "0.0%", PROBABILITY: "0.0000", COUNT: "0", OF_ROW: "0.000", BARE: "0.000"},
}
"""How numbers are shown; a cell holds the whole number."""

_NARROW, _WIDE, _LOOKED_AT = 7, 60, 200
_WORDS_WIDE, _LINE_POINTS = 105, 15
_NOT_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_CORE = "docProps/core.xml"
_DATES = re.compile(rb"<dcterms:(created|modified)[^>]*>[^<]*</dcterms:\1>")
_LONGEST_CELL, _LONGEST_NAME = 32_767, 31


def can_write_workbook() -> bool:
    """Return whether openpyxl is installed, without loading it."""
    return find_spec("openpyxl") is not None


def study_workbook(run: StudyRun, analysis: StudyAnalysis, tables: Mapping[str, Table]) -> bytes:
    """Return a workbook: what the study is, what columns mean, and a sheet for each table.

    Parameters
    ----------
    run : StudyRun
    analysis : StudyAnalysis
    tables : mapping of str to Table
        By name, as in ``tables/``; those without rows and those of more than 10,000 are only
        named.

    Returns
    -------
    bytes
        The same for the same study and versions: the file carries no date.
    """
    from openpyxl import Workbook

    names = [name for name in FIRST if name in tables]
    names += [name for name in tables if name not in FIRST]
    shown = [name for name in names if 0 < len(tables[name].rows) <= MOST_ROWS]
    book = Workbook()
    about = book.active
    about.title = _ABOUT
    _write_about(about, [line for line in _about(run, analysis, tables, shown) if line[1]])
    told = dictionary("study", {name: one.columns for name, one in tables.items()})
    _write_table(book.create_sheet(_DICTIONARY), told)
    for name in shown:
        _write_table(book.create_sheet(name[:_LONGEST_NAME]), tables[name])
    held = io.BytesIO()
    book.save(held)
    return _undated(held.getvalue())


def _about(
    run: StudyRun, analysis: StudyAnalysis, tables: Mapping[str, Table], shown: Sequence[str]
) -> Iterator[tuple[str, str]]:
    """Yield what the first sheet says, in two columns: what it is about, and the words."""
    yield "Study", analysis.title
    yield "Question", analysis.question
    for k, caution in enumerate(CAUTIONS):
        yield "" if k else "Caution", caution
    yield "Design", run.design.mesh.name
    for group in run.plan.groups:
        crowns = count_words(len(run.crowns_of(group.name)), "crown")
        yield "Group", f"{group.name} ({group.title}): {crowns}"
    for k, line in enumerate(opening_lines(analysis)):
        yield "" if k else "Answer", line.sentence
    yield "Made with", ", ".join(f"{name} {version}" for name, version in run.versions.items())
    yield (
        "Numbers",
        "Cells hold 16 digits and show fewer; tables/ holds all. Cuspwise never reads this file.",
    )
    for k, name in enumerate(shown):
        yield "" if k else "Sheets", f"{name}: {TABLES.get(f'study/{name}', '')}".rstrip(": ")
    long = [name for name in tables if len(tables[name].rows) > MOST_ROWS]
    for k, name in enumerate(long):
        rows = f"{len(tables[name].rows):,} rows"
        yield "" if k else "Not here", f"tables/{name}.csv: too long for a sheet, {rows}."


def _write_about(sheet: Worksheet, lines: Sequence[tuple[str, str]]) -> None:
    from openpyxl.styles import Alignment, Font
    from openpyxl.worksheet.properties import PageSetupProperties

    for row, cells in enumerate(lines, start=1):
        for column, text in enumerate(cells, start=1):
            cell = sheet.cell(row, column)
            _put(cell, text)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            cell.font = Font(bold=column == 1 or row == 1)
        sheet.row_dimensions[row].height = _LINE_POINTS * math.ceil(len(cells[1]) / _WORDS_WIDE)
    sheet.column_dimensions["A"].width, sheet.column_dimensions["B"].width = 12, _WORDS_WIDE + 5
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_setup.fitToHeight = 0  # as many pages as it takes, each as wide as the sheet


def _write_table(sheet: Worksheet, table: Table) -> None:
    """Write a table with its header, which stays in sight and filters the rows."""
    from openpyxl.styles import Font, PatternFill
    from openpyxl.utils import get_column_letter

    formats = [_FORMATS.get(COLUMNS[c].unit) if c in COLUMNS else None for c in table.columns]
    for row, cells in enumerate((table.columns, *table.rows), start=1):
        for column, value in enumerate(cells, start=1):
            cell = sheet.cell(row, column)
            _put(cell, value)
            form = formats[column - 1]
            if form is not None and isinstance(cell.value, float | int):
                cell.number_format = form
    for column, name in enumerate(table.columns, start=1):
        head = sheet.cell(1, column)
        head.font, head.fill = Font(bold=True), PatternFill("solid", "E4E7EB")
        widest = max([len(name) + 3, *(_width(row[column - 1]) for row in table.rows[:_LOOKED_AT])])
        width = min(max(widest + 1, _NARROW), _WIDE)
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = sheet.dimensions
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"


def _put(cell: Any, value: object) -> None:
    """Put a value in a cell: numbers as numbers, words never as a formula."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return
    if isinstance(value, bool | int):
        cell.value = value
    elif isinstance(value, float):
        cell.value = float(value) + 0.0
    else:
        text = str(value).encode("utf-8", "backslashreplace").decode("utf-8")
        cell.value = _NOT_TEXT.sub("\ufffd", text)[:_LONGEST_CELL] or None
        if cell.value is not None:
            cell.data_type = "s"


def _width(value: object) -> int:
    """Return the letters that a cell takes as it is shown."""
    return 9 if isinstance(value, float) else len(str("" if value is None else value))


def _undated(book: bytes) -> bytes:
    """Return the same workbook without the moment of its writing, in the file and inside it."""
    found = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(book)) as given,
        zipfile.ZipFile(found, "w", zipfile.ZIP_DEFLATED) as kept,
    ):
        for name in given.namelist():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))  # the first that a zip can hold
            entry.compress_type = zipfile.ZIP_DEFLATED
            content = given.read(name)
            kept.writestr(entry, _DATES.sub(b"", content) if name == _CORE else content)
    return found.getvalue()
