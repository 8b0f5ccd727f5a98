"""What the panel says of a contact, from plain data. Needs no Blender."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ...standalone_core.fit.sentences import KIND_WORDS, STRENGTH_WORDS
from ...standalone_core.words.text import micrometres

_LEAST_MM2 = 0.005
"""A smaller area is not told: it would read as none."""


def gap_words(gap_um: float | None) -> str:
    """Write a signed distance: a gap of 12 µm, an overlap of 20 µm."""
    if gap_um is None:
        return STRENGTH_WORDS["none"]
    amount = micrometres(abs(gap_um), digits=0)
    return f"{amount} µm {'gap' if gap_um >= 0.0 else 'overlap'}"


def details(row: Mapping[str, Any]) -> list[str]:
    """Return tooth, class, distance and area of a contact, and what was designed, a line each."""
    strength = STRENGTH_WORDS[row["strength"]]
    now = strength if row["gap_um"] is None else f"{strength}, {gap_words(row['gap_um'])}"
    now += _area(row["area_mm2"])
    lines = [f"{row['tooth']} ({KIND_WORDS[row['kind']]}): {now}"]
    if row["designed_gap_um"] is not None:
        then = gap_words(row["designed_gap_um"]) + _area(row["designed_area_mm2"])
        lines.append(f"Designed: {then}")
    return lines


def _area(area_mm2: float | None) -> str:
    return f", {area_mm2:.2f} mm²" if area_mm2 is not None and area_mm2 >= _LEAST_MM2 else ""
