"""Sentences about causes, from their sizes."""

from __future__ import annotations

import math

import numpy as np

from ..arrays import FloatArray
from ..words.text import capital, count_words, listed
from .case import Case
from .corner_fields import effective_bur_mm
from .result import Correction
from .scale_causes import MainDirections
from .sizes import Sized
from .words import (
    CAUSE_WORDS,
    COARSE_CLAUSE,
    FAMILY_WORDS,
    SCANNER_CLAUSE,
    SPRAY_CLAUSE,
    direction_words,
    factor_told,
    percent_range,
    um_range,
)

Size = tuple[float, float, float]

_COARSE_SHARE = 0.25
"""Scan edges above this share of the ball's radius round a fossa by themselves."""


def scanner_unknown(case: Case) -> bool:
    """Tell whether a scale may be the scanner's own."""
    return case.fields.settings.scanner_scale_permille is None


def scale_told(
    case: Case,
    cause: str,
    permille: Size,
    axis: FloatArray | None,
    corrections: tuple[Correction, ...],
) -> str:
    """Tell a scale in all directions, or along one."""
    extent = case.extent_mm(axis)
    of = "height" if axis is not None else "width"
    text = (
        f"{capital(CAUSE_WORDS[cause])}: {percent_range(*permille)}, "
        f"{abs(permille[0]) * extent:.0f} µm over {extent:.1f} mm of {of}"
    )
    if axis is not None and case.facts.build_axis is None and case.main is not None:
        text += (
            f"; the direction was found: {direction_words(_triple(axis))}, within "
            f"{case.main.cone_deg:.0f}°"
        )
    return _with_clause(case, text, corrections)


def tensor_told(case: Case, main: MainDirections, corrections: tuple[Correction, ...]) -> str:
    """Tell a scale that differs per direction."""
    parts = [
        f"{percent_range(size, size - 1.96 * sd, size + 1.96 * sd)} along "
        f"{direction_words(_triple(row))}"
        for row, size, sd in zip(
            main.directions, main.permille.tolist(), main.sd_permille.tolist(), strict=True
        )
    ]
    return _with_clause(case, f"Scale that differs per direction: {listed(parts)}", corrections)


def _with_clause(case: Case, text: str, corrections: tuple[Correction, ...]) -> str:
    clause = f", {SCANNER_CLAUSE}" if scanner_unknown(case) else ""
    if not corrections:
        return f"{text}{clause}."
    factors = listed([factor_told(one) for one in corrections])
    return f"{text}. {capital(factors)}{clause}."


def growth_told(cause: str, um: Size) -> str:
    """Tell a growth."""
    words = CAUSE_WORDS[cause]
    if um[0] < 0.0:
        words = words.replace("growth", "loss")
    return f"{capital(words)}: {um_range(*um)}, {SPRAY_CLAUSE}."


def local_told(case: Case, place: int, um: Size) -> str:
    """Tell filled fossae, or corners that the tool did not reach."""
    member = case.found.member(place)
    spots = case.filled[place]
    volume = sum(spot.volume_mm3 for spot in spots)
    text = f"{capital(CAUSE_WORDS[member.cause])}: {um_range(*um)} at the deepest place"
    if um[0] < 0.0:
        text = f"{capital(CAUSE_WORDS[member.cause])}: none, they are too deep, by {um_range(*um)}"
    if spots:
        text += f", {volume:.3f} mm³ at {count_words(len(spots), 'place')}"
    if member.family == "tool":
        return f"{text}{_bur_told(case, place)}."
    if case.facts.way == "unknown":
        text += ", or corners that a bur did not reach"
    ball = case.found.shapes.get("fossae")
    coarse = ball is not None and case.edge_in_places_mm(place) > _COARSE_SHARE * ball
    return f"{text}, {COARSE_CLAUSE}." if coarse else f"{text}."


def _bur_told(case: Case, place: int) -> str:
    """Tell what ball would leave that, or that the given bur does."""
    given = effective_bur_mm(case.facts)
    if given is not None and case.tool_radius_mm(place) == given:
        share = case.local[place].share
        return f", {share:.2f} of what a bur leaves that is {given:.2f} mm in radius on the crown"
    radius = case.bur(place)
    if not math.isfinite(radius.radius_mm):
        return ""
    text = f", as a ball of {radius.radius_mm:.2f} mm in radius leaves"
    if radius.bounded:
        text += f" ({radius.low_mm:.2f} to {radius.high_mm:.2f})"
    factor = case.facts.enlargement
    if given is not None and case.bur_is_tried:
        text += f", a coarser tool than the bur that was given, {given:.2f} mm on the crown"
    elif factor is not None and 1.0 < factor <= 1.5:
        text += f", {radius.radius_mm * factor:.2f} mm before shrinkage"
    return text


def margin_told(case: Case, cause: str, um: Size, direction: FloatArray | None) -> str:
    """Tell a margin that opened, leans, or went oval or three-lobed."""
    reach = case.found.shapes.get("rings")
    fading = f", fading over {reach:g} mm up the walls"
    towards = "" if direction is None else direction_words(_triple(direction))
    if cause == "opened_margin":
        done = "opened" if um[0] > 0.0 else "closed"
        size = um if um[0] > 0.0 else (-um[0], -um[2], -um[1])
        return f"The margin {done} all around: its radius by {um_range(*size)}{fading}."
    if cause == "leaning_margin":
        return f"The margin leans towards {towards} by {um_range(*um)}{fading}."
    if cause == "oval_margin":
        return (
            f"The margin is oval: its long diameter exceeds the short one by {um_range(*um)}, "
            f"the long one along {towards}{fading}."
        )
    lobes = f"The margin is three-lobed, by {um_range(*um)} of radius"
    return f"{lobes}, one of them towards {towards}{fading}."


def unnamed_told(case: Case, one: Sized, size: Size) -> str:
    """Tell a family without a member, or two families that look alike."""
    statement = one.statement
    family = statement.family
    written = percent_range(*size) if family == "scale" else um_range(*size)
    clause = ""
    if family == "scale" and scanner_unknown(case):
        clause = f", {SCANNER_CLAUSE}"
    if family == "growth":
        clause = f", {SPRAY_CLAUSE}"
    if statement.instead:
        return (
            f"{capital(FAMILY_WORDS[family])} ({written}, if it is that), or "
            f"{FAMILY_WORDS[statement.instead]}: these data cannot tell{clause}."
        )
    each = [evidence.probability for evidence in case.found.evidence.evidences]
    probability = np.max(each, axis=0)
    members = [
        CAUSE_WORDS[case.found.member(int(place)).cause]
        for place in case.found.best.model.families[family]
        if probability[place] > 0.05
    ]
    return f"{capital(listed(members, 'or'))}, {written}: these data cannot tell which{clause}."


def _triple(direction: FloatArray) -> tuple[float, float, float]:
    x, y, z = direction.tolist()
    return x, y, z
