"""Cells of CSV files that a spreadsheet shows, but never takes for a formula."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable

# What a formula can begin with, by OWASP's page "CSV Injection" (from memory), full-width too;
# after any number of quotes, so that taking one away always gives back what was there.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_QUOTE, _LINE_END = "'", "\r\n"


def harmless(cell: str) -> str:
    """Return a cell with a single quote before it if a spreadsheet could run it; not numbers.

    Examples
    --------
    >>> harmless("=1+1"), harmless("-3.5"), harmless("crown_07")
    ("'=1+1", '-3.5', 'crown_07')
    """
    if _FORMULA.match(cell) and not _NUMBER.fullmatch(cell):
        return _QUOTE + cell
    return cell


def as_meant(cell: str) -> str:
    """Return a cell without the quote that :func:`harmless` has put before it.

    Examples
    --------
    >>> as_meant("'=1+1"), as_meant("'tis")
    ('=1+1', "'tis")
    """
    return cell[1:] if cell.startswith(_QUOTE) and _FORMULA.match(cell) else cell


def csv_text(rows: Iterable[Iterable[object]], separator: str = ",") -> str:
    """Write rows, the header among them, as CSV: every cell harmless, None empty."""
    lines = _Lines()
    # Only what is in the line end given here, and the separator, makes the writer quote a cell.
    writer = csv.writer(lines, delimiter=separator, lineterminator=_LINE_END)
    writer.writerows([harmless("" if cell is None else str(cell)) for cell in row] for row in rows)
    return "".join(lines.written)


def cell_text(value: object, digits: int | None = None) -> str:
    """Write a cell: nothing for what does not exist, true or false, numbers cut to what counts.

    Parameters
    ----------
    value : object
    digits : int, optional
        After the point of a number; six figures otherwise.

    Examples
    --------
    >>> cell_text(1.23456, 3), cell_text(1234567.0), cell_text(float("nan")), cell_text(True)
    ('1.235', '1.23457e+06', '', 'true')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        form = ".6g" if digits is None else f".{digits}f"
        return f"{value:{form}}" if math.isfinite(value) else ""
    return str(value)


class _Lines:
    """Takes a CSV writer's rows, one at a time, and ends them with a line feed alone."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, row: str) -> None:
        self.written.append(f"{row.removesuffix(_LINE_END)}\n")
