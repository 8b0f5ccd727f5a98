"""What a margin profile comes to: sizes, and how far it runs beyond the tolerance."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Protocol

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .margin_directions import Directions
from .measures import weighted_percentile


class Places(Protocol):
    """What is asked of places along a margin line; see :class:`.margin_places.MarginPlaces`."""

    def __len__(self) -> int:
        """Count of places."""

    @property
    def place_mm(self) -> FloatArray:
        """Arc length of each from the first, mm, (p,)."""

    @property
    def angle_deg(self) -> FloatArray:
        """Angle of each, (p,)."""

    @property
    def directions(self) -> Directions:
        """Where the angle is 0."""

    @property
    def step_mm(self) -> float:
        """Distance between them along the line, mm."""

    @property
    def closed(self) -> bool:
        """Whether the last is followed by the first."""

    @property
    def length_mm(self) -> float:
        """Length of the line, mm."""


@dataclass(frozen=True)
class MarginSummary:
    """A margin profile in numbers; NaN where there is none.

    Every place stands for the same length of the line. A place is beyond if it counts and its
    deviation lies beyond the tolerance, or, whether it counts or not, if the edge there is longer
    or shorter by more than the limit for edges, or flash is higher than that: a margin that is
    missing leaves little to count, and flash little deviation. Deviations are those of the places
    that count, edges of those that show one.

    Attributes
    ----------
    length_mm : float
        Of the margin line.
    tolerance_um : float
        NaN for none; edges and flash are judged all the same.
    edge_limit_um : float
        How much longer or shorter an edge, and how high flash, may be.
    counted_share : float
        Share of the places that count, 0 to 1.
    mean_um, mean_abs_um : float
        Of the places' deviations.
    p95_abs_um : float
        95th percentile of their sizes (Hazen).
    beyond_mm : float
        Length of the line that is beyond.
    longest_mm : float
        Longest run of it: places that do not count do not break a run where they are few,
        and are then part of its length; a closed line has no end that would.
    longest_deg, longest_words : float, str
        Angle of the run's middle, and what it is called; NaN and empty without a run.
    worst_um : float
        The deviation farthest from zero.
    worst_mm, worst_deg, worst_words : float, float, str
        Where: place along the line, angle, words.
    vertical_um, horizontal_um : float
        Mean of how much the edge is longer, and larger.
    short_um, short_deg, short_words : float, float, str
        Where the edge is shortest (or least long): how much longer it is there.
    long_um, long_deg, long_words : float, float, str
        Where it is longest.
    short_mm, long_mm : float
        Length of the line with an edge shorter, and longer, by more than the limit.
    missing_limit_um : float
        How much material may be missing, as the mean within reach of a place: the limit for
        edges, or four tenths of the scan's own edges if that is more, since coarse triangles cut
        a sharp rim off by up to half of that.
    short_limit_um : float
        How much shorter an edge may be before the margin is open there: the limit for edges, and
        four tenths of the scan's own edges beside.
    missing_mm : float
        Longest run of places where the margin is open: where they count and more is missing, or
        the edge is shorter by more.
    missing_um, missing_deg, missing_words : float, float, str
        The least of deviations and edges within that run, the angle of its middle, and what that
        is called; NaN and empty without a run.
    unseen_mm : float
        Longest run of places that neither count nor show an edge off by more than its limit.
    unseen_deg, unseen_words : float, str
        The angle of its middle, and what that is called; NaN and empty without a run.
    flash_um, flash_deg, flash_words : float, float, str
        Greatest height of scan surface above the design at any place, and where.
    flash_mm : float
        Length of the line with flash higher than the limit.
    """

    length_mm: float
    tolerance_um: float
    edge_limit_um: float
    counted_share: float
    mean_um: float
    mean_abs_um: float
    p95_abs_um: float
    beyond_mm: float
    longest_mm: float
    longest_deg: float
    longest_words: str
    worst_um: float
    worst_mm: float
    worst_deg: float
    worst_words: str
    vertical_um: float
    horizontal_um: float
    short_um: float
    short_deg: float
    short_words: str
    long_um: float
    long_deg: float
    long_words: str
    short_mm: float
    long_mm: float
    missing_limit_um: float
    short_limit_um: float
    missing_mm: float
    missing_um: float
    missing_deg: float
    missing_words: str
    unseen_mm: float
    unseen_deg: float
    unseen_words: str
    flash_um: float
    flash_deg: float
    flash_words: str
    flash_mm: float


MARGIN_MEASURES: tuple[str, ...] = tuple(
    field.name for field in fields(MarginSummary) if not field.name.endswith("_words")
)
"""All of its numbers, by name."""


@dataclass(frozen=True, eq=False)
class MarginValues:
    """The columns of a profile, each (p,), as in :class:`.margin_profile.MarginProfile`."""

    deviation_um: FloatArray
    vertical_um: FloatArray
    horizontal_um: FloatArray
    flash_um: FloatArray
    counted: BoolArray

    def beyond(self, limits: MarginLimits) -> BoolArray:
        """Which places are beyond, (p,); see :class:`MarginSummary`. NaN is beyond nothing."""
        edge = limits.edge_limit_um
        beyond: BoolArray = self.counted & (np.abs(self.deviation_um) > limits.tolerance_um)
        beyond |= (np.abs(self.vertical_um) > edge) | (self.flash_um > edge)
        return beyond

    def open(self, limits: MarginLimits) -> BoolArray:
        """Where material is missing, (p,).

        A deviation is a mean over the surface about a place: where a margin is short by 150 µm it
        may be less than 100. The edge itself says so.
        """
        missing = self.counted & (self.deviation_um < -limits.missing_um)
        is_open: BoolArray = missing | (self.vertical_um < -limits.short_um)
        return is_open


@dataclass(frozen=True)
class MarginLimits:
    """What a place is judged by.

    Attributes
    ----------
    tolerance_um : float
        For its deviation; NaN for none.
    edge_limit_um : float
        For edge and flash.
    gap_mm : float
        Longest stretch of places that do not count which does not break a run.
    missing_um : float
        For missing material.
    short_um : float
        For an edge that is shorter.
    """

    tolerance_um: float
    edge_limit_um: float
    gap_mm: float
    missing_um: float
    short_um: float


def summarise(places: Places, found: MarginValues, limits: MarginLimits) -> MarginSummary:
    """Sum a profile up."""
    return MarginSummary(
        length_mm=places.length_mm,
        tolerance_um=limits.tolerance_um,
        edge_limit_um=limits.edge_limit_um,
        counted_share=float(found.counted.mean()),
        missing_limit_um=limits.missing_um,
        short_limit_um=limits.short_um,
        **_deviations(places, found),
        **_beyond(places, found, limits),
        **_edges(places, found, limits.edge_limit_um),
        **_open(places, found, limits),
        **_flash(places, found, limits.edge_limit_um),
    )


def _deviations(places: Places, found: MarginValues) -> dict[str, Any]:
    """Sizes of the deviations that count, and the worst."""
    values = found.deviation_um[found.counted]
    worst = _first_largest(np.where(found.counted, np.abs(found.deviation_um), np.nan))
    return {
        "mean_um": _mean(values),
        "mean_abs_um": _mean(np.abs(values)),
        "p95_abs_um": _percentile(np.abs(values), 95.0),
        "worst_um": _at(found.deviation_um, worst),
        "worst_mm": _at(places.place_mm, worst),
        **_named(places, "worst", _at(places.angle_deg, worst)),
    }


def _beyond(places: Places, found: MarginValues, limits: MarginLimits) -> dict[str, Any]:
    """How far the line is beyond, and how far it was not seen."""
    beyond, counted = found.beyond(limits), found.counted
    gap = int(limits.gap_mm / places.step_mm + 1e-9)
    longest = longest_run(beyond, counted, gap=gap, closed=places.closed)
    unseen = ~counted & ~beyond
    unseen_run = longest_run(unseen, ~unseen, gap=0, closed=places.closed)
    return {
        "beyond_mm": _length(places, beyond.sum()),
        "longest_mm": _length(places, longest[1]),
        **_named(places, "longest", _middle_deg(places, *longest)),
        "unseen_mm": _length(places, unseen_run[1]),
        **_named(places, "unseen", _middle_deg(places, *unseen_run)),
    }


def _edges(places: Places, found: MarginValues, limit_um: float) -> dict[str, Any]:
    """How much longer and larger the edge is, and where it is longest and shortest."""
    vertical_um = found.vertical_um
    seen = np.isfinite(vertical_um)
    short, long = _first_largest(-vertical_um), _first_largest(vertical_um)
    return {
        "vertical_um": _mean(vertical_um[seen]),
        "horizontal_um": _mean(found.horizontal_um[seen]),
        "short_um": _at(vertical_um, short),
        **_named(places, "short", _at(places.angle_deg, short)),
        "long_um": _at(vertical_um, long),
        **_named(places, "long", _at(places.angle_deg, long)),
        "short_mm": _length(places, (vertical_um < -limit_um).sum()),
        "long_mm": _length(places, (vertical_um > limit_um).sum()),
    }


def _open(places: Places, found: MarginValues, limits: MarginLimits) -> dict[str, Any]:
    """The longest run along which material is missing, and how much."""
    start, run = longest_run(found.open(limits), found.counted, gap=0, closed=places.closed)
    rows = np.arange(start, start + run) % len(places)
    least_um = np.fmin(np.where(found.counted, found.deviation_um, np.nan), found.vertical_um)
    return {
        "missing_mm": _length(places, run),
        "missing_um": float(np.nanmin(least_um[rows])) if run else np.nan,
        **_named(places, "missing", _middle_deg(places, start, run)),
    }


def _flash(places: Places, found: MarginValues, limit_um: float) -> dict[str, Any]:
    """The highest flash, and how far it is too high."""
    flash_um = found.flash_um
    highest = _first_largest(np.where(flash_um > 0, flash_um, np.nan))
    return {
        "flash_um": float(flash_um.max()),
        **_named(places, "flash", _at(places.angle_deg, highest)),
        "flash_mm": _length(places, (flash_um > limit_um).sum()),
    }


def _named(places: Places, name: str, angle_deg: float) -> dict[str, Any]:
    """An angle, and what it is called."""
    return {f"{name}_deg": angle_deg, f"{name}_words": places.directions.words(angle_deg)}


def longest_run(
    beyond: BoolArray, counted: BoolArray, *, gap: int, closed: bool
) -> tuple[int, int]:
    """Find the longest run of places that are beyond.

    Up to ``gap`` places in a row that do not count join the runs on both sides of them; a place
    that counts and is not beyond never does.

    Parameters
    ----------
    beyond, counted : (p,) bool
    gap : int
    closed : bool
        Whether the last place is followed by the first.

    Returns
    -------
    start, count : int
        The first place of the run and how many it has, those between included; (0, 0) for none.
        The first of equally long ones.
    """
    inside = np.flatnonzero(beyond)
    if not len(inside):
        return 0, 0
    count = len(beyond)
    following = np.append(inside[1:], inside[0] + count)
    good = np.concatenate([[0], np.cumsum(np.tile(counted & ~beyond, 2))])
    between = good[following] - good[inside + 1]
    joined = (between == 0) & (following - inside - 1 <= gap)
    if not closed:
        joined[-1] = False
    if joined.all():
        return 0, count
    first = inside[np.flatnonzero(~np.roll(joined, 1))]
    last = inside[np.flatnonzero(~joined)]
    if last[0] < first[0]:  # the first of these ends a run that goes on over the line's beginning
        last = np.append(last[1:], last[0] + count)
    lengths: IntArray = last - first + 1
    best = int(np.argmax(lengths))
    return int(first[best]), int(lengths[best])


def _length(places: Places, count: int | np.integer[Any]) -> float:
    return min(float(count) * places.step_mm, places.length_mm)


def _middle_deg(places: Places, start: int, count: int) -> float:
    """Angle of the middle of a run of places; NaN for none."""
    if not count:
        return np.nan
    return float(places.angle_deg[(start + (count - 1) // 2) % len(places)])


def _first_largest(values: FloatArray) -> int | None:
    """The first place of the largest value; None if all are NaN."""
    found = np.isfinite(values)
    return int(np.nanargmax(values)) if found.any() else None


def _at(values: FloatArray, row: int | None) -> float:
    return float("nan") if row is None else float(values[row])


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if len(values) else np.nan


def _percentile(values: FloatArray, percent: float) -> float:
    if not len(values):
        return np.nan
    return float(weighted_percentile(values, np.ones(len(values)), np.array([percent]))[0])
