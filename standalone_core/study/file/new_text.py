"""The text of a new study file: what is known of the study, and every setting as a remark."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ...allowed import Choice, Direction, Flag, Names, Number
from ..plan import EVERY_AREA
from .check_sections import MARK, TOLERANCES
from .fit_sections import DIES, FIT, FIT_EQUIVALENCE, SEATED
from .keys import NOT_SET, Key, Section
from .study_sections import (
    CROWNS,
    EQUIVALENCE,
    EXAMINERS,
    FACTS,
    GROUP,
    PRODUCTION,
    REPEATS,
    SETTINGS,
    TOP,
)

_WIDTH = 96
_MOST_WORDS = 8
_EXAMPLE_UM = 10.0  # of an equivalence limit: our own, no source, and so only a remark

_INTRODUCTION = """\
A study for Cuspwise. Lines that start with # are remarks. Every setting is here with its default;
to change one, delete the # before its name. Paths start from this file's folder. Not a medical
device: it supports, and never replaces, the judgement of a licensed professional and local
rules. Patient names do not belong in files or their names."""
_PRODUCTION_EXAMPLES = {
    "way": "unknown",
    "build_direction": [0.0, 0.0, 1.0],
    "enlargement": 1.25,
    "enlargement_along_build": 1.25,
    "bur_radius_mm": 0.5,
}
_FACT_NAMES = ("machine", "material", "settings", "finishing", "scanner")
_EXAMPLES = {
    "fossa_ball_mm": 0.9,
    "warp_reach_mm": 2.5,
    "scanner_scale_permille": 0.1,
    "cement_space_um": 60.0,
    "margin_space_um": 30.0,
    "die": "die.stl",
    "finish_line": "finish_line.csv",
    "neighbours": ["neighbour_*.stl"],
    "antagonist": "antagonist.stl",
    "earlier": "../earlier/study_results/study.json",
}
"""Examples of keys without a default, where 25 or a table of that name would be none."""


@dataclass(frozen=True)
class NewGroup:
    """A group of a new study file.

    Attributes
    ----------
    name : str
    title : str
    scans : tuple of str
        Patterns, from the study file's folder; none where a list tells the crowns.
    count : int
        How many scans they match.
    """

    name: str
    title: str
    scans: tuple[str, ...]
    count: int


@dataclass(frozen=True)
class NewStudy:
    """What is known when a new study file is written; all paths from its folder."""

    title: str
    design: str
    groups: tuple[NewGroup, ...]
    crowns: str | None = None
    examiners: str | None = None
    repeats: str | None = None
    die: str | None = None
    neighbours: tuple[str, ...] = ()
    antagonist: str | None = None


def study_text(study: NewStudy) -> str:
    """Return the text of a new study file, which reads back without a mistake."""
    blocks = ["\n".join([*_remarks(_INTRODUCTION), "", *_top(study)])]
    blocks.append("\n".join(_groups(study)))
    given: dict[str, dict[str, Any]] = {
        CROWNS.name: {"file": study.crowns},
        EXAMINERS.name: {"file": study.examiners},
        REPEATS.name: {"file": study.repeats},
        FIT.name: {
            "die": study.die,
            "neighbours": study.neighbours or None,
            "antagonist": study.antagonist,
        },
    }
    blocks += ["\n".join(_section(section, given.get(section.name, {}))) for section in SETTINGS]
    blocks.append("\n".join(_mark_example()))
    return "\n\n".join(blocks) + "\n"


def toml_text(value: Any) -> str:
    """Write a value as TOML."""
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(map(toml_text, value))}]"
    if isinstance(value, float) and not math.isfinite(value):
        return "inf" if value > 0 else "-inf" if value < 0 else "nan"
    # JSON's texts, numbers and truth values are TOML's too, but for one sign.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_key(name: str) -> str:
    """Write a key as TOML, in quotes if it needs them."""
    plain = name.replace("-", "").replace("_", "")
    return name if plain.isalnum() and plain.isascii() else toml_text(name)


def _top(study: NewStudy) -> Iterator[str]:
    values = {"title": study.title, "question": "", "design": study.design}
    for key in TOP.keys:
        if key.name in values:
            yield from _remarks(key.help)
            yield f"{key.name} = {toml_text(values[key.name])}"
        else:
            yield from _key(key, None)


def _groups(study: NewStudy) -> Iterator[str]:
    scans = _words_of(GROUP, "scans") if study.crowns is None else "Its crowns are in the list."
    yield from _remarks(f"{GROUP.help} {scans}")
    yield from _remarks(FACTS.help)
    for group in study.groups:
        name = toml_key(group.name)
        yield ""
        yield f"[groups.{name}]"
        yield f"title = {toml_text(group.title)}"
        first = group is study.groups[0]
        if study.crowns is None:
            yield from _files(group, explained=first)
        yield from _production(explained=first)
        yield f"[groups.{name}.facts]"
        sign = "" if study.crowns is None else "#"  # a list has columns for them
        yield from (f"{sign}{fact} = {toml_text('')}" for fact in _FACT_NAMES)


def _files(group: NewGroup, *, explained: bool) -> Iterator[str]:
    """Write a group's scans and, as remarks, their dies."""
    yield from _set("scans", group.scans)
    for key in (DIES, SEATED):
        yield from _remarks(key.help, indent="#   ") if explained else ()
        yield f"#{key.name} = {toml_text([f'{key.name}/{group.name}/*.stl'])}"


