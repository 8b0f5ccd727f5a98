"""A list of the crowns of a study, from a CSV file: their names, groups, scans, dies and facts."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ...allowed import shown
from ...suggestion import nearest, suggestion
from ..plan import GroupPlan
from .csv_rows import CsvFile, Row, named_file, read_csv, refuse_empty, refuse_repeated
from .groups import GroupTold, read_group, refuse_same_titles, wrong_name
from .place import Place
from .study_sections import GROUP, LISTED_GROUP

COLUMNS = ("crown", "group", "file")
FIT_COLUMNS = ("die", "seated")
_OF_GROUPS = tuple(key.name for key in GROUP.keys)
_FILES = ("scans", "dies", "seated")
_FEW, _SEVERAL = 1, 3  # crowns of a group that was probably misspelt, and of the one meant


@dataclass(frozen=True)
class _Crown:
    """A row of the list: a crown with its files, as far as they are given, and its facts."""

    row: Row
    name: str
    group: str
    files: Mapping[str, Path]
    facts: Mapping[str, str]


@dataclass(frozen=True)
class CrownList:
    """What a list of crowns holds.

    Attributes
    ----------
    groups : tuple of GroupPlan
        Those with a table in the study file first, then in the order of the list.
    whole : bool
        Whether the name of every crown is known, be the rest right or wrong.
    """

    groups: tuple[GroupPlan, ...] = ()
    whole: bool = False


def read_crown_list(
    path: Path, tables: Mapping[str, Any], place: Place, design: Path | None
) -> CrownList:
    """Read a list of crowns; note every mistake in it and in the tables of its groups.

    Parameters
    ----------
    path : pathlib.Path
        A CSV file with one row per crown. Columns: ``crown`` (its name), ``group``, ``file`` (its
        scan, from the list's folder); ``die`` and ``seated`` (its own die, and a scan of it seated
        there), each for all crowns of a group or for none. Further columns are facts.
    tables : mapping of group name to table
        Of the study file, with titles, facts and what is known of the production.
    place : Place
        Of the table of groups.
    design : pathlib.Path or None
        Which no scan may be; None if it is not known.

    Raises
    ------
    StudyFileError
        The list cannot be read, has no rows, or lacks a column.
    """
    file = read_csv(path, COLUMNS, (*COLUMNS, *FIT_COLUMNS))
    _check_columns(file)
    every = [crown for row in file.rows if (crown := _crown(file, row)) is not None]
    _refuse_shared_files(file, every, design)
    crowns = _with_own_files(file, _without_repeated(file, every))
    found: dict[str, list[_Crown]] = {name: [] for name in tables}
    for crown in crowns:
        found.setdefault(crown.group, []).append(crown)
    _refuse_groups(file, found, tables)
    groups = [
        group
        for name, its in found.items()
        if (group := _group(file, name, its, tables, place)) is not None
    ]
    refuse_same_titles(groups, place)
    place.mistakes.extend(file.mistakes)
    named = sum(len(group.scans) for group in groups)
    return CrownList(tuple(groups), named == len(crowns) and len(every) == len(file.rows))


def _check_columns(file: CsvFile) -> None:
    """Note columns that are there twice, have no name, or say what holds for a whole group."""
    line = file.header.line
    facts = [column for column in file.columns if column not in (*COLUMNS, *FIT_COLUMNS)]
    for column in dict.fromkeys(facts):
        if not column:
            if any(row.cells[column] for row in file.rows):
                file.wrong(line, "", "A column has cells, but no name.", "Give it a name.")
        elif facts.count(column) > 1:
            file.wrong(line, column, "The column is there twice.", "Keep one of them.")
        elif column in _OF_GROUPS:
            file.wrong(
                line,
                column,
                "That is told of a whole group.",
                f"Give {column} below [groups.NAME], or the column another name.",
            )


def _crown(file: CsvFile, row: Row) -> _Crown | None:
    """Read one row; note its mistakes, and return None if it cannot be used at all."""
    refuse_empty(file, row, COLUMNS)
    name, group = row.cells["crown"], row.cells["group"]
    if not name.isprintable():
        file.wrong(row.line, "crown", "It is on two lines.", "Write the name on one line.")
    there = ("file", *(column for column in FIT_COLUMNS if column in file.columns))
    files = {column: named_file(file, row, column) for column in there if row.cells[column]}
    if not name or not group:
        return None
    known = (*COLUMNS, *FIT_COLUMNS, "")
    facts = {
        file.header.cells[column]: row.cells[column]
        for column in file.columns
        if column not in known
    }
    return _Crown(row, name, group, files, facts)


def _without_repeated(file: CsvFile, crowns: Sequence[_Crown]) -> list[_Crown]:
    """Return the crowns whose names are new in their groups; note the others."""
    seen: dict[object, int] = {}
    return [
        crown
        for crown in crowns
        if not refuse_repeated(
            file,
            crown.row,
            seen,
            (crown.group.casefold(), crown.name.casefold()),
            f"Crown {crown.name} of group {crown.group} is",
        )
    ]


def _refuse_shared_files(file: CsvFile, crowns: Sequence[_Crown], design: Path | None) -> None:
    """Note files that stand for two things; several crowns may sit on one die."""
    first: dict[str, tuple[str, int]] = {}
    for column in ("file", *FIT_COLUMNS):
        for crown in crowns:
            path, line = crown.files.get(column), crown.row.line
            if path is None:
                continue
            real, named = _real(path), crown.row.cells[column]
            if design is not None and real == _real(design):
                file.wrong(line, column, f"{named} is the design.", "Name another file.")
                continue
            other, before = first.setdefault(real, (column, line))
            if (other, before) != (column, line) and not other == column == "die":
                which = f"on line {before}" if other == column else f"the {other} of line {before}"
                remedy = (
                    "Keep one of the rows, or correct it."
                    if other == column
                    else ("Name each file once.")
                )
                file.wrong(line, column, f"{named} is {which} already.", remedy)


def _with_own_files(file: CsvFile, crowns: Sequence[_Crown]) -> list[_Crown]:
    """Give a crown without a scan of its own a stand-in, so that all others can be checked."""
    counts = Counter(crown.files.get("file") for crown in crowns)
    own = [crown.files.get("file") for crown in crowns]
    return [
        crown
        if path is not None and counts[path] == 1
        else replace(crown, files={**crown.files, "file": file.path / str(crown.row.line)})
        for crown, path in zip(crowns, own, strict=True)
    ]


def _refuse_groups(
    file: CsvFile, found: Mapping[str, Sequence[_Crown]], tables: Mapping[str, Any]
) -> None:
    """Note names that no group can have, and groups that were probably misspelt."""
    before: list[str] = []
    for name, crowns in found.items():
        if crowns:
            for reason, remedy in wrong_name(name, before):
                file.wrong(crowns[0].row.line, "group", reason, remedy)
            if name not in tables:
                _refuse_misspelt(file, name, found)
        before.append(name)


def _refuse_misspelt(file: CsvFile, name: str, found: Mapping[str, Sequence[_Crown]]) -> None:
    """Note a group of one crown whose name is like that of a group of several."""
    several = [other for other, crowns in found.items() if len(crowns) >= _SEVERAL]
    close = nearest(name, [other for other in several if other.casefold() != name.casefold()])
    if len(found[name]) == _FEW and close:
        file.wrong(
            found[name][0].row.line,
            "group",
            f"Only this crown is in group {shown(name)}.",
            f"Did you mean {close}? If not, write [groups.{name}] into the study file.",
        )


def _group(
    file: CsvFile,
    name: str,
    crowns: Sequence[_Crown],
    tables: Mapping[str, Any],
    place: Place,
) -> GroupPlan | None:
    """Make a group; note what is wrong with its table, and return None if it has no crowns."""
    here, table = place / name, tables.get(name, {})
    told = read_group(LISTED_GROUP, name, table, here)
    if told is None:
        return None
    for key in _FILES:
        if key in table:
            remedy = f"Leave it out, or leave {file.path.name} out."
            (here / key).wrong(f"The crowns are listed in {file.path.name}.", remedy)
    if not crowns:
        listed = dict.fromkeys(row.cells["group"] for row in file.rows)
        meant = suggestion(name, [other for other in listed if other and other not in tables])
        remedy = meant or "Leave the table out, or add its crowns to the list."
        here.wrong(f"No crown of {file.path.name} is in this group.", remedy)
        return None
    facts, own = _facts(file, crowns, told, here / "facts")
    return GroupPlan(
        name=name,
        title=told.title,
        scans=tuple(crown.files["file"] for crown in crowns),
        facts=facts,
        production=told.production,
        dies=_paired(file, crowns, "die"),
        seated=_paired(file, crowns, "seated"),
        crowns=tuple(crown.name for crown in crowns),
        crown_facts=own,
    )


def _paired(file: CsvFile, crowns: Sequence[_Crown], column: str) -> tuple[Path, ...]:
    """Return a file per crown; none if no cell is filled in. Note those that are not."""
    given = [crown.files[column] for crown in crowns if column in crown.files]
    absent = [crown.row for crown in crowns if column not in crown.files]
    if given and absent:
        more = f", and {len(absent) - 1} more" if len(absent) > 1 else ""
        file.wrong(
            absent[0].line,
            column,
            f"It is empty{more}; other crowns of group {crowns[0].group} have one.",
            "Fill in the cells, or empty them all.",
        )
        return ()
    return tuple(given)


def _facts(
    file: CsvFile, crowns: Sequence[_Crown], told: GroupTold, place: Place
) -> tuple[dict[str, str], tuple[dict[str, str], ...]]:
    """Part what holds for all crowns of a group from what differs between them."""
    shared = dict(told.facts)
    own: tuple[dict[str, str], ...] = tuple({} for _ in crowns)
    known = {name.casefold(): name for name in shared}
    for name in crowns[0].facts:
        values = [crown.facts[name] for crown in crowns]
        if not any(values):
            continue
        told_as = known.get(name.casefold())
        if told_as is not None:
            other = next((crown for crown in crowns if crown.facts[name] != shared[told_as]), None)
            if other is not None:
                (place / told_as).wrong(
                    f"{file.path.name}:{other.row.line} says {shown(other.facts[name])}.",
                    "Give it in one of the two.",
                )
        elif len(set(values)) == 1:
            shared[name] = values[0]
        else:
            for facts, value in zip(own, values, strict=True):
                facts[name] = value
    return shared, own if any(own) else ()


def _real(path: Path) -> str:
    return os.path.normcase(os.path.realpath(path))
