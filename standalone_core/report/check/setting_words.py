"""Settings in words, for the pages: no lists, no names with underscores, units after numbers."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from ...allowed import Choice, Direction, Names, PerArea, Places, Points, Spot
from ...length_units import UNIT_NAMES
from ...readable import readable
from ...setting import UNITS, Setting, declared_in
from ...words.names import AREA_WORDS, MEASURE_WORDS, area_words, measure_words
from ...words.text import capital
from .sentences import START_WORDS, WEIGHTING_WORDS

TITLES: Mapping[str, str] = MappingProxyType(
    {
        "check": "measuring",
        "superimpose": "superimposition",
        "deviation": "which points count",
        "patches": "patches outside tolerance",
        "mark": "support marks",
        "analysis": "comparing groups",
        "scores": "examiners' scores",
        "settings": "",
        "gap": "gap and margin",
        "triple_scan": "scan of the seated crown",
    }
)
"""Headings of parts whose own name is not one; none for a part that needs none."""

CHOICE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        **UNIT_NAMES,
        **START_WORDS,
        **WEIGHTING_WORDS,
        "welch": "means (Welch)",
        "trimmed": "trimmed means (Yuen)",
        "patches": "means over patches",
        "hard": "every point",
    }
)
GUESSED: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("design_unit", "scan_unit", "crown_unit", "die_unit"), "by the size"),
        "contact": "every point of a design, means over patches of a scan",
    }
)
"""What ``auto`` stands for, by the setting."""

ABSENT: Mapping[str, str] = MappingProxyType(
    {
        "insertion": "found from the surface",
        "areas_file": "none",
        "examiners": "none",
        "repeats": "none",
        "antagonist": "none",
        "fit": "not studied",
        "finish_line": "carried over from the design's margin line",
        "path": "none",
        "earlier": "none",
    }
)
"""What a setting means that is not given, by its name."""

EMPTY: Mapping[str, str] = MappingProxyType(
    {"areas": "all that are found", "fit_areas": "the whole crown", "crowns": "all"}
)
"""What an empty list means, by the name of the setting."""

_OTHER_AREAS = "default"
_LISTED_FILES = 3


@dataclass(frozen=True)
class SettingRow:
    """One setting: its name and value in words, and what it is about, empty if not known."""

    name: str
    value: str
    about: str = ""


@dataclass(frozen=True)
class SettingTable:
    """The settings of one part, under a heading; empty for those of the whole."""

    title: str
    rows: tuple[SettingRow, ...]


def setting_tables(
    settings: Any,
    path: Callable[[Path], str] = lambda file: readable(file.name),
    unused: Mapping[type, Collection[str]] = MappingProxyType({}),
) -> tuple[SettingTable, ...]:
    """Write settings, and those of all parts that they hold, in words.

    Parameters
    ----------
    settings : dataclass
    path : callable
        How a file is named.
    unused : mapping of type to collection of str
        Names to leave out of a dataclass, since others take their place.

    Returns
    -------
    tuple of SettingTable
        A table for each part that has a setting, headed by the way to it.

    Examples
    --------
    >>> from cuspwise import CheckSettings, Tolerances
    >>> settings = CheckSettings(tolerances=Tolerances({"margin": 15, "occlusal": 20}))
    >>> tables = {table.title: table.rows for table in setting_tables(settings)}
    >>> print(tables["Tolerances"][0].value)
    margin: 15 µm; occlusal: 20 µm
    """
    return tuple(table for table in _tables(settings, "", _Reader(path, unused)) if table.rows)


@dataclass(frozen=True)
class _Reader:
    """How files are named, and what is left out."""

    path: Callable[[Path], str]
    unused: Mapping[type, Collection[str]]

    def entries(self, owner: Any) -> Iterator[tuple[str, Any, Setting | None]]:
        """Return name, value and declaration of all that is read; parts without heading opened."""
        declared, left_out = declared_in(type(owner)), self.unused.get(type(owner), ())
        for name in (one.name for one in fields(owner) if one.name not in left_out):
            value = getattr(owner, name)
            if TITLES.get(name) == "":
                yield from self.entries(value)
            else:
                yield name, value, declared.get(name)


def _tables(owner: Any, title: str, reader: _Reader) -> Iterator[SettingTable]:
    rows: list[SettingRow] = []
    parts: list[tuple[str, Any]] = []
    for name, value, declared in reader.entries(owner):
        inner = _parts(name, value)
        if inner:
            parts += inner
        else:
            rows += _rows(name, value, declared, reader.path)
    yield SettingTable(capital(title), tuple(rows))
    for name, part in parts:
        yield from _tables(part, f"{title}: {name}" if title else name, reader)


def _parts(name: str, value: Any) -> list[tuple[str, Any]]:
    """Return the dataclasses that a setting holds, each with its heading."""
    if is_dataclass(value):
        return [(TITLES.get(name, _name_words(name)), value)]
    if isinstance(value, tuple) and value and all(map(is_dataclass, value)):
        thing = _name_words(name).removesuffix("s")
        return [(f"{thing} {getattr(one, 'title', one.name)}", one) for one in value]
    return []


def _rows(
    name: str, value: Any, declared: Setting | None, path: Callable[[Path], str]
) -> Iterator[SettingRow]:
    """One row; one of each entry where a mapping holds lists."""
    about = "" if declared is None else f"{declared.meaning} {declared.more}".strip()
    if isinstance(value, Mapping) and any(isinstance(item, tuple) for item in value.values()):
        for key, items in value.items():
            words = ", ".join(f"{k}: {item}" for k, item in enumerate(items))
            yield SettingRow(f"{_name_words(name)}, {key}", words, about)
    else:
        yield SettingRow(_name_words(name), _value_words(name, value, declared, path), about)


def _name_words(name: str) -> str:
    """Return a setting's name without its unit, words for underscores."""
    stem, _, unit = name.rpartition("_")
    return (stem if f"_{unit}" in UNITS else name).replace("_", " ")


