"""Which crowns a tray holds: scans of one design, a folder of them, or a table."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ..errors import SettingError
from ..mesh.formats import SUFFIX_FORMATS
from ..readable import readable
from ..study.file.csv_rows import named_file, read_csv, refuse_empty, refuse_repeated
from ..study.file.groups import meshes_in

REQUIRED = ("design", "scan")
COLUMNS = (*REQUIRED, "name")
"""What a tray's table holds."""


@dataclass(frozen=True)
class TrayEntry:
    """A crown of a tray, by its files.

    Attributes
    ----------
    design, scan : pathlib.Path
    name : str
        What the crown is called; by its scan's file if empty.
    """

    design: Path
    scan: Path
    name: str = ""


def scans_of(design: Path, scans: Sequence[Path]) -> tuple[TrayEntry, ...]:
    """List scans of one design; a folder stands for the mesh files in it but the design.

    Raises
    ------
    SettingError
        A folder without scans, or a scan that is there twice.
    """
    files: list[Path] = []
    for scan in scans:
        files += _scans_in(scan, design) if scan.is_dir() else [scan]
    counts = Counter(os.path.realpath(file) for file in files)
    for file in files:
        if counts[os.path.realpath(file)] > 1:
            raise SettingError(
                "This scan is there twice.", subject=file, remedy="Name each scan once."
            )
    return named(TrayEntry(design, file) for file in files)


def _scans_in(folder: Path, design: Path) -> list[Path]:
    own = os.path.realpath(design)
    found = [file for file in meshes_in(folder) if os.path.realpath(file) != own]
    if not found:
        raise SettingError(
            "There are no scans in it.",
            subject=folder,
            remedy=f"Put the scans ({', '.join(SUFFIX_FORMATS)}) into the folder itself.",
        )
    return found


def read_tray(table: str | Path) -> tuple[TrayEntry, ...]:
    """Read a tray's table: a CSV file with the columns ``design``, ``scan`` and perhaps ``name``.

    Paths start from the table's folder.

    Raises
    ------
    StudyFileError
        With every mistake of the table and its line.
    """
    file = read_csv(table, REQUIRED, COLUMNS)
    names: dict[object, int] = {}
    pairs: dict[object, int] = {}
    entries = []
    for row in file.rows:
        if refuse_empty(file, row, REQUIRED):
            continue
        design, scan = (named_file(file, row, column) for column in REQUIRED)
        name = row.cells.get("name", "")
        pair = tuple(os.path.realpath(path) for path in (design, scan))
        refuse_repeated(file, row, pairs, pair, "This scan of this design stands")
        if name:
            refuse_repeated(file, row, names, name, f"A crown is called {name}")
        entries.append(TrayEntry(design, scan, name))
    file.refuse_mistakes()
    return named(entries)


def named(entries: Iterable[TrayEntry]) -> tuple[TrayEntry, ...]:
    """Give each crown a name of its own: as given, else by its scan's file, and its folder."""
    listed = list(entries)
    candidates = [_candidates(entry) for entry in listed]
    counts = Counter(name for names in candidates for name in dict.fromkeys(names))
    taken: set[str] = set()
    found = []
    for entry, names in zip(listed, candidates, strict=True):
        name = next((name for name in names if counts[name] == 1), names[-1])
        name = _free(name, taken)
        taken.add(name)
        found.append(replace(entry, name=name))
    return tuple(found)


def _candidates(entry: TrayEntry) -> tuple[str, ...]:
    scan, folder = entry.scan, entry.scan.absolute().parent.name
    names = (
        scan.stem,
        f"{folder}/{scan.stem}",
        f"{folder}/{scan.name}",
        f"{entry.design.stem}/{scan.stem}",
        scan.as_posix(),
    )
    return tuple(readable(name) for name in ((entry.name, *names) if entry.name else names))


def _free(name: str, taken: set[str]) -> str:
    """Return a name, or the same with the first number that makes it free."""
    number, free = 1, name
    while free in taken:
        number += 1
        free = f"{name} ({number})"
    return free
