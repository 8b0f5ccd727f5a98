"""The tables of a study file: their values, and what was probably meant by unknown names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from ...allowed import shown
from ...setting import taken_with
from ...suggestion import nearest
from .check_sections import FORCE, MARKS, SUPPORT_MARKS
from .keys import Key, Section
from .place import Place
from .study_sections import CROWNS, GROUP, MARK, SETTINGS, TOP
from .value_types import read_value

GROUPS = "groups"
_TABLES = {section.name: section for section in SETTINGS}
_SWITCH = "force = true above the first table"


@dataclass(frozen=True)
class Tables:
    """What the tables of a study file hold, as far as it can be used.

    Attributes
    ----------
    values : mapping of section name to mapping of key to value
        Of :data:`SETTINGS` and the top of the file, whose name is empty; keys that are absent or
        cannot be used are left out.
    groups, marks : mapping of the name of a group or support mark to its table
        As they are in the file.
    """

    values: Mapping[str, Mapping[str, Any]]
    groups: Mapping[str, Any]
    marks: Mapping[str, Any]


def read_tables(document: Mapping[str, Any], place: Place) -> Tables:
    """Read all tables of a study file; note every mistake in them."""
    top = {key: value for key, value in document.items() if TOP.key(key)}
    hinted = _refuse_unknown_names(document, place)
    if isinstance(document.get(CROWNS.name), str):  # noted as no table, and meant for a list
        hinted.add(CROWNS.name)
    place = replace(place, force=document.get(FORCE.name) is True)
    values = {"": read_section(TOP, top, place, hinted)}
    for name, section in _TABLES.items():
        table = document.get(name, {})
        if name == SUPPORT_MARKS:
            table = _without_marks(table, place / name)
        if isinstance(table, dict):
            values[name] = read_section(section, table, place / name)
        else:
            (place / name).wrong(f"It is {shown(table)}, not a table.", _as_table(section, table))
            values[name] = {}
    return Tables(
        values,
        _group_tables(document.get(GROUPS), place, hinted=bool({GROUPS, CROWNS.name} & hinted)),
        _mark_tables(document.get(SUPPORT_MARKS, {})),
    )


def _as_table(section: Section, given: Any) -> str:
    """Say how to write a table of which one value was given."""
    if section.key("file") and isinstance(given, str):
        return f'Write [{section.name}] on a line of its own and file = "{given}" below.'
    return f"Write [{section.name}] on a line of its own and its keys below."


def read_section(
    section: Section, table: Mapping[str, Any], place: Place, hinted: Iterable[str] = ()
) -> dict[str, Any]:
    """Read one table.

    Parameters
    ----------
    section : Section
        What it can hold.
    table : mapping
        What it does hold.
    place : Place
        Where it stands.
    hinted : iterable of str
        Keys that a misspelt one was probably meant for, which are not reported as missing too.

    Returns
    -------
    dict of key to value
        Without those that are absent or cannot be used.
    """
    values: dict[str, Any] = {}
    hints = set(hinted)
    for name, given in table.items():
        key = section.key(name) or section.free
        if key is not None:
            values[name] = _read(key, given, place / name)
        else:
            hints.add(_unknown(name, given, section, place))
    for key in section.keys:
        if key.required and key.name not in table and key.name not in hints:
            (place / key.name).wrong("It is missing.", f"Give {key.kind.allowed}.")
    return {name: value for name, value in values.items() if value is not None}


def _read(key: Key, given: Any, place: Place) -> Any:
    """Read a value; note it if it is not allowed, or hardly meant and not forced."""
    own = key.setting is not None and key.kind is key.setting.allowed
    value = read_value(key.setting if own and key.setting else key.kind, given, place)
    problem = None if value is None or place.force else key.implausible(value)
    if problem is not None:
        place.wrong(problem.reason, f"{problem.remedy} {taken_with(_SWITCH)}")
    return value


def _refuse_unknown_names(document: Mapping[str, Any], place: Place) -> set[str]:
    """Note what is unknown at the top of the file; return what it was probably meant for."""
    known = {*_TABLES, GROUPS}
    hints: set[str] = set()
    for name, given in document.items():
        if name in known or TOP.key(name):
            continue
        if isinstance(given, (dict, list)):
            close = nearest(name, known)
            if close:
                (place / name).wrong("There is no such table.", f"Did you mean [{close}]?")
                hints.add(close)
                continue
        hints.add(_unknown(name, given, TOP, place))
    return hints


def _unknown(name: str, given: Any, section: Section, place: Place) -> str:
    """Note a key that is unknown; return the one that it was probably meant for, if any."""
    names = [key.name for key in section.keys]
    close = nearest(name, names)
    homes = [other for other in (TOP, GROUP, *SETTINGS, MARK) if other.key(name)]
    if homes:
        close, remedy = "", f"It belongs {_where(homes[0])}."
    elif isinstance(given, dict) and not close:
        tables = ", ".join(f"[{table}]" for table in (*_TABLES, "groups.NAME"))
        remedy = f"Tables are {tables} and [{MARK.name}]."
    elif close:
        remedy = f"Did you mean {close}?"
    else:
        remedy = f"Choose from {', '.join(names)}."
    (place / name).wrong("There is no such key.", remedy)
    return close


def _where(section: Section) -> str:
    return f"below [{section.name}]" if section.name else "above the first table"


def _without_marks(table: Any, place: Place) -> Any:
    """Return what the table of support marks says of all of them; note what is no mark."""
    if not isinstance(table, dict):
        place.wrong(
            f"It is {shown(table)}, not a table.",
            f"Write a table for each mark: [{SUPPORT_MARKS}.lingual], and centre_mm and radius_mm "
            "below.",
        )
        return {}
    for name, given in table.items():
        if isinstance(given, list) and MARKS.key(name) is None:
            (place / name).wrong(f"It is {shown(given)}.", f"Write [{SUPPORT_MARKS}.{name}].")
    return {
        name: given
        for name, given in table.items()
        if not isinstance(given, dict) and (MARKS.key(name) or not isinstance(given, list))
    }


def _mark_tables(table: Any) -> Mapping[str, Any]:
    """Return the tables of single support marks."""
    parts = table.items() if isinstance(table, dict) else ()
    return {name: given for name, given in parts if isinstance(given, dict)}


def _group_tables(given: Any, place: Place, *, hinted: bool) -> Mapping[str, Any]:
    """Return the tables of the groups; note if there is none, and no list of crowns either."""
    remedy = (
        "Write a table for each group: [groups.milled], and its scans below. "
        f'Or list the crowns: [{CROWNS.name}], and below file = "crowns.csv".'
    )
    listed = (place / CROWNS.name / "file").path in place.lines
    if listed and not given:
        return {}
    if given is None:
        if not hinted:
            (place / GROUPS).wrong("There is no group.", remedy)
        return {}
    if not isinstance(given, dict):
        (place / GROUPS).wrong("It is not a table of groups.", remedy)
        return {}
    if not given:
        (place / GROUPS).wrong("There is no group.", remedy)
    return given