def _value_words(
    name: str, value: Any, declared: Setting | None, path: Callable[[Path], str]
) -> str:
    if value is None:
        return ABSENT.get(name, "not given")
    if isinstance(value, Path):
        return path(value)
    if isinstance(value, str):
        return _text_words(name, value, declared)
    if isinstance(value, bool | int | float):
        return _number_words(value, name)
    if isinstance(value, Mapping) and value:
        return _mapping_words(name, value, declared)
    return _list_words(value, declared, path) if value else EMPTY.get(name, "none")


def _number_words(value: float, name: str) -> str:
    """Write yes or no, or a number without exponent with the unit that its name ends with."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = f"{value:.6g}" if isinstance(value, float) else str(value)
    if "e" in text:
        text = f"{value:.15f}".rstrip("0").rstrip(".")
    text = text.replace("-", "−")
    unit = UNITS.get(f"_{name.rpartition('_')[2]}", "")
    return f"{text}°" if unit == "degrees" else f"{text} {unit}".strip()


def _text_words(name: str, value: str, declared: Setting | None) -> str:
    """Write a word that is chosen from several in words; any other text as it is."""
    if value == "":
        return "none"
    if value == "auto" and name in GUESSED:
        return GUESSED[name]
    if name == "primary_area":
        return area_words(value)
    if declared is not None and isinstance(declared.allowed, Choice):
        known = MEASURE_WORDS.get(value) or CHOICE_WORDS.get(value)
        return known or value.replace("_", " ")
    return value


def _mapping_words(name: str, value: Mapping[str, Any], declared: Setting | None) -> str:
    """Write entries one after the other, those of areas with the areas' names."""
    per_area = declared is not None and isinstance(declared.allowed, PerArea)
    return "; ".join(
        f"{_key_words(key) if per_area else key}: "
        f"{_number_words(float(f'{item:.4g}'), name) if isinstance(item, int | float) else item}"
        for key, item in value.items()
    )


def _key_words(key: str) -> str:
    if key == _OTHER_AREAS:
        return "all other areas"
    return measure_words(key) if key in MEASURE_WORDS else area_words(key)


def _list_words(value: Sequence[Any], declared: Setting | None, path: Callable[[Path], str]) -> str:
    """Write a list: a direction by its axes, many files by the first and the last."""
    allowed = None if declared is None else declared.allowed
    if isinstance(allowed, Direction | Spot):
        unit = " mm" if isinstance(allowed, Spot) else ""
        return ", ".join(
            f"{a} {_number_words(x, '')}{unit}" for a, x in zip("xyz", value, strict=True)
        )
    if isinstance(allowed, Points):
        return f"{len(value)} places"
    if all(isinstance(item, Path) for item in value):
        names = [path(item) for item in value]
        if len(names) <= _LISTED_FILES:
            return ", ".join(names)
        return f"{len(names)} files, {names[0]} to {names[-1]}"
    if isinstance(allowed, Names):
        return _names_words(value, allowed)
    return "; ".join(str(item) for item in value)


def _names_words(value: Sequence[str], allowed: Names) -> str:
    """Write a list of names, or of comparisons by area and measure."""
    if isinstance(allowed, Places):
        places = [item.rpartition(" ") for item in value]
        return "; ".join(f"{area_words(area)}, {measure_words(name)}" for area, _, name in places)
    words = {**AREA_WORDS, **MEASURE_WORDS}
    return ", ".join(words.get(item, item) for item in value)
