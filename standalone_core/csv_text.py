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

BYTE_ORDER_MARK = "\ufeff"
"""Begins every table that is written as a file: without it a spreadsheet may take the UTF-8 of µ
for two other letters. The readers of this package skip it, and so does
``read.csv(…, fileEncoding = "UTF-8-BOM")`` in R."""


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


def cell_text(value: object) -> str:
    """Write a cell: nothing for what does not exist, TRUE or FALSE, numbers whole.

    A number is written with as many digits as give it back (``float(text) == value``), TRUE and
    FALSE as both spreadsheets and R read them; minus zero is zero, and what is not finite empty.

    Examples
    --------
    >>> cell_text(0.1 + 0.2), cell_text(8), cell_text(float("nan")), cell_text(True)
    ('0.30000000000000004', '8', '', 'TRUE')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return float.__repr__(value + 0.0) if math.isfinite(value) else ""
    return str(value)


class _Lines:
    """Takes a CSV writer's rows, one at a time, and ends them with a line feed alone."""

    def __init__(self) -> None:
        self.written: list[str] = []

    def write(self, row: str) -> None:
        self.written.append(f"{row.removesuffix(_LINE_END)}\n")
