"""CSV files that belong to a study: rows with their lines, and mistakes of the whole file."""

from __future__ import annotations

import csv
import glob
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ...allowed import shown
from ...csv_text import as_meant
from ...suggestion import nearest, suggestion
from .mistakes import Mistake, StudyFileError
from .slashes import with_slashes
from .value_types import there, what_is_there, why_no_file

_SEPARATORS = (",", ";", "\t")  # spreadsheets of many countries write semicolons


@dataclass(frozen=True)
class Row:
    """A row.

    Attributes
    ----------
    line : int
        Where it starts, from 1 on.
    cells : mapping of column to text
        Without space around them; empty where the row is too short.
    """

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class CsvFile:
    """A CSV file being read.

    Attributes
    ----------
    path : pathlib.Path
    columns : tuple of str
        As the header names them, in small letters.
    rows : tuple of Row
        Empty ones are left out.
    header : Row
        What the header calls each column.
    mistakes : list of Mistake
        What has been found so far.
    """

    path: Path
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    header: Row
    mistakes: list[Mistake] = field(default_factory=list)

    def wrong(self, line: int | None, column: str, reason: str, remedy: str) -> None:
        """Note a mistake."""
        self.mistakes.append(Mistake(self.path, line, column, reason, remedy))

    def refuse_mistakes(self) -> None:
        """Raise StudyFileError if there are mistakes."""
        if self.mistakes:
            raise StudyFileError(self.mistakes)


def read_csv(path: str | Path, required: Sequence[str], known: Sequence[str]) -> CsvFile:
    """Read a CSV file with a header line.

    Parameters
    ----------
    path : str or pathlib.Path
        UTF-8 text, or Windows-1252 as some spreadsheets write; commas, semicolons or tabs between
        the cells, whichever the header holds.
    required : sequence of str
        Columns that must be there.
    known : sequence of str
        All columns that mean something; one that looks like a misspelt one of these is noted.

    Raises
    ------
    StudyFileError
        The file cannot be read, has no rows, or lacks a column. Other mistakes are noted.
    """
    file = Path(path)
    lines = list(_lines(file, _text(file)))
    if not lines:
        raise _error(file, None, "It is empty.", f"Its columns are {', '.join(known)}.")
    number, header = lines[0]
    columns = tuple(cell.strip().casefold() for cell in header)
    rows = tuple(Row(line, _cells(columns, row)) for line, row in lines[1:])
    found = CsvFile(file, columns, rows, Row(number, _cells(columns, header)))
    _check_header(found, number, required, known)
    for line, cells in lines[1:]:
        if any(cell.strip() for cell in cells[len(columns) :]):
            found.wrong(
                line,
                "",
                f"It has {len(cells)} cells, but there are {len(columns)} columns.",
                "Put cells that hold a separator in quotes.",
            )
    return found


def _check_header(file: CsvFile, line: int, required: Sequence[str], known: Sequence[str]) -> None:
    for column in required:
        if column not in file.columns:
            others = [name for name in file.columns if name not in known]
            close = nearest(column, others)
            remedy = f"Is it {close}?" if close else "Add it to the header."
            file.wrong(line, column, "There is no such column.", remedy)
    for column in file.columns:
        absent = [name for name in known if name not in (*file.columns, *required)]
        if column and column not in known and suggestion(column, absent):
            file.wrong(line, column, "There is no such column.", suggestion(column, absent))
    for column in sorted({c for c in file.columns if c in known and file.columns.count(c) > 1}):
        file.wrong(line, column, "The column is there twice.", "Keep one of them.")
    if not file.rows:
        file.wrong(line, "", "It has a header, but no rows.", "Add rows, or leave the file out.")
    if not file.rows or not set(required) <= set(file.columns):
        file.refuse_mistakes()


def _text(file: Path) -> str:
    try:
        return decoded(file.read_bytes())
    except UnicodeDecodeError as problem:
        line = problem.object[: problem.start].count(b"\n") + 1
        reason = "It is neither UTF-8 nor Windows-1252 text."
        raise _error(file, line, reason, "Save it as CSV UTF-8.") from problem
    except OSError as problem:
        reason = f"It cannot be read ({problem.strerror or problem})."
        raise _error(file, None, reason, what_is_there(file)) from problem


def decoded(content: bytes) -> str:
    """Return the text of a CSV file: UTF-8 with or without its mark, or else Windows-1252.

    Raises
    ------
    UnicodeDecodeError
        It is neither; no text of either holds zeros.
    """
    if b"\0" in content:
        place = content.index(b"\0")
        raise UnicodeDecodeError("utf-8", content, place, place + 1, "a zero")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252")


def _lines(file: Path, text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each row that is not empty and the line that it starts on."""
    header = text.lstrip().partition("\n")[0]
    separator = max(_SEPARATORS, key=header.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    last = 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield last + 1, cells
            last = reader.line_num
    except csv.Error as problem:
        line = min(last + 1, text.count("\n") + 1)
        raise _error(file, line, f"It is not CSV ({problem}).", "Check the quotes.") from problem


def _cells(columns: Sequence[str], row: Sequence[str]) -> dict[str, str]:
    padded = [*row, *[""] * len(columns)]
    return {name: as_meant(cell.strip()) for name, cell in zip(columns, padded, strict=False)}


def _error(file: Path, line: int | None, reason: str, remedy: str) -> StudyFileError:
    return StudyFileError([Mistake(file, line, "", reason, remedy)])


def whole_number(text: str) -> int | None:
    """Return a whole number written as 2 or, as some spreadsheets do, 2.0 or 2,0; else None."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return int(value) if value.is_integer() else None


def refuse_empty(file: CsvFile, row: Row, columns: Sequence[str]) -> bool:
    """Note which cells of these columns are empty; return whether any is."""
    absent = [column for column in columns if not row.cells[column]]
    for column in absent:
        file.wrong(row.line, column, f"The {column} is missing.", "Fill in the cell.")
    return bool(absent)


def refuse_repeated(
    file: CsvFile, row: Row, seen: dict[object, int], key: object, what: str
) -> bool:
    """Note a row whose key was there before; return whether it was."""
    before = seen.setdefault(key, row.line)
    if before != row.line:
        file.wrong(row.line, "", f"{what} on line {before} already.", "Keep one of the rows.")
    return before != row.line


def named_file(file: CsvFile, row: Row, column: str) -> Path:
    r"""Return the file that a cell names, from the table's folder; note if it is not there.

    A path that a spreadsheet's user wrote with \ is taken as one with / where that is a file.
    """
    named, folder = row.cells[column], file.path.parent
    path = folder / with_slashes(named)
    if there(folder / named):
        return folder / named
    if there(path):
        return path
    if there(path, Path.is_dir):
        reason, remedy = f"{shown(named)} is a folder.", "Name a file."
    elif glob.has_magic(named):
        reason, remedy = f"There is no file {shown(named)}.", "Write one file to a row."
    else:
        reason, remedy = f"There is no file {shown(named)}.", why_no_file(named, folder)
    file.wrong(row.line, column, reason, remedy)
    return path
