"""What a reader is told about the causes that a group's crowns share."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ...causes.words import CAUTION, cause_words
from ...shares import share_words
from ...words.names import the_area
from ...words.text import count_words, listed, micrometres
from ..measuring.cause_predictions import ALL
from .cause_comparisons import size_words
from .results.causes import CausePrediction, GroupWhy, SharedCause

_MOSTLY = 0.5
_LARGER = (
    " The whole crown would deviate more, not less: what else the crowns share looks like this "
    "cause, so do not correct by it."
)


def group_sentences(why: GroupWhy, least_um: float) -> tuple[str, ...]:
    """Return the sentences about a group, the most important first.

    Parameters
    ----------
    why : GroupWhy
        With all but its sentences.
    least_um : float
        Smallest root mean square of a stated cause, µm.
    """
    stated = why.stated
    told = [_told(row) for row in stated]
    if stated and stated[0].cause.share_alone >= _MOSTLY and not stated[0].cause.instead:
        told[0] = f"Mostly {told[0][:1].lower()}{told[0][1:]}"
    if not stated:
        crowns = count_words(len(why.crowns), "crown")
        told = [f"Nothing systematic above {least_um:.2g} µm that the {crowns} share."]
    told += [_odd_told(stated), _parts_told(why), _shares_told(why)]
    told += predictions_told(why)
    if why.left_out:
        told.append(_left_out_told(why))
    if why.corrections:
        told.append(CAUTION)
    return tuple(text for text in told if text)


def _told(row: SharedCause) -> str:
    spread = size_words(row.sd_between, row.cause.unit)
    return f"{row.cause.sentence} Between the {row.n} crowns it scatters by {spread} (SD)."


def _odd_told(rows: Sequence[SharedCause]) -> str:
    """Tell sizes without odd crowns."""
    parts = []
    for row in rows:
        if row.without_odd is not None:
            size, low, high = (size_words(value, row.cause.unit) for value in row.without_odd)
            name = cause_words(row.cause.cause, row.cause.family)
            parts.append(f"{name} {size} ({low} to {high})")
    return f"Without the odd crowns: {listed(parts)}." if parts else ""


def _parts_told(why: GroupWhy) -> str:
    shared = f"{micrometres(why.shared_um)} µm is shared by all crowns"
    other = " and not explained" if why.stated else ""
    ratio = why.remaining.scanner_ratio if why.remaining is not None else math.nan
    scanner = f" ({ratio:.1f} times the scanner's repeatability)" if math.isfinite(ratio) else ""
    return (
        f"Of {micrometres(why.total_um)} µm RMS over the surface {shared}{other}{scanner}, and "
        f"{micrometres(why.between_um)} µm differs from crown to crown: chance, as far as this "
        "study can tell."
    )


def _shares_told(why: GroupWhy) -> str:
    """Tell what each cause carries of the mean square."""
    if not why.stated:
        return ""
    alone = listed(
        [
            f"{cause_words(row.cause.cause, row.cause.family)} "
            f"{share_words(row.cause.share_alone, digits=0)} "
            f"({micrometres(row.cause.rms_um)} µm RMS)"
            for row in why.stated
        ]
    )
    together = share_words(why.share_together, digits=0)
    more = f", together {together}; shares alone do not add up" if len(why.stated) > 1 else ""
    return f"Share of the mean square of all deviations, alone: {alone}{more}."


def predictions_told(why: GroupWhy) -> list[str]:
    """Tell which crowns would keep tolerances after each correction, marked as predictions."""
    rows: dict[str, list[CausePrediction]] = {}
    for row in why.predicted:
        rows.setdefault(row.without, []).append(row)
    told = [_predicted(why, without, areas) for without, areas in rows.items()]
    if rows and not any(told):
        return ["Prediction: no crown's verdict changes without one or all of these."]
    return [text for text in told if text]


def _predicted(why: GroupWhy, without: str, areas: Sequence[CausePrediction]) -> str:
    """Tell what changes without a cause; empty where nothing does."""
    scale = without.startswith("scale") and why.corrections
    how = "with the next factor" if scale else f"without {without_words(why, without)}"
    parts = [
        f"{row.would_be_within} of {row.n} would meet the tolerance of {the_area(row.area)} "
        f"(now {row.within})"
        for row in areas
        if row.within != row.would_be_within
    ]
    larger = any(row.area == "whole" and row.predicted_um > row.mean_abs_um for row in areas)
    if not parts and not larger:
        return ""
    told = listed(parts) or "no crown's verdict changes"
    return f"Prediction, {how}: {told}.{_LARGER if larger else ''}"


def without_words(why: GroupWhy, without: str) -> str:
    """Return what a cause, a family without a named member, or all of them, is called."""
    if without == ALL:
        return "all of these"
    unnamed = {row.cause.family for row in why.stated if not row.cause.cause}
    return cause_words("" if without in unnamed else without, without)


def _left_out_told(why: GroupWhy) -> str:
    parts = [f"{name} ({reason})" for name, reason in why.left_out]
    return f"Left out here: {listed(parts)}."
