"""The groups of a study file and the scans that their patterns match."""

from __future__ import annotations

import glob
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...allowed import shown
from ...causes.settings import ProductionFacts
from ...mesh.formats import SUFFIX_FORMATS
from ...readable import readable
from ..plan import GroupPlan
from .fit_sections import DIES, SEATED
from .keys import Section
from .place import Place
from .slashes import as_written, slash_remedy
from .study_sections import FACTS, GROUP, PRODUCTION, REPEATS
from .tables import read_section
from .value_types import there, what_is_there

_LONGEST_NAME = 40
_NOT_IN_NAMES = set('/\\:*?"<>|')  # what names of files cannot hold on all systems


@dataclass(frozen=True)
class ScanMatch:
    """A scan and where the pattern stands that matched it."""

    scan: Path
    place: Place


@dataclass(frozen=True)
class GroupTold:
    """What a group's table says of it.

    Attributes
    ----------
    title : str
    values : mapping of key to value
        As they are in the table.
    facts : mapping of str to str
    production : ProductionFacts
    """

    title: str
    values: Mapping[str, Any]
    facts: Mapping[str, str]
    production: ProductionFacts


def read_groups(
    tables: Mapping[str, Any], place: Place, design: Path | None
) -> tuple[GroupPlan, ...]:
    """Read all groups; note every mistake.

    Parameters
    ----------
    tables : mapping of group name to table
    place : Place
        Of the table of groups.
    design : pathlib.Path or None
        Which no scan may be; None if it is not known.

    Returns
    -------
    tuple of GroupPlan
        Those that have scans.
    """
    groups: list[GroupPlan] = []
    taken = {} if design is None else {_real(design): ""}
    for name, table in tables.items():
        here = place / name
        told = read_group(GROUP, name, table, here)
        if told is None:
            continue
        refuse_name(name, [group.name for group in groups], here)
        matches = find_scans(told.values.get("scans", ()), here / "scans")
        _refuse_taken(name, matches, taken)
        if matches:
            scans = tuple(match.scan for match in matches)
            dies, seated = (
                _paired(told.values.get(key.name, ()), here / key.name, len(scans))
                for key in (DIES, SEATED)
            )
            groups.append(
                GroupPlan(name, told.title, scans, told.facts, told.production, dies, seated)
            )
    refuse_same_titles(groups, place)
    return tuple(groups)


def read_group(section: Section, name: str, table: Any, place: Place) -> GroupTold | None:
    """Read what a group's table says; note every mistake, and return None if it is no table."""
    if not isinstance(table, dict):
        place.wrong(f"It is {shown(table)}, not a table.", f"Write [groups.{name}].")
        return None
    rest = {key: value for key, value in table.items() if key != "facts"}
    values = read_section(section, rest, place)
    facts = _read_facts(table.get("facts", {}), place / "facts")
    told = {key.name: values[key.name] for key in PRODUCTION if key.name in values}
    return GroupTold(values.get("title", name), values, facts, ProductionFacts(**told))


def find_scans(patterns: tuple[str, ...], place: Place) -> tuple[ScanMatch, ...]:
    """Find the scans that patterns match; note each pattern that matches none.

    A path without ``*``, ``?`` and ``[`` may be of any file; patterns only match mesh files, and
    none whose name starts with a dot. Scans come pattern by pattern, and by name within each,
    with numbers in names by their size.
    """
    found: dict[Path, ScanMatch] = {}
    for index, pattern in enumerate(patterns):
        for scan in _matched("scan", pattern, place / index):
            found.setdefault(scan, ScanMatch(scan, place / index))
    return tuple(found.values())


def find_meshes(thing: str, patterns: tuple[str, ...], place: Place) -> tuple[Path, ...]:
    """Find mesh files as :func:`find_scans` does; a file that is named twice is there twice."""
    return tuple(
        file
        for index, pattern in enumerate(patterns)
        for file in _matched(thing, pattern, place / index)
    )


def _matched(thing: str, pattern: str, place: Place) -> list[Path]:
    found = matching(pattern, place.folder)
    if not found:
        folder = place.folder
        remedy = slash_remedy(pattern, lambda path: _why_none(path, folder))
        place.wrong(f"No {thing} matches {shown(as_written(pattern))}.", remedy)
    return found


def _paired(patterns: tuple[str, ...], place: Place, scans: int) -> tuple[Path, ...]:
    """Find one file per scan, in the order of the scans; a single die is that of all crowns."""
    dies = place.path[-1] == DIES.name
    noted = len(place.mistakes)
    files = find_meshes("die" if dies else "scan", patterns, place)
    if not files or len(place.mistakes) > noted:
        return ()
    if dies and len(files) == 1 and not glob.has_magic(patterns[0]):
        return files * scans
    if len(files) != scans:
        few = "one file" if len(files) == 1 else f"{len(files)} files"
        many = "one scan" if scans == 1 else f"{scans} scans"
        place.wrong(f"It lists {few} for {many}.", "Give one for each scan, in the same order.")
        return ()
    return files


