"""A finish line in a file: a CSV file of points, or the margin line of an areas file."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from ...areas.area_set import MarginLine
from ...areas.files import margin_line_of_file
from ...arrays import FloatArray
from ...errors import FileError

COLUMNS = ("x", "y", "z")

_Row = tuple[int, list[str]]  # its line in the file, and its cells


def finish_line_from_file(path: str | Path) -> MarginLine:
    """Read the points of a die's finish line.

    Parameters
    ----------
    path : str or pathlib.Path
        A CSV file with one point a line, x, y and z in mm in the die's frame, in order around the
        tooth; a first line with the names of columns may say where these are among others. Or an
        areas file, whose margin line is taken.

    Returns
    -------
    MarginLine
        The points as they are in the file, with the origin "file", taken for closed;
        :func:`.finish_line.finish_line_from_points` checks that and lays them on the die.

    Raises
    ------
    FileError
        The file cannot be read, a column is missing, or a line does not hold a point.
    AreaError
        It is an areas file without a margin line that can be used.
    """
    file = Path(path)
    text = _text(file)
    if text.lstrip().startswith("{"):
        return MarginLine(margin_line_of_file(file).points_mm, closed=True, origin="file")
    return MarginLine(_points(text, file), closed=True, origin="file")


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is no text in UTF-8"
        raise FileError(
            f"It cannot be read as a finish line: {reason}.",
            subject=file,
            remedy="Give a CSV file with one point a line, or an areas file.",
        ) from error


def _points(text: str, file: Path) -> FloatArray:
    rows = list(_rows(text, file))
    columns: Sequence[int] = (0, 1, 2)
    if rows and any(_number(cell) is None for cell in rows[0][1]):
        columns = _columns(rows[0], file)
        rows = rows[1:]
    if not rows:
        raise FileError(
            "It holds no points.", subject=file, remedy="Give one point a line: x,y,z in mm."
        )
    return np.array([_point(row, columns, file) for row in rows])


def _rows(text: str, file: Path) -> Iterator[_Row]:
    """The lines that hold anything."""
    reader = csv.reader(text.splitlines(keepends=True))
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, cells
    except csv.Error as error:
        raise FileError(
            f"Line {reader.line_num} is no line of a CSV file ({error}).",
            subject=file,
            remedy="Give one point a line: x,y,z in mm.",
        ) from error


def _columns(header: _Row, file: Path) -> list[int]:
    """Where x, y and z are."""
    line, cells = header
    names = [cell.strip().lower() for cell in cells]
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        raise FileError(
            f"Line {line} holds neither three numbers nor the names of the columns x, y and z: "
            f"{', '.join(missing)} missing.",
            subject=file,
            remedy="Start it with the line x,y,z, or with the first point.",
        )
    return [names.index(name) for name in COLUMNS]


def _point(row: _Row, columns: Sequence[int], file: Path) -> list[float]:
    line, cells = row
    values = [_number(cells[k]) if k < len(cells) else None for k in columns]
    if None in values or (columns == (0, 1, 2) and len(cells) != len(COLUMNS)):
        raise FileError(
            f'Line {line} holds "{",".join(cells).strip()}" where the three coordinates of a point '
            "belong.",
            subject=file,
            remedy="Write three finite numbers in mm with decimal points and commas between them.",
        )
    return [value for value in values if value is not None]


def _number(cell: str) -> float | None:
    """A finite number, or None."""
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
