"""The places around a margin as text, and as the core's own result again. Needs no Blender."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import fields
from functools import lru_cache
from typing import Any

import numpy as np

from ...standalone_core.deviation.margin_directions import Directions
from ...standalone_core.fit.gap.result import Harmonic, MarginalGap, Sector
from ...standalone_core.fit.settings import GapSettings
from ...standalone_core.records import plain

_DIGITS = 7  # of a number; a place of 10 mm is kept to 1 nm


def text_of(margin: MarginalGap | None) -> str:
    """Return all that is known of a margin as text; empty for none."""
    return "" if margin is None else json.dumps(_short(plain(margin)))


@lru_cache(maxsize=8)
def margin_of(text: str) -> MarginalGap | None:
    """Return the margin that a text holds; None if it holds none."""
    if not text:
        return None
    kept = json.loads(text)
    made: dict[str, Any] = {}
    for field in fields(MarginalGap):
        made[field.name] = _made(field.name, kept[field.name])
    return MarginalGap(**made)


def _directions(kept: Mapping[str, Any]) -> Directions:
    ends = {end: np.array(kept[end]) for end in ("zero", "quarter")}
    return Directions(**{**_numbers(kept), **ends})


_PARTS: Mapping[str, Callable[[Any], Any]] = {
    "directions": _directions,
    "sectors": lambda kept: tuple(Sector(**_numbers(row)) for row in kept),
    "harmonics": lambda kept: tuple(Harmonic(**_numbers(row)) for row in kept),
    "settings": lambda kept: GapSettings(**kept),
    "warnings": tuple,
    "measured": lambda kept: np.array(kept, dtype=bool),
}
"""What is neither numbers nor text, by its field."""


def _made(name: str, kept: Any) -> Any:
    if name in _PARTS:
        return _PARTS[name](kept)
    if isinstance(kept, list):
        return np.array(kept, dtype=np.float64)
    return np.nan if kept is None else kept


def _numbers(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: np.nan if value is None else value for name, value in row.items()}


def _short(value: Any) -> Any:
    """Return plain data with numbers of no more digits than they are worth."""
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    if isinstance(value, list):
        return [_short(item) for item in value]
    if isinstance(value, dict):
        return {name: _short(item) for name, item in value.items()}
    return value
