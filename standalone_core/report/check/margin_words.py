"""What a margin profile says, in sentences: the same on the terminal, the page and in Blender."""

from __future__ import annotations

import math

from ...deviation.margin_directions import ZERO_WORDS, Directions
from ...deviation.margin_summary import MarginSummary
from ...words.text import micrometres


def margin_line(found: MarginSummary) -> str:
    """Say in a sentence how far the margin runs beyond its tolerance, and where longest."""
    length = f"{found.length_mm:.1f} mm"
    limit = f"±{found.tolerance_um:g} µm" if math.isfinite(found.tolerance_um) else "its limits"
    missing = round((1.0 - found.counted_share) * found.length_mm, 1)
    unseen = f"; {missing:.1f} mm of it did not count" if missing > 0.0 else ""
    if not found.beyond_mm > 0.0:
        if not found.counted_share > 0.0:
            return (
                f"Margin: nothing is known of its {length}: the scan ends there, or too little of "
                "it counted."
            )
        return f"Margin: nowhere beyond {limit} on {length}{unseen}."
    where = f", {found.longest_words}" if found.longest_words else ""
    return (
        f"Margin: beyond {limit} on {found.beyond_mm:.1f} of {length}, "
        f"longest {found.longest_mm:.1f} mm{where}{unseen}."
    )


def margin_details(found: MarginSummary) -> tuple[str, ...]:
    """Say what else the profile comes to, a sentence a line."""
    lines = []
    if math.isfinite(found.mean_abs_um):
        lines.append(
            f"Mean absolute {micrometres(found.mean_abs_um)} µm, 95 % of it within "
            f"{micrometres(found.p95_abs_um)} µm; mean {micrometres(found.mean_um, signed=True)} "
            f"µm; worst {micrometres(found.worst_um, signed=True)} µm ({found.worst_words})."
        )
    if math.isfinite(found.vertical_um):
        lines.append(_edge_line(found))
    limit = f"more than {found.edge_limit_um:g} µm"
    for length, words in (
        (found.short_mm, f"The edge is short by {limit} on"),
        (found.long_mm, f"The edge is too long by {limit} on"),
        (found.flash_mm, f"Flash of {limit} on"),
    ):
        if length > 0.0:
            lines.append(f"{words} {length:.1f} mm.")
    return tuple(lines)


def angle_words(directions: Directions) -> str:
    """Say how angles are counted."""
    start = ZERO_WORDS[directions.zero_name]
    return f"Angles start at {start} and grow counter-clockwise, seen from occlusal."


def _edge_line(found: MarginSummary) -> str:
    return (
        f"The edge is {_more(found.vertical_um, 'longer', 'shorter')} and "
        f"{_more(found.horizontal_um, 'larger', 'smaller')} than designed on average; "
        f"shortest {micrometres(found.short_um, signed=True, digits=0)} µm ({found.short_words}), "
        f"longest {micrometres(found.long_um, signed=True, digits=0)} µm ({found.long_words}); "
        f"scan surface stands out by up to {micrometres(found.flash_um, digits=0)} µm"
        + (f" ({found.flash_words})." if found.flash_words else ".")
    )


def _more(value_um: float, more: str, less: str) -> str:
    return f"{micrometres(abs(value_um))} µm {more if value_um >= 0 else less}"
