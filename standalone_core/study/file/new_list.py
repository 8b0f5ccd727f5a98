"""The text of a new list of crowns, to be completed in a spreadsheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from ...csv_text import csv_text
from ...readable import readable
from .crown_list import COLUMNS

LIST_FILE = "crowns.csv"
"""Name of a new list of crowns."""

FACT_COLUMNS = ("date", "machine", "material")
"""Empty columns of a new list, to be filled in, renamed or deleted."""

_MARK = "\ufeff"  # without it spreadsheets take letters with accents for others


def list_text(groups: Mapping[str, Sequence[tuple[Path, str]]]) -> str:
    """Return the text of a list of crowns.

    Parameters
    ----------
    groups : mapping of group name to sequence of (pathlib.Path, str)
        Each crown's scan, and its path as it is to be written.
    """
    empty = [""] * len(FACT_COLUMNS)
    rows = [
        [name, group, written, *empty]
        for group, scans in groups.items()
        for name, (_, written) in zip(_names([scan for scan, _ in scans]), scans, strict=True)
    ]
    text = csv_text([[*COLUMNS, *FACT_COLUMNS], *rows])
    return text if text.isascii() else _MARK + text


def _names(scans: Sequence[Path]) -> Iterator[str]:
    """Name each crown of a group by its scan, in no more words than tell them apart."""
    ways = [(scan.stem, scan.name, f"{scan.parent.name}/{scan.name}") for scan in scans]
    counts = Counter(name.casefold() for names in ways for name in set(names))
    for number, names in enumerate(ways, start=1):
        own = next((name for name in names if counts[name.casefold()] == 1), f"{names[0]} {number}")
        yield "".join(sign if sign.isprintable() else "_" for sign in readable(own))
