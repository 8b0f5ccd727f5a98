"""Values that a setting cannot have, and slips of a thousand, by its declaration."""

from __future__ import annotations

import math
from typing import Any

from cuspwise.standalone_core.allowed import (
    Allowed,
    Choice,
    Direction,
    Flag,
    Names,
    Number,
    Text,
)
from cuspwise.standalone_core.setting import Setting

USUAL = {"tolerances_um": 15.0, "scanner_um": 1.5, "equivalence_um": 5.0, "patch_um": 25.0}
USUAL |= {"cement_space_um": 60.0, "margin_space_um": 30.0}
"""Numbers for settings whose default is none."""


def wrong_values(kind: Allowed) -> list[Any]:
    """Values of every sort that a kind refuses."""
    if isinstance(kind, Number):
        return _wrong_numbers(kind)
    if isinstance(kind, Choice):
        return ["furlong", "", 3, True]
    if isinstance(kind, Flag):
        return ["yes", 1, 0.0]
    if isinstance(kind, Direction):
        return [[0, 0, 0], [1, 2], [1, 2, math.nan], [1, 2, 3, 4], "left", 7]
    if isinstance(kind, Names):
        return [3, ["margin", "margin"], ["margin", 3]]
    empty_allowed = isinstance(kind, Text) and not kind.filled
    return [3, True] if empty_allowed else [3, "  "]


def _wrong_numbers(kind: Number) -> list[Any]:
    values: list[Any] = [math.nan, math.inf, -math.inf, "wide", True, [1.0]]
    values += [-1, -1e-9] if kind.low >= 0 else [1.001 * kind.low - 1, 1000.0 * kind.low]
    values += [kind.low] if kind.low_open else []
    if math.isfinite(kind.high):
        values += [kind.high * 1.001 + 1, 9999.0 * kind.high]
        values += [kind.high] if kind.high_open else []
    if kind.whole:
        values += [kind.low + 1.5]
    if kind.low > 0:
        values += [kind.low / 1000]
    return values


def usual(setting: Setting) -> float:
    """A number that a setting usually has."""
    return USUAL[setting.name] if setting.name in USUAL else float(setting.default)


def slips(setting: Setting) -> list[float]:
    """Return the usual number a thousand times too large and too small."""
    number = usual(setting)
    return [float(f"{number * 1000:.6g}"), float(f"{number / 1000:.6g}")]
