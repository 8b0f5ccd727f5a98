"""What every column of every table means: the dictionary that stands beside the tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from .cause_columns import CAUSE_COLUMNS
from .column import Column
from .described_columns import DESCRIBED_COLUMNS
from .measured_columns import MEASURED_COLUMNS
from .row_columns import ROW_COLUMNS
from .table import Table, table, write_csv
from .tested_columns import TESTED_COLUMNS

DICTIONARY = "README"
"""The name of the dictionary among the tables."""

THEMES: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {
        "What a row is about, and words": ROW_COLUMNS,
        "What was measured": MEASURED_COLUMNS,
        "Descriptions": DESCRIBED_COLUMNS,
        "Tests": TESTED_COLUMNS,
        "Causes": CAUSE_COLUMNS,
    }
)
"""Every column, declared once."""

COLUMNS: Mapping[str, Column] = MappingProxyType(
    {one.name: one for columns in THEMES.values() for one in columns}
)


def dictionary(owner: str, headers: Mapping[str, Sequence[str]]) -> Table:
    """Return what the columns of some tables mean, in their order, and of the dictionary itself.

    Parameters
    ----------
    owner : "check", "tray", "fit" or "study"
    headers : mapping of str to sequence of str
        The tables' columns by the tables' names.
    """
    columns = ("table", "column", "unit", "meaning")
    rows = []
    for name, header in {**headers, DICTIONARY: columns}.items():
        for one in header:
            told = COLUMNS.get(one)
            known = told is not None and f"{owner}/{name}" in told.tables
            unit, meaning = (told.unit, told.meaning) if told is not None and known else ("", "")
            rows.append((name, one, unit, meaning))
    return table(columns, rows)


def write_tables(owner: str, folder: Path, texts: Mapping[str, str]) -> None:
    """Write tables, and beside them what their columns mean.

    Parameters
    ----------
    owner : "check", "tray", "fit" or "study"
    folder : pathlib.Path
    texts : mapping of str to str
        Tables by name, as CSV.
    """
    headers = {name: text.partition("\n")[0].split(",") for name, text in texts.items()}
    for name, text in {**texts, DICTIONARY: dictionary(owner, headers).text}.items():
        write_csv(folder / f"{name}.csv", text)
