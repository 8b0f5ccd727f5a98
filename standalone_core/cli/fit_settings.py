"""Settings of a fit from the options of the command line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ..areas.settings import AreaSettings
from ..errors import SettingError
from ..fit.settings import FitSettings
from ..setting import changed
from ..study.file.fit_sections import FIT_PARTS
from ..study.file.keys import Key, Section, keys_of
from .setting_options import read_options, read_set

MEASURING = Section(
    "fit",
    "How crown and die are read and measured.",
    keys_of(FitSettings, "", but=("force",)),
)
SEAT, GAP, WALLS, CONTACTS, TRIPLE_SCAN = (
    Section(name, words, keys_of(kind, name)) for name, (words, kind) in FIT_PARTS.items()
)
AREAS = Section(
    "areas",
    "The parts of the crown; directions in the frame of the die.",
    keys_of(AreaSettings, "areas"),
)

FIT_TABLES = (MEASURING, SEAT, GAP, WALLS, CONTACTS, TRIPLE_SCAN, AREAS)
WALL_TABLES = (MEASURING, WALLS, AREAS)
"""The tables whose settings ``--set`` can set."""

_MEANINGS = {
    "insertion": "Path of insertion, to occlusal, in the frame of the {}; found if not given.",
    "mesial_direction": "Towards mesial, in the frame of the {}; names places around the crown.",
    "buccal_direction": "Towards buccal, in the frame of the {}; names places around the crown.",
}


def _directions(of: str) -> tuple[Key, ...]:
    """Return the keys of the directions, told for the frame that they are given in."""
    keys = [(key, key.setting) for key in AREAS.keys if key.name in _MEANINGS]
    return tuple(
        replace(key, setting=replace(setting, meaning=_MEANINGS[key.name].format(of)))
        for key, setting in keys
        if setting is not None
    )


_OF_A_CROWN = tuple(key for key in MEASURING.keys if key.name in ("crown_unit", "spacing_mm"))
FIT_OPTIONS = (
    *_directions("die"),
    *(key for key in GAP.keys if key.name != "places"),
    *MEASURING.keys,
)
WALL_OPTIONS = (*_directions("crown"), *_OF_A_CROWN)
"""The settings with options of their own."""


def fit_settings(given: Mapping[str, Any]) -> FitSettings:
    """Fit settings from the options of ``fit``.

    Raises
    ------
    SettingError
        A value that is not allowed, or hardly meant without ``--force``; ``--hard`` and another
        kind of contact.
    """
    force = bool(given["force"])
    changes = read_set(given["set"], FIT_TABLES, force=force)
    changes |= read_options(FIT_OPTIONS, given, force=force)
    if given["hard"]:
        if changes.get("seat.contact", "hard") != "hard":
            raise SettingError(
                f"It contradicts '--set contact={changes['seat.contact']}'.",
                subject="--hard",
                remedy="Give one of the two.",
            )
        changes["seat.contact"] = "hard"
    return _changed(changes, force)


def wall_settings(given: Mapping[str, Any]) -> FitSettings:
    """Fit settings from the options of ``walls``; raises as :func:`fit_settings` does."""
    force = bool(given["force"])
    changes = read_set(given["set"], WALL_TABLES, force=force)
    return _changed(changes | read_options(WALL_OPTIONS, given, force=force), force)


def _changed(changes: Mapping[str, Any], force: bool) -> FitSettings:
    settings: FitSettings = changed(FitSettings(), {**changes, "force": force})
    return settings
