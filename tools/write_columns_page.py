"""Write docs/columns.md, what every column of every table means, from the declarations.

Run it after a column was declared: ``python tools/write_columns_page.py``. A test says when the
page is out of date.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from cuspwise.standalone_core.report.tables.column import Column
from cuspwise.standalone_core.report.tables.declared import TABLES
from cuspwise.standalone_core.report.tables.dictionary import THEMES

FILE = Path(__file__).resolve().parents[1] / "docs" / "columns.md"

_HEAD = """\
<!-- Written by tools/write_columns_page.py from the declarations: change those. -->
# All tables and columns

A study writes its tables to `tables/`, a check and a fit to their folder; `README.csv` beside them
tells of each column what is told here. A column's name means the same in every table.

- Text in UTF-8 with a byte order mark, by which spreadsheets know its letters; commas between
  cells, a header line, one thing a row.
- Numbers have a decimal point and as many digits as it takes to give the very number back; one
  that does not exist is empty. Yes and no are `TRUE` and `FALSE`.
- A name ends with its unit (`_um`, `_mm`, `_mm2`, `_mm3`, `_deg`) or says that it is a share.
  Counts, p-values and statistics have none. Where the unit depends on the row, it is in the
  column `unit`.
- Where a country writes a decimal comma, a spreadsheet opens such a file as one column: import it
  with comma and point, or open `study.xlsx`, which a study also writes where openpyxl is installed.
- A cell that a spreadsheet could take for a formula has a single quote before it.

In R, name the byte order mark: `read.csv("tables/trueness.csv", fileEncoding = "UTF-8-BOM")`; in
Python `open(…, encoding="utf-8-sig")`, pandas needs nothing. `examples/` holds a script for R.
"""


def columns_page() -> str:
    """Return the text of the page."""
    tables = [(f"`{key.partition('/')[2]}.csv`", _whose(key), row) for key, row in TABLES.items()]
    blocks = [_HEAD, "## The tables\n", *_lines(("file", "of a", "a row is"), tables), ""]
    for theme, columns in THEMES.items():
        blocks += [f"## {theme}\n"]
        rows = [(f"`{one.name}`", one.unit, one.meaning, _where(one)) for one in columns]
        blocks += [*_lines(("column", "unit", "meaning", "in"), rows), ""]
    return "\n".join(blocks)


def _where(column: Column) -> str:
    """The tables a column is in, by who writes them."""
    whose: dict[str, list[str]] = {}
    for key in column.tables:
        owner, name = key.split("/")
        whose.setdefault(owner, []).append(name)
    return "; ".join(f"{owner}: {', '.join(names)}" for owner, names in whose.items())


def _whose(key: str) -> str:
    return key.partition("/")[0]


def _lines(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    return [_line(head), _line(["---"] * len(head)), *map(_line, rows)]


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in cells)} |"


if __name__ == "__main__":
    FILE.write_text(columns_page(), encoding="utf-8")
    print(f"Written: {FILE}")
