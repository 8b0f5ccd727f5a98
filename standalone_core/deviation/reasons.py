"""The sentences that a verdict rests on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..readable import place_words
from ..words.names import DIRECTION_WORDS, NOT_DECIDABLE, OUTSIDE
from ..words.text import signed_number
from .layers_beside import LayerBeside
from .margin_summary import MarginSummary
from .measures import AreaMeasures
from .tolerances import COVERAGE_FACTOR
from .unmatched import UnmatchedPiece

_PIECES_TOLD = 2


def about_directions(rows: Sequence[AreaMeasures], limit_um: float) -> str:
    """Say how the mean absolute deviations of one or both directions lie to their limit."""
    first = rows[0]
    size = f"{beside_limit(first.mean_abs_um, limit_um)} µm"
    relation = f"{_relation(first, limit_um)} the limit of {limit_um:g} µm"
    if len(rows) == 1:
        return f"Mean absolute deviation {size}, {relation}."
    second = rows[1]
    other = f"{beside_limit(second.mean_abs_um, limit_um)} µm {DIRECTION_WORDS[second.direction]}"
    if _relation(first, limit_um) == _relation(second, limit_um):
        return f"Mean absolute deviation {size} ({other}), {relation}."
    over = max(rows, key=lambda row: row.mean_abs_um)
    return (
        f"The two directions contradict each other: mean absolute deviation {size} "
        f"{DIRECTION_WORDS[first.direction]}, {relation}, but {other}, "
        f"{_relation(second, limit_um)} it{_where(over)}."
    )


def about_places(rows: Sequence[AreaMeasures], most_um: float) -> str:
    """Say that a mean hides a single place that is farther off than this; empty if none is."""
    rows = [row for row in rows if row.peak_mm is not None and abs(row.peak_um) > most_um]
    if not rows:
        return ""
    row = max(rows, key=lambda row: abs(row.peak_um))
    assert row.peak_mm is not None  # of the rows that are left
    return (
        f"A mean hides single places: look at {_signed(row.peak_um)} µm at "
        f"{place_words(row.peak_mm)} mm."
    )


def about_scanner(rows: Sequence[AreaMeasures], scanner_um: float, sides: Sequence[str]) -> str:
    """Say what the scanner's uncertainty leaves open; empty where it is not given."""
    if not np.isfinite(scanner_um):
        return ""
    if NOT_DECIDABLE not in sides or OUTSIDE in sides:
        return (
            f"That holds with 95 % confidence at the scanner's standard uncertainty of "
            f"{scanner_um:.2g} µm."
        )
    open_one = rows[list(sides).index(NOT_DECIDABLE)]
    spread = COVERAGE_FACTOR * scanner_um
    low, high = open_one.mean_abs_um - spread, open_one.mean_abs_um + spread
    return (
        f"With the scanner's standard uncertainty of {scanner_um:.2g} µm, what is measured "
        f"{DIRECTION_WORDS[open_one.direction]} may be anything from {max(low, 0.0):.1f} to "
        f"{high:.1f} µm, on either side of the limit."
    )


def about_pieces(pieces: Sequence[UnmatchedPiece]) -> list[str]:
    """Say which scan surface has no counterpart on the design; only the first few pieces."""
    told = [f"{_piece_words(piece)}." for piece in pieces[:_PIECES_TOLD]]
    more = len(pieces) - _PIECES_TOLD
    if more > 0:
        told.append(f"And {more} more such {'piece' if more == 1 else 'pieces'}.")
    return told


def about_missing(margin: MarginSummary) -> str:
    """Say where the margin is open."""
    return (
        f"The margin is short or broken along {margin.missing_mm:.1f} of {margin.length_mm:.1f} mm "
        f"({margin.missing_words}): up to {-margin.missing_um:.0f} µm of material is missing there."
    )


def about_unseen(margin: MarginSummary) -> str:
    """Say where the margin was not seen."""
    return (
        f"The margin was not measured along {margin.unseen_mm:.1f} of {margin.length_mm:.1f} mm "
        f"({margin.unseen_words}): it may be open there."
    )


def about_layer(layer: LayerBeside) -> str:
    """Say that the scan has two layers of surface, where, and what to do."""
    return (
        f"The scan has two layers of surface over {layer.area_mm2:.1f} mm², about "
        f"{layer.distance_um:.0f} µm apart, around {place_words(layer.place_mm)} mm: it is not "
        f"known which of them is the crown. Take one of them out of the scan."
    )


def _piece_words(piece: UnmatchedPiece) -> str:
    least = "at least " if piece.beyond_search else "up to "
    along = f", along {piece.margin_mm:.1f} mm of the margin" if piece.margin_mm >= 0.1 else ""
    size = f"{piece.area_mm2:.2f} mm², {least}{piece.height_um:.0f} µm high{along}"
    at = f"at {place_words(piece.peak_mm)} mm"
    if piece.loose:
        return (
            f"A loose piece of the scan ({size}) lies beside the crown {at}, and may have "
            f"pulled at the superimposition; take it out of the scan, or find out what it is"
        )
    return f"The scan has surface that the design has not: {size}, {at}"


def _where(row: AreaMeasures) -> str:
    """Say where a direction sees its largest deviation."""
    if row.peak_mm is None:
        return ""
    return f" (most {_signed(row.peak_um)} µm at {place_words(row.peak_mm)} mm)"


def _signed(value_um: float) -> str:
    return signed_number(value_um, "+.0f")


def _relation(row: AreaMeasures, limit_um: float) -> str:
    return "at or below" if row.mean_abs_um <= limit_um else "above"


def beside_limit(value: float, limit: float) -> str:
    """Return a value to one decimal, or to as many as keep it above its limit if it is."""
    for decimals in range(1, 9):
        text = f"{value:.{decimals}f}"
        if (float(text) <= limit) == (value <= limit):
            return text
    return repr(value)
