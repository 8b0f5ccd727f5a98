"""Study files of earlier versions: what is called otherwise in them is read by its new name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from ...areas.support_marks import OLD_KINDS, new_area_name
from .check_sections import SUPPORT_MARKS
from .place import Place
from .toml_lines import KeyPath

NEW_NAMES: Mapping[KeyPath, KeyPath] = MappingProxyType(
    {
        ("contacts",): (SUPPORT_MARKS,),
        ("measuring", "drop_debris"): ("measuring", "ignore_loose_pieces"),
        ("superimposition", "loss"): ("superimposition", "fit_weighting"),
        ("verdicts", "contact_um"): (SUPPORT_MARKS, "limit_um"),
    }
)
"""Tables and keys by what older files call them."""

_AREA_LISTS = (("analysis", "areas"), ("superimposition", "fit_areas"))
_AREA_TABLES = ("tolerances_um", "equivalence_um", "scanner_um")


def with_new_names(document: Mapping[str, Any], place: Place) -> tuple[dict[str, Any], Place]:
    """Return a study file's content by the names of this version.

    Parameters
    ----------
    document : mapping
        The file as it is.
    place : Place
        Of the whole file. A name that is there both ways is noted as a mistake.

    Returns
    -------
    dict
        A copy with the new names.
    Place
        The same place, which knows the lines by their new names.
    """
    new = deepcopy(dict(document))
    lines = dict(place.lines)
    for old, name in (*NEW_NAMES.items(), *_areas_of_tables(new)):
        _rename(new, old, name, lines, place)
    _rename_values(new)
    return new, replace(place, lines=lines)


def _areas_of_tables(document: Mapping[str, Any]) -> Iterator[tuple[KeyPath, KeyPath]]:
    """Yield the keys that are areas with an old name, and their new names."""
    for table in _AREA_TABLES:
        given = document.get(table)
        for name in given if isinstance(given, dict) else ():
            if new_area_name(name) != name:
                yield (table, name), (table, new_area_name(name))


def _rename(
    document: dict[str, Any], old: KeyPath, new: KeyPath, lines: dict[KeyPath, int], place: Place
) -> None:
    """Give a key or table its new name; tables that are there both ways become one."""
    was, name = str(old[-1]), str(new[-1])
    source = _table(document, old[:-1], make=False)
    if source is None or was not in source:
        return
    target = _table(document, new[:-1], make=True)
    if target is None:
        return  # what stands there is noted as a mistake where it is read
    given, there = source[was], target.get(name)
    if there is None:
        target[name] = given
        for path in [path for path in lines if path[: len(old)] == old]:
            lines[(*new, *path[len(old) :])] = lines.pop(path)
    elif isinstance(given, dict) and isinstance(there, dict):
        for inner in tuple(given):
            _rename(document, (*old, inner), (*new, inner), lines, place)
    else:
        here = place
        for part in old:
            here /= part
        dotted = ".".join(map(str, new))
        here.wrong(f"It is called {dotted} now, which is there too.", "Keep one of them.")
    del source[was]


def _table(document: dict[str, Any], path: KeyPath, *, make: bool) -> dict[str, Any] | None:
    """Return a table, if need be made; None where there is none or something else stands."""
    table = document
    for part in map(str, path):
        inner = table.setdefault(part, {}) if make else table.get(part)
        if not isinstance(inner, dict):
            return None
        table = inner
    return table


def _rename_values(document: dict[str, Any]) -> None:
    """Give areas and kinds of marks that are named as values their new names."""
    for path in _AREA_LISTS:
        table = document.get(path[0])
        names = table.get(path[1]) if isinstance(table, dict) else None
        if isinstance(names, list):
            names[:] = [new_area_name(n) if isinstance(n, str) else n for n in names]
    analysis = document.get("analysis")
    if isinstance(analysis, dict) and isinstance(analysis.get("primary_area"), str):
        analysis["primary_area"] = new_area_name(analysis["primary_area"])
    marks = document.get(SUPPORT_MARKS)
    for mark in marks.values() if isinstance(marks, dict) else ():
        if isinstance(mark, dict) and isinstance(mark.get("kind"), str):
            mark["kind"] = OLD_KINDS.get(mark["kind"], mark["kind"])
