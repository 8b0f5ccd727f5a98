"""What the panel and the legend say of causes that are kept, as short lines. Needs no Blender."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from ...standalone_core.causes.words import (
    CAUSE_WORDS,
    CAUTION,
    FAMILY_WORDS,
    cause_words,
    percent_range,
    um_range,
)
from ...standalone_core.shares import share_words
from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import capital, listed, micrometres
from ..study.map_legend import LETTERS

ALL_TITLE, LEFT_TITLE = "all causes", "what is left"
AXIS_WORDS = {
    "all": "in all directions",
    "across": "across the build direction",
    "along": "along the build direction",
    "first": "along the first main direction",
    "second": "along the second main direction",
    "third": "along the third main direction",
}
Row = Mapping[str, Any]


def stated(kept: Mapping[str, Any]) -> list[Row]:
    """Return the causes that the data hold, the largest first."""
    return [row for row in kept["causes"] if row["stated"]]


def key_of(row: Row) -> str:
    """Return the key of a cause's map: its name, or that of its family if it has none."""
    return str(row["cause"] or row["family"])


def title_of(kept: Mapping[str, Any], key: str) -> str:
    """Return what a map shows, in words."""
    named = {key_of(row): cause_words(row["cause"], row["family"]) for row in stated(kept)}
    others = {"all": ALL_TITLE, "left": LEFT_TITLE, **FAMILY_WORDS, **CAUSE_WORDS, **named}
    return others.get(key, key.replace("_", " "))


def legend_heads(kept: Mapping[str, Any], key: str) -> tuple[str, ...]:
    """Return the lines above a map's legend, as narrow as the legend is."""
    if key == "left":
        return "Deviation left, µm", "without the causes stated"
    return "Deviation, µm, made by", *textwrap.wrap(title_of(kept, key), LETTERS)


def sentences(kept: Mapping[str, Any]) -> list[str]:
    """Return what a reader should know; the caution stands beside the correction."""
    return [text for text in kept["sentences"] if text != CAUTION]


def size_line(row: Row) -> str:
    """Return a cause's size with its interval; empty where it has none."""
    size = (row["estimate"], row["low"], row["high"])
    if None in size:
        return ""
    if row["unit"] == "‰":
        return percent_range(*size)
    if row["unit"] == "µm":
        return um_range(*size)
    middle, low, high = (f"{number:.3f}" for number in size)
    return f"{middle} {row['unit']} ({low} to {high})"


def weight_line(row: Row) -> str:
    """Return how much of the deviations a cause makes, and how sure it is."""
    rms = micrometres(_number(row["rms_um"]))
    return f"{rms} µm RMS · probability {_probability(_number(row['probability']))}"


def share_line(row: Row) -> str:
    """Return which share of the variance needs a cause; empty where that is not known."""
    share = _number(row["share_alone"])
    return f"{share_words(share, digits=0)} of the variance by itself" if share >= 0.005 else ""


def not_shown(kept: Mapping[str, Any]) -> str:
    """Return which families were looked for and are not stated; empty if there are none."""
    told = {row["family"] for row in stated(kept)}
    families = [row["family"] for row in kept["causes"] if not row["stated"]]
    names = [FAMILY_WORDS[name] for name in dict.fromkeys(families) if name not in told]
    return f"Looked for and not shown by these data: {listed(names)}." if names else ""


def correction_lines(kept: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Return for each axis: which it is, factor used and next with interval, its condition."""
    found = []
    for axis, row in (kept["correction"] or {}).items():
        used, then, low, high = (
            f"{row[name]:.4f}" for name in ("factor_used", "factor_next", "low", "high")
        )
        condition = f"{capital(row['condition'])}." if row["condition"] else ""
        words = capital(AXIS_WORDS.get(axis, axis))
        found.append((words, f"{used} → {then} ({low} to {high})", condition))
    return found


def predictions(kept: Mapping[str, Any]) -> list[tuple[str, list[str]]]:
    """Return what areas would measure, a list of lines for each correction."""
    found: dict[str, list[str]] = {}
    for row in kept["predicted"]:
        title = f"Without {title_of(kept, row['without'])}"
        found.setdefault(title, []).extend(_prediction(row))
    return list(found.items())


def _prediction(row: Row) -> Sequence[str]:
    now, then = (micrometres(_number(row[name])) for name in ("mean_abs_um", "predicted_um"))
    name = capital(area_words(row["area"]))
    within = "within" if row["would_meet"] else "outside"
    return f"{name}: {now} → {then} µm", f"{within} ±{row['limit_um']:g} µm, predicted"


def mark_words(row: Row) -> str:
    """Return what a support mark is that was found, and its likelihood, as short as a button."""
    height = micrometres(row["height_um"], signed=True, digits=0)
    return f"{capital(row['kind'])} {height} µm ({row['likelihood']:.2f})"


def place_words(row: Row) -> str:
    """Return how deep a filled place is, in few words."""
    return f"{micrometres(row['deepest_um'], digits=0)} µm, {row['area_mm2']:.1f} mm²"


def _probability(share: float) -> str:
    """Write a probability; what is not sure never reads as sure."""
    return "> 0.99" if share > 0.99 else f"{share:.2f}"


def _number(value: float | None) -> float:
    return float("nan") if value is None else float(value)
