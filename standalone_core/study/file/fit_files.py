"""The meshes that a study names for its fit: each is one thing, and pairs go together."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...readable import readable
from ..plan import GroupPlan
from .fit_sections import DIES, FIT, SEATED
from .place import Place

_DIE = "a die"


@dataclass(frozen=True)
class _Named:
    """A mesh, what it is named as, and where; None where other checks look after the place."""

    file: Path
    thing: str
    place: Place | None = None


def refuse_shared(
    values: Mapping[str, Mapping[str, Any]],
    groups: Sequence[GroupPlan],
    neighbours: Sequence[Path],
    place: Place,
) -> None:
    """Note files that are named as two different things; one mistake per key and thing.

    Several crowns may sit on one die; nothing else may be named twice.
    """
    first: dict[str, str] = {}
    noted: set[tuple[str, str]] = set()
    for named in _all_meshes(values, groups, neighbours, place):
        real = os.path.normcase(os.path.realpath(named.file))
        other = first.get(real, "")
        first.setdefault(real, named.thing)
        shared = other and not other == named.thing == _DIE
        if named.place is None or not shared or (named.place.key, other) in noted:
            continue
        noted.add((named.place.key, other))
        which = "there twice" if other == named.thing else f"{other}, too"
        named.place.wrong(f"{readable(named.file.name)} is {which}.", "Name each file once.")


def _all_meshes(
    values: Mapping[str, Mapping[str, Any]],
    groups: Sequence[GroupPlan],
    neighbours: Sequence[Path],
    place: Place,
) -> Iterator[_Named]:
    """Every mesh of the study: first what other checks look after, then what belongs to a fit."""
    given, fit = values[FIT.name], place / FIT.name
    if "design" in values[""]:
        yield _Named(values[""]["design"], "the design")
    for group in groups:
        yield from (_Named(scan, f"a scan of group {group.name}") for scan in group.scans)
    if "die" in given:
        yield _Named(given["die"], _DIE, fit / "die")
    for group in groups:
        for key, thing in ((DIES, _DIE), (SEATED, "a seated scan")):
            here = None if group.crowns else place / "groups" / group.name / key.name
            yield from (_Named(file, thing, here) for file in getattr(group, key.name))
    yield from (_Named(tooth, "a neighbour", fit / "neighbours") for tooth in neighbours)
    if "antagonist" in given:
        yield _Named(given["antagonist"], "the antagonist", fit / "antagonist")


def pairing_notes(groups: Sequence[GroupPlan]) -> Iterator[str]:
    """Say where crowns and what belongs to them are paired though their numbers differ."""
    for group in groups:
        if group.crowns:
            continue  # paired by the rows of a list
        for files, thing in ((group.dies, "die"), (group.seated, "seated scan")):
            pairs = zip(group.scans, files, strict=True) if len(set(files)) > 1 else ()
            odd = [pair for pair in pairs if _number(pair[0]) != _number(pair[1])]
            if odd:
                scan, file = (readable(path.name) for path in odd[0])
                yield (
                    f"Group {group.name}: files are paired in their order, so that the {thing} of "
                    f"{scan} is {file}."
                )


def _number(file: Path) -> str:
    """The last number in a file's name, without zeros before it."""
    found: list[str] = re.findall(r"[0-9]+", file.stem)
    return found[-1].lstrip("0") if found else ""
