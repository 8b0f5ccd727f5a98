"""A table of rows, and how it becomes a file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

from ...atomic import atomic_write
from ...csv_text import BYTE_ORDER_MARK, cell_text, csv_text

Row: TypeAlias = Mapping[str, object]
Names: TypeAlias = Mapping[str, str | None]
"""What a column is called that its owner calls otherwise; None leaves it out."""


@dataclass(frozen=True)
class Table:
    """Rows of cells below a header.

    Attributes
    ----------
    columns : tuple of str
    rows : tuple of tuple
        Numbers, words, True, False or None; NaN where a number does not exist.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[object, ...], ...]

    @property
    def text(self) -> str:
        """The table as CSV."""
        return csv_text((self.columns, *(map(cell_text, row) for row in self.rows)))


def table(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> Table:
    """Return a table of rows that are in the order of its columns."""
    return Table(tuple(columns), tuple(map(tuple, rows)))


def table_of(rows: Sequence[Row], names: Names | None = None) -> Table:
    """Return a table of rows by name, which need not all have all columns.

    Parameters
    ----------
    rows : sequence of mapping of str to object
    names : mapping of str to str or None, optional
        Columns that are called otherwise than the rows call them, or left out.
    """
    called = names or {}
    given = dict.fromkeys(name for row in rows for name in row)
    kept = [(own, name) for own in given if (name := called.get(own, own)) is not None]
    columns = [name for _, name in kept]
    return table(columns, ([row.get(own) for own, _ in kept] for row in rows))


def write_csv(path: Path, text: str) -> None:
    """Write a table's file, so that spreadsheets know its letters for UTF-8."""
    atomic_write(path, BYTE_ORDER_MARK + text)