def matching(pattern: str, folder: Path) -> list[Path]:
    """Return the mesh files that a pattern matches, by name."""
    try:
        if (folder / pattern).is_file():
            return [folder / pattern]
        names = glob.glob(pattern, root_dir=folder, recursive=True)
        files = [folder / name for name in names]
        meshes = [f for f in files if f.suffix.lower() in SUFFIX_FORMATS and f.is_file()]
    except (OSError, ValueError, re.error):  # signs that no name can hold
        return []
    return sorted(meshes, key=natural)


def meshes_in(folder: Path) -> list[Path]:
    """Return the mesh files of a folder by name, but for hidden ones."""
    files = [f for f in folder.iterdir() if f.suffix.lower() in SUFFIX_FORMATS and f.is_file()]
    return sorted((f for f in files if not f.name.startswith(".")), key=natural)


def natural(file: Path) -> tuple[list[str | int], str]:
    """Order names as people do: crown_2 before crown_10."""
    parts = re.split(r"([0-9]+)", file.as_posix().casefold())
    return [int(part) if part.isdecimal() else part for part in parts], file.as_posix()


def _why_none(pattern: str, folder: Path) -> str:
    """Say why a pattern matches nothing; nothing if it does match."""
    file = folder / pattern
    if matching(pattern, folder):
        return ""
    if not glob.has_magic(pattern):
        return what_is_there(file)
    if glob.has_magic(str(file.parent)):
        return "Check the path; it starts from this file's folder."
    if not there(file.parent, Path.is_dir):
        return what_is_there(file)
    names = [f.name for f in meshes_in(file.parent)]
    if not names:
        return f"Mesh files end in {', '.join(SUFFIX_FORMATS)}; there is none in that folder."
    return f"There are {', '.join(names[:3])}{' …' if len(names) > 3 else ''}; capitals count."


def refuse_name(name: str, before: Sequence[str], place: Place) -> None:
    """Note what no group can be called, or what another one is called but for capitals."""
    for reason, remedy in wrong_name(name, before):
        place.wrong(reason, remedy)


def wrong_name(name: str, before: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield why a group cannot be called so beside others, and what to do about it."""
    if group_name(name) != name:
        yield (
            f"{shown(name)} cannot be the name of a group.",
            f"Give 1 to {_LONGEST_NAME} letters, digits and such, and other words as its title.",
        )
    if name.casefold() == REPEATS.name:
        yield "Repeated scans are called that.", "Give the group another name."
    same = [other for other in before if other.casefold() == name.casefold() and other != name]
    if same:
        yield f"It differs from group {same[0]} by capitals only.", "Give it another name."


def group_name(words: str) -> str:
    """Return words as they can be the name of a group, in tables and in names of files."""
    kept = "".join("_" if s in _NOT_IN_NAMES or not s.isprintable() else s for s in words)
    return kept[:_LONGEST_NAME].strip(". ") or "group"


def _read_facts(given: Any, place: Place) -> dict[str, str]:
    if not isinstance(given, dict):
        place.wrong(f"It is {shown(given)}, not a table.", "Write it as a table of its own.")
        return {}
    facts = read_section(FACTS, given, place)
    return {name: fact for name, fact in facts.items() if fact}


def _refuse_taken(name: str, matches: tuple[ScanMatch, ...], taken: dict[str, str]) -> None:
    """Note scans that are the design or were found before; one mistake per pattern and cause."""
    clashes: dict[tuple[tuple[str | int, ...], str], list[ScanMatch]] = {}
    for match in matches:
        real = _real(match.scan)
        if real in taken:
            clashes.setdefault((match.place.path, taken[real]), []).append(match)
        else:
            taken[real] = name
    for (_, owner), several in clashes.items():
        first, more = several[0], len(several) - 1
        file = readable(first.scan.name)
        which = f"{file} and {more} more are" if more else f"{file} is"
        if not owner:
            first.place.wrong(f"{which} the design.", "Match the scans only, or list them.")
        elif owner == name:
            first.place.wrong(f"{which} in this group twice.", "Name each scan once.")
        else:
            first.place.wrong(f"{which} in group {owner} too.", "Leave each scan in one group.")


def refuse_same_titles(groups: Sequence[GroupPlan], place: Place) -> None:
    """Note groups that readers could not tell apart."""
    seen: dict[str, str] = {}
    for group in groups:
        other = seen.setdefault(group.title.casefold(), group.name)
        if other.casefold() != group.name.casefold():  # else it is told of their names
            (place / group.name / "title").wrong(
                f"Group {other} has the same title.", "Give each group a title of its own."
            )


def _real(file: Path) -> str:
    return os.path.normcase(os.path.realpath(file))
