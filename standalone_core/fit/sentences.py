"""What terminal and page say of a fit, so that they say it alike."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ..shares import share_words
from ..words.cautions import CAUTIONS
from ..words.headline import Headline
from ..words.names import NOT_DECIDABLE, OUTSIDE, WITHIN
from ..words.text import capital, count_words, micrometres
from .judged import WALL_WORDS

if TYPE_CHECKING:
    from .contacts.result import Contacts
    from .gap.result import GapMap, Harmonic, MarginalGap
    from .result import FitResult, TripleScan
    from .seat.result import ContactSpot, Relief, Seat
    from .walls.result import Walls

JUDGE_CAUTION = "A wide gap or a thin wall is for a licensed professional to judge."
SEAT_CAUTIONS = (
    "A virtual seat has no cement, no friction and no elasticity: two rigid surfaces, and a load "
    "along the path of insertion.",
    JUDGE_CAUTION,
)
FIT_CAUTIONS = (*CAUTIONS[:2], *SEAT_CAUTIONS, *CAUTIONS[2:])

PART_WORDS = {
    "seat": "seat",
    "triple_scan": "scan of the seated crown",
    "gap": "gap inside",
    "margin": "margin",
    "walls": "walls",
    "contacts": "contacts",
}
AREA_WORDS = {
    "whole": "whole intaglio",
    "margin": "near the margin",
    "axial": "axial walls",
    "occlusal": "under the occlusal surface",
}
CONTACT_WORDS = {
    "hard": "Every point of the two surfaces holds (hard contacts)",
    "patches": "Contacts are averaged over small patches, so that a scan's noise holds nothing up",
}
STRENGTH_WORDS = {
    "none": "nothing near",
    "open": "open",
    "light": "light",
    "firm": "firm",
    "tight": "tight",
}
KIND_WORDS = {"proximal": "proximal", "occlusal": "occlusal"}
HARMONIC_WORDS = {
    ("gap", 1): "tilt",
    ("gap", 2): "oval",
    ("extension", 1): "shift",
    ("extension", 2): "oval",
}
HELD_BY = "What holds it"
LEAST_TOLD = 0.05
"""Spots that carry a smaller share of the load are counted, not named."""
"""How the sentence begins that says what keeps a crown up."""

MEASURES = (
    "Marginal gap: from the finish line to the crown's edge, square to the prepared surface. "
    "Extension: along it, positive where the crown reaches beyond the finish line. Absolute "
    "marginal discrepancy: from edge to edge. All after Holmes et al. 1989."
)


def seat_lines(seat: Seat) -> list[str]:
    """Say where a crown came to rest and on what."""
    lines = [f"{_height(seat)}; it rests on {count_words(len(seat.spots), 'spot')}."]
    tilt = f"Tilted by {seat.tilt_deg:.2f}° against the path of insertion. "
    lines.append(f"{tilt}{CONTACT_WORDS[seat.contact]}; {_overlap(seat)}.")
    if not seat.converged:
        lines.append(f"Seating did not settle in {count_words(seat.steps, 'step')}.")
    return lines


def relief_lines(seat: Seat) -> list[str]:
    """Say what holds up a crown that cannot go on, and what taking it off would do."""
    if seat.stop != "cannot_go_on":
        return []
    spots = _holding(seat)
    lines = [f"{HELD_BY}: {spots}."] if spots else []
    if seat.relief is not None:
        lines.append(_relief(seat.relief))
    return lines


def _holding(seat: Seat) -> str:
    """Name the spots that carry most of the load, and count the others."""
    told = [spot for spot in seat.spots if spot.share >= LEAST_TOLD] or list(seat.spots[:1])
    others = len(seat.spots) - len(told)
    words = [spot_words(spot) for spot in told]
    return "; ".join([*words, *([f"and {count_words(others, 'smaller spot')}"] if others else [])])


def spot_words(spot: ContactSpot) -> str:
    """Name a contact spot: axial walls, mesial (50 % of the load)."""
    where = f", {spot.where}" if spot.where else ""
    share = share_words(spot.share)
    return f"{AREA_WORDS.get(spot.part, spot.part)}{where} ({share} of the load)"


def triple_lines(triple: TripleScan) -> list[str]:
    """Say what a scan of the seated crown shows."""
    lines = [
        "Gap and margin are those of the scan of the seated crown: on it the crown lies with "
        f"{micrometres(triple.crown_rms_um)} µm RMS, the die with "
        f"{micrometres(triple.die_rms_um)} µm."
    ]
    if math.isfinite(triple.virtual_above_um):
        where = above_words(triple.virtual_above_um, "that one")
        apart = micrometres(triple.virtual_apart_um)
        lines.append(f"The virtual seat lies {where}; the two are up to {apart} µm apart.")
    return lines


def gap_line(gap: GapMap) -> str:
    """Say how much space there is inside."""
    whole = gap.areas[0]
    low, high = micrometres(whole.p5_um, digits=0), micrometres(whole.p95_um, digits=0)
    text = (
        f"Gap inside: {micrometres(whole.mean_um)} µm on average, {low} to {high} µm over the "
        f"middle 90 %, {whole.volume_mm3:.1f} mm³ of cement"
    )
    if math.isfinite(whole.against_space_um):
        less = micrometres(abs(whole.against_space_um))
        side = "more" if whole.against_space_um >= 0.0 else "less"
        text += f"; {less} µm {side} than the cement space"
    return f"{text}."


def margin_line(margin: MarginalGap) -> str:
    """Say how wide the marginal gap is, where it is widest, and how much of it is beyond."""
    limit = f"{margin.settings.marginal_limit_um:g} µm"
    beyond = "no place is"
    if margin.share_beyond > 0.0:
        beyond = f"{share_words(margin.share_beyond)} of the places are"
    where = f" ({margin.most_where})" if margin.most_where else ""
    return (
        f"Marginal gap: {micrometres(margin.mean_um)} µm on average, largest "
        f"{micrometres(margin.most_um)} µm{where}; {beyond} beyond {limit}."
    )


def margin_details(margin: MarginalGap) -> list[str]:
    """Say what else the margin comes to, a sentence a line."""
    lines = [
        "Absolute marginal discrepancy (without a verdict): "
        f"{micrometres(margin.absolute_mean_um)} µm on average, largest "
        f"{micrometres(margin.absolute_most_um)} µm."
    ]
    for share, words in (
        (margin.over_share, "reaches more than 50 µm beyond the finish line"),
        (margin.under_share, "ends more than 50 µm short of the finish line"),
    ):
        if share > 0.0:
            lines.append(f"The crown {words} at {share_words(share)} of the places.")
    lines += [text for one in margin.harmonics if (text := _harmonic(one))]
    if margin.coverage < 1.0:
        lines.append(f"{share_words(margin.coverage)} of the margin could be measured.")
    return lines


def wall_lines(walls: Walls) -> list[str]:
    """Say how thin the walls are against what is required."""
    lines = []
    for row in walls.areas:
        name = capital(WALL_WORDS.get(row.area, row.area))
        text = f"{name}: thinnest {row.least_mm:.2f} mm, required {row.required_mm:g} mm"
        if row.thin_area_mm2 > 0.0:
            text += f"; {row.thin_area_mm2:.2f} mm² are thinner"
        if math.isfinite(row.loss_um):
            text += f"; {_loss(row.loss_um)} on average"
        lines.append(f"{text}.")
    return lines


def walls_headline(walls: Walls) -> Headline:
    """Sum the walls of a crown up."""
    if not walls.areas:
        return Headline(NOT_DECIDABLE, "The walls could not be measured", ())
    if walls.within:
        return Headline(WITHIN, "The walls are as thick as required", ())
    return Headline(OUTSIDE, "The walls are thinner than required", ())


def contact_lines(contacts: Contacts) -> list[str]:
    """Say each contact in a sentence."""
    return [row.sentence for row in contacts.rows]


def missing_lines(result: FitResult) -> list[str]:
    """Say what was not measured, why, and what helps."""
    return [f"{capital(PART_WORDS.get(part, part))}: {why}" for part, why in result.missing.items()]


def all_warnings(result: FitResult) -> tuple[str, ...]:
    """Return what the reader must know, of the fit and of its parts, each once."""
    parts = (
        *(result.seat, result.triple_scan, result.gap),
        *(result.margin, result.walls, result.contacts),
    )
    own = [text for part in parts if part is not None for text in part.warnings]
    return tuple(dict.fromkeys((*result.warnings, *own)))


def answer_lines(result: FitResult) -> list[str]:
    """Return the reasons of the verdict, a sentence a line."""
    lines: list[str] = []
    if result.seat is not None:
        lines += [*seat_lines(result.seat)[:1], *relief_lines(result.seat)]
    if result.triple_scan is not None:
        lines += triple_lines(result.triple_scan)
    up = result.triple_scan is None and result.seat is not None and result.seat.stop != "rests"
    if up and (result.margin is not None or result.gap is not None):
        lines.append("Gap and margin are those of the crown where it is held up.")
    if result.margin is not None:
        lines.append(margin_line(result.margin))
    if result.gap is not None:
        lines.append(gap_line(result.gap))
    if result.walls is not None:
        lines += wall_lines(result.walls)
    return lines


def above_words(value_um: float, seat: str = "its intended seat") -> str:
    """Write where something lies against a seat: 12.0 µm above its intended seat."""
    if abs(value_um) < 0.05:
        return f"at {seat}"
    side = "above" if value_um > 0.0 else "below"
    return f"{micrometres(abs(value_um))} µm {side} {seat}"


def _height(seat: Seat) -> str:
    if not math.isfinite(seat.above_intended_um):
        return "No intended seat is known, without the design in the frame of the die"
    return f"The crown lies {above_words(seat.above_intended_um)}"


def _overlap(seat: Seat) -> str:
    if not seat.overlap_um > 0.0:
        return "they overlap nowhere"
    if seat.overlap_um < 0.05:
        return "they overlap by less than 0.1 µm"
    most = micrometres(seat.overlap_um)
    if not seat.overlap_share > 0.0:
        return f"they overlap by up to {most} µm"
    share = share_words(seat.overlap_share)
    return f"they overlap by up to {most} µm, by more than 1 µm on {share} of the intaglio"


def _relief(relief: Relief) -> str:
    return (
        f"Taking off up to {micrometres(relief.most_um, digits=0)} µm there "
        f"({relief.volume_mm3:.2f} mm³ over {relief.area_mm2:.1f} mm²) would let it down; it would "
        f"then lie {above_words(relief.above_intended_um)}."
    )


def _loss(loss_um: float) -> str:
    if abs(loss_um) < 0.05:
        return "as thick as designed"
    side = "thicker" if loss_um > 0.0 else "thinner"
    return f"{micrometres(abs(loss_um))} µm {side} than designed"


def _harmonic(one: Harmonic) -> str:
    word = HARMONIC_WORDS.get((one.of, one.order), "")
    if not word or not one.amplitude_um >= 0.05:
        return ""
    where = f", largest {one.where}" if one.where else ""
    towards = f" to {one.where}" if one.where else ""
    size = f"{micrometres(one.amplitude_um)} µm"
    if word == "shift":
        return f"Extension: the crown lies {size} off{towards} (first harmonic)."
    if word == "tilt":
        return f"Gap: tilted by ±{size}{where} (first harmonic)."
    return f"{capital(one.of)}: oval by ±{size}{where} (second harmonic)."
