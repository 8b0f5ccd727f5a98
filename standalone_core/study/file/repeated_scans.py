"""Repeated scans of the same crowns, from a CSV file."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from ...allowed import shown
from ..plan import StudyPlan
from .csv_rows import (
    CsvFile,
    Row,
    named_file,
    read_csv,
    refuse_empty,
    refuse_repeated,
    whole_number,
)

COLUMNS = ("file", "crown", "operator", "trial")


@dataclass(frozen=True)
class RepeatEntry:
    """One scan of a crown that was scanned again and again.

    Attributes
    ----------
    file : pathlib.Path
        The scan.
    crown, operator : str
        Which crown, and who scanned it.
    trial : int
        Number of the scan among those of this crown by this operator, from 1 on.
    """

    file: Path
    crown: str
    operator: str
    trial: int

    @property
    def listed(self) -> tuple[str, str, str, Path]:
        """As ``run_study`` takes it: crown, operator, trial, file."""
        return self.crown, self.operator, str(self.trial), self.file


@dataclass(frozen=True)
class RepeatScans:
    """All repeated scans of a study.

    Attributes
    ----------
    path : pathlib.Path
    rows : tuple of RepeatEntry
        By crown and operator in the file's order, then by trial.
    notes : tuple of str
        What the scans cannot show.
    """

    path: Path
    rows: tuple[RepeatEntry, ...]
    notes: tuple[str, ...] = ()

    @property
    def crowns(self) -> tuple[str, ...]:
        """All crowns, in the file's order."""
        return tuple(dict.fromkeys(row.crown for row in self.rows))

    @property
    def operators(self) -> tuple[str, ...]:
        """All operators, in the file's order."""
        return tuple(dict.fromkeys(row.operator for row in self.rows))

    @property
    def listed(self) -> tuple[tuple[str, str, str, Path], ...]:
        """As ``run_study`` takes them."""
        return tuple(row.listed for row in self.rows)

    @property
    def balanced(self) -> bool:
        """Whether every operator scanned every crown equally often."""
        counts = Counter((row.crown, row.operator) for row in self.rows)
        cells = len(self.crowns) * len(self.operators)
        return len(counts) == cells and len(set(counts.values())) == 1


def read_repeats(path: str | Path, plan: StudyPlan) -> RepeatScans:
    """Read the list of repeated scans.

    Parameters
    ----------
    path : str or pathlib.Path
        A CSV file with the columns ``file`` (a scan, from the CSV file's folder), ``crown`` (any
        name; the same for all scans of one crown, which was made from the study's design),
        ``operator`` and ``trial`` (1, 2, …, for each crown and operator).
    plan : StudyPlan

    Raises
    ------
    StudyFileError
        With every mistake: scans that are not there, listed twice or the design, trials that are
        no whole numbers or there twice.
    """
    file = read_csv(path, COLUMNS, COLUMNS)
    files: dict[object, int] = {}
    trials: dict[object, int] = {}
    design = os.path.realpath(plan.design)
    found: list[RepeatEntry] = []
    for row in file.rows:
        entry = _entry(file, row)
        if entry is None:
            continue
        real = os.path.realpath(entry.file)
        if real == design:
            file.wrong(row.line, "file", "It is the design.", "List scans only.")
        refuse_repeated(file, row, files, real, f"{row.cells['file']} is")
        key = (entry.crown, entry.operator, entry.trial)
        what = f"Trial {entry.trial} of crown {entry.crown} by {entry.operator} is"
        refuse_repeated(file, row, trials, key, what)
        found.append(entry)
    file.refuse_mistakes()
    return RepeatScans(file.path, _in_order(found), _notes(found))


def _entry(file: CsvFile, row: Row) -> RepeatEntry | None:
    """Read one row; note its mistakes, and return None if it cannot be used at all."""
    if refuse_empty(file, row, COLUMNS):
        return None
    scan = named_file(file, row, "file")
    trial = whole_number(row.cells["trial"])
    if trial is None or trial < 1:
        reason = f"{shown(row.cells['trial'])} is not a trial."
        file.wrong(row.line, "trial", reason, "Count the trials of each crown: 1, 2, 3, …")
        return None
    return RepeatEntry(scan, row.cells["crown"], row.cells["operator"], trial)


def _in_order(rows: list[RepeatEntry]) -> tuple[RepeatEntry, ...]:
    crowns = list(dict.fromkeys(row.crown for row in rows))
    operators = list(dict.fromkeys(row.operator for row in rows))
    return tuple(
        sorted(rows, key=lambda r: (crowns.index(r.crown), operators.index(r.operator), r.trial))
    )


def _notes(rows: list[RepeatEntry]) -> tuple[str, ...]:
    scans = RepeatScans(Path(), tuple(rows))
    found: list[str] = []
    if len(scans.operators) == 1:
        found.append("One operator made all repeated scans: reproducibility is not known.")
    if len(scans.rows) == len({(row.crown, row.operator) for row in rows}):
        found.append("No operator scanned a crown twice: repeatability is not known.")
    elif not scans.balanced:
        found.append("The operators did not scan every crown equally often.")
    return tuple(found)