def _production(*, explained: bool) -> Iterator[str]:
    """Write what the search for causes is told of a group, as remarks."""
    for key in PRODUCTION:
        if explained:
            yield from _remarks(f"{key.help} {_allowed(key)}", indent="#   ")
        yield f"#{key.name} = {toml_text(_PRODUCTION_EXAMPLES[key.name])}"


def _words_of(section: Section, name: str) -> str:
    return next(key.help for key in section.keys if key.name == name)


def _set(name: str, value: Any, sign: str = "") -> Iterator[str]:
    """Set a key on one line, or with a line for each item of a long list, behind a sign."""
    line = f"{sign}{name} = {toml_text(value)}"
    if len(line) <= _WIDTH or not isinstance(value, (list, tuple)):
        yield line
        return
    yield f"{sign}{name} = ["
    yield from (f"{sign}  {toml_text(item)}," for item in value)
    yield f"{sign}]"


def _section(section: Section, given: Mapping[str, Any]) -> Iterator[str]:
    yield from _remarks(section.help)
    yield f"[{section.name}]"
    if section is TOLERANCES:
        for area, limit in NOT_SET.check.tolerances.tolerances_um.items():
            yield f"#{area} = {toml_text(limit)}  # default: common practice, no source"
    if section is EQUIVALENCE:
        yield f"#{EVERY_AREA} = {_EXAMPLE_UM}  # an example: choose your own"
        yield "#margin = 5.0  # an example"
    if section is FIT_EQUIVALENCE:
        yield f"#marginal_gap_um = {_EXAMPLE_UM}  # an example: choose your own"
    for key in section.keys:
        yield from _key(key, given.get(key.name))


def _mark_example() -> Iterator[str]:
    """Write a support mark as a remark."""
    yield from _remarks(MARK.help)
    yield f"#[{MARK.name.replace('NAME', 'lingual')}]"
    examples = {"centre_mm": [1.2, -4.5, 3.0], "radius_mm": 0.5, "kind": "support"}
    for key in MARK.keys:
        yield from _remarks(key.help, indent="#   ")
        yield f"#{key.name} = {toml_text(examples[key.name])}"


def _key(key: Key, given: Any) -> Iterator[str]:
    """Write a key with its meaning, as a remark unless it is given."""
    yield from _remarks(f"{key.help} {_allowed(key)}", indent="#   ")
    if given is not None:
        yield from _set(key.name, given)
    else:
        yield from _set(key.name, key.default if key.default is not None else _example(key), "#")


def _allowed(key: Key) -> str:
    """Say what a key allows, where its default does not show it, and if it has no default."""
    kind = key.kind
    telling = isinstance(kind, (Number, Flag)) or (
        isinstance(kind, Choice) and len(kind.words) <= _MOST_WORDS
    )
    if isinstance(kind, Names):
        telling = kind.known is not None
    notes = [kind.allowed] if telling else []
    if key.default is None:
        notes.append("no default")
    return f"({'; '.join(notes)})" if notes else ""


def _example(key: Key) -> Any:
    """Return a value for a key without a default, to be replaced by the user's own."""
    if key.name in _EXAMPLES:
        return _EXAMPLES[key.name]
    if isinstance(key.kind, Direction):
        return [0.0, 0.0, 1.0] if key.name == "insertion" else [1.0, 0.0, 0.0]
    if isinstance(key.kind, Number):
        return 25.0
    return "areas.json" if key.target.endswith("areas_file") else f"{key.target or key.name}.csv"


def _remarks(text: str, indent: str = "# ") -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()),
        _WIDTH,
        initial_indent="# ",
        subsequent_indent=indent,
        break_on_hyphens=False,
    )
