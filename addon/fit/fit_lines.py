"""What the panel says of a fit: sentences, kept as they are, and rows of numbers. No Blender."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ...standalone_core.fit.judged import WALLS
from ...standalone_core.fit.sentences import (
    AREA_WORDS,
    FIT_CAUTIONS,
    all_warnings,
    answer_lines,
    margin_details,
    missing_lines,
    seat_lines,
    wall_lines,
)
from ...standalone_core.shares import share_words
from ...standalone_core.words.text import capital, micrometres
from ..blender.in_blender import in_blender

if TYPE_CHECKING:
    from ...standalone_core.fit.result import FitResult
    from ...standalone_core.fit.seat.result import ContactSpot, Seat

CAUTIONS = FIT_CAUTIONS[2:4]
"""Those of a virtual seat; the others stand with the deviations."""
_SHOWN_PARTS = ("seat", "triple_scan", "gap", "margin")


def of_result(result: FitResult) -> dict[str, Any]:
    """Return all sentences about a fit, as plain data to be kept."""
    seat, margin, walls = result.seat, result.margin, result.walls
    thin = [] if walls is None else wall_lines(walls)
    titles = dict(zip(result.missing, missing_lines(result), strict=True))
    return {
        "answer": [text for text in answer_lines(result) if text not in thin],
        "seat_lines": [] if seat is None else [*seat_lines(seat)[1:], *play_lines(seat)],
        "spots": [] if seat is None else [spot_line(spot) for spot in seat.spots],
        "margin_lines": [] if margin is None else margin_details(margin),
        "missing_lines": [in_blender(titles[part]) for part in _SHOWN_PARTS if part in titles],
        "warnings": [in_blender(text) for text in all_warnings(result)],
    }


def spot_line(spot: ContactSpot) -> str:
    """Return a contact spot as short as a button is: 61 % · occlusal, distal."""
    return (
        f"{share_words(spot.share, digits=0)} · {', '.join(filter(None, (spot.part, spot.where)))}"
    )


def play_lines(seat: Seat) -> list[str]:
    """Say how far a seated crown can be moved and rocked, where it is most."""
    if not seat.play:
        return []
    most = max(seat.play, key=lambda one: one.across_um)
    tipped = max(seat.play, key=lambda one: one.rise_um + one.drop_um)
    lines = [
        f"Play: up to {micrometres(most.across_um)} µm across ({most.towards}).",
        f"Rocking: loaded {tipped.towards}, the margin rises by up to "
        f"{micrometres(tipped.rise_um)} µm and drops by up to {micrometres(tipped.drop_um)} µm.",
    ]
    if math.isfinite(seat.along_um):
        lines.append(
            f"Lifted by {micrometres(seat.along_um, digits=0)} µm, nothing holds it sideways."
        )
    return lines


def gap_rows(kept: Mapping[str, Any]) -> list[tuple[str, list[str]]]:
    """Return for each part of the intaglio its title, and lines with the numbers of its gap."""
    rows = []
    for area, row in (kept["fit"]["gap_um"] or {}).items():
        numbers = {name: _number(value) for name, value in row.items()}
        low, middle, high = (micrometres(numbers[name]) for name in ("p5", "p50", "p95"))
        lines = [
            f"mean {micrometres(numbers['mean'])} µm · {numbers['volume_mm3']:.2f} mm³ of cement",
            f"P5 {low} · P50 {middle} · P95 {high} µm",
        ]
        if math.isfinite(numbers["against_space"]):
            against = micrometres(numbers["against_space"], signed=True)
            lines.append(f"against the cement space {against} µm")
        if numbers["coverage"] < 1.0:
            lines.append(f"coverage {share_words(numbers['coverage'])}")
        rows.append((capital(AREA_WORDS.get(area, area)), lines))
    return rows


def sector_rows(kept: Mapping[str, Any]) -> list[tuple[str, str, str, str]]:
    """Return for each eighth of the margin its name, gap, discrepancy and extension, µm."""
    margin = kept["fit"]["margin"]
    return [
        (
            row["name"],
            micrometres(_number(row["gap_um"]), digits=0),
            micrometres(_number(row["absolute_um"]), digits=0),
            micrometres(_number(row["extension_um"]), signed=True, digits=0),
        )
        for row in (margin["sectors"] if margin else ())
    ]


def wall_rows(kept: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return for each part of the walls its verdict, and its thinnest place in words."""
    return [
        (
            row["verdict"],
            f"{row['title']}: {micrometres(_number(row['value']), digits=2)} {row['unit']}, "
            f"{row['bound']} {row['limit']:g} {row['unit']}",
        )
        for row in kept["fit"]["judged"]
        if row["part"] == WALLS
    ]


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)
