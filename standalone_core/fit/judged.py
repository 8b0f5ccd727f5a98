"""What of a fit has a limit: each value with its limit and its verdict, and all of them in one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ..words.headline import Headline
from ..words.names import NOT_DECIDABLE, OUTSIDE, WITHIN
from ..words.text import NO_VALUE, capital, listed, micrometres

if TYPE_CHECKING:
    from .gap.result import MarginalGap
    from .result import FitResult
    from .seat.result import Seat
    from .walls.result import Walls

Bound = Literal["at most", "at least"]

SEAT, MARGIN, WALLS = "seat", "margin", "walls"
NEEDED = (SEAT, MARGIN, WALLS)
"""The parts without which there is no verdict."""

WALL_WORDS = {"axial": "axial walls", "occlusal": "occlusal wall"}
_MISSING_WORDS = {
    SEAT: "whether it goes down is not known",
    MARGIN: "its margin was not measured",
    WALLS: "its walls were not measured",
}


@dataclass(frozen=True)
class Judged:
    """A value that is held against a limit.

    Attributes
    ----------
    part : "seat", "margin" or "walls"
    measure, area : str
        Its name in ``fit.csv``.
    title : str
        What it is, in a few words.
    value, limit : float
    unit : "µm" or "mm"
    bound : "at most" or "at least"
        What the limit is to the value.
    verdict : "within", "outside" or "not_decidable"
    note : str
        What belongs to it.
    """

    part: str
    measure: str
    area: str
    title: str
    value: float
    limit: float
    unit: str
    bound: Bound
    verdict: str
    note: str = ""

    @property
    def value_words(self) -> str:
        """The value without its unit."""
        if self.unit == "mm":
            return f"{self.value:.2f}" if math.isfinite(self.value) else NO_VALUE
        return micrometres(self.value, digits=0)

    @property
    def limit_words(self) -> str:
        """The limit with its unit: at most 120 µm."""
        return f"{self.bound} {self.limit:g} {self.unit}"

    @property
    def shares(self) -> tuple[float, float]:
        """How far value and limit reach on a gauge, 0 to 1."""
        value = max(self.value, 0.0) if math.isfinite(self.value) else 0.0
        span = max(2.0 * self.limit, value)
        return value / span, self.limit / span


def judged(result: FitResult) -> tuple[Judged, ...]:
    """Return all that is held against a limit: seat, if an intended one is known; margin; walls."""
    found: list[Judged] = []
    if result.seat is not None and (known_height(result.seat) or _stays_up(result.seat)):
        found.append(_seat(result.seat))
    if result.margin is not None:
        found.append(_margin(result.margin))
    if result.walls is not None:
        found += judged_walls(result.walls)
    return tuple(found)


def judged_walls(walls: Walls) -> list[Judged]:
    """Return the thinnest place of each part of the walls against its minimum."""
    return [
        Judged(
            WALLS,
            "least_mm",
            row.area,
            f"{capital(WALL_WORDS.get(row.area, row.area))}, thinnest",
            row.least_mm,
            row.required_mm,
            "mm",
            "at least",
            _verdict(row.within, row.least_mm),
            f"{row.thin_area_mm2:.2f} mm² thinner" if row.thin_area_mm2 > 0.0 else "",
        )
        for row in walls.areas
    ]


def fit_headline(result: FitResult) -> Headline:
    """Sum a fit up: a crown that stays up decides, then a limit not kept, then what is missing."""
    found = judged(result)
    missing = [part for part in NEEDED if getattr(result, part) is None]
    if result.triple_scan is not None and SEAT in missing:
        missing.remove(SEAT)
    stays_up = _stays_up(result.seat)
    if stays_up:
        return Headline(OUTSIDE, stays_up, ())
    lost = {one.part for one in found if one.verdict == OUTSIDE}
    if lost:
        reasons = [words for part, words in _LOST_WORDS.items() if part in lost]
        title = f"{_down(result)}, but {listed(reasons)}"
        unknown = [_MISSING_WORDS[part] for part in missing if part != SEAT]
        return Headline(OUTSIDE, "; ".join([title, *unknown]), ())
    missing += [one.part for one in found if one.verdict == NOT_DECIDABLE]
    if missing:
        if SEAT in missing:
            return Headline(NOT_DECIDABLE, "Whether the crown goes down is not known", ())
        reasons = [_MISSING_WORDS[part] for part in dict.fromkeys(missing)]
        return Headline(NOT_DECIDABLE, f"{_down(result)}; {listed(reasons)}", ())
    title = f"{_down(result)}; margin and walls are within their limits"
    return Headline(WITHIN, title, ())


_LOST_WORDS = {
    MARGIN: "its marginal gap is beyond the limit",
    WALLS: "its walls are thinner than required",
}


def _stays_up(seat: Seat | None) -> str:
    if seat is None or seat.stop == "rests":
        return ""
    if not known_height(seat):
        return "The crown cannot go on"
    high = micrometres(seat.above_intended_um, digits=0)
    return f"The crown cannot go on: it rests {high} µm too high"


def known_height(seat: Seat) -> bool:
    """Return whether it is known how far a seat lies above the intended one."""
    return math.isfinite(seat.above_intended_um)


def _down(result: FitResult) -> str:
    if result.seat is None:
        scanned = result.triple_scan is not None
        return "The crown was scanned on its die" if scanned else "The crown was not seated"
    if known_height(result.seat):
        return "The crown goes down on its die"
    return "The crown rests on its die"


def _seat(seat: Seat) -> Judged:
    return Judged(
        SEAT,
        "above_intended_um",
        "",
        "Seat, above the intended one",
        seat.above_intended_um,
        seat.settings.most_above_um,
        "µm",
        "at most",
        WITHIN if seat.stop == "rests" else OUTSIDE,
        "" if known_height(seat) else "no intended seat is known",
    )


def _margin(margin: MarginalGap) -> Judged:
    return Judged(
        MARGIN,
        "most_um",
        "",
        "Marginal gap, largest",
        margin.most_um,
        margin.settings.marginal_limit_um,
        "µm",
        "at most",
        _verdict(margin.within, margin.most_um),
        f"mean {micrometres(margin.mean_um)} µm",
    )


def _verdict(within: bool, value: float) -> str:
    if not math.isfinite(value):
        return NOT_DECIDABLE
    return WITHIN if within else OUTSIDE
