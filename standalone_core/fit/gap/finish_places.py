"""Places along a finish line at which the margin is measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...areas.area_set import MarginLine
from ...arrays import BoolArray, FloatArray
from ...deviation.line_ring import (
    TANGENT_MM,
    angles_deg,
    arc_lengths,
    from_zero,
    made_across,
    middle_of,
    points_at,
    turning_left,
)
from ...deviation.margin_directions import Directions


@dataclass(frozen=True, eq=False)
class FinishPlaces:
    """Places on a finish line; arrays (p,) or (p, 3).

    Attributes
    ----------
    angle_deg : (p,) float
        About the middle of the line, 0 to 360, counter-clockwise seen from occlusal.
    points_mm : (p, 3) float
        NaN at angles where an open line has no place.
    along, out : (p, 3) float
        Unit vectors: along the line, counter-clockwise, and away from the tooth across the path
        of insertion.
    at_even_angles : bool
        Otherwise the places lie evenly along the line.
    """

    angle_deg: FloatArray
    points_mm: FloatArray
    along: FloatArray
    out: FloatArray
    at_even_angles: bool

    def __len__(self) -> int:
        """Count of places."""
        return len(self.angle_deg)

    @property
    def there(self) -> BoolArray:
        """At which angles, (p,), the line has a place."""
        there: BoolArray = np.isfinite(self.points_mm[:, 0])
        return there


def finish_places(
    line: MarginLine, axis: FloatArray, directions: Directions, count: int
) -> FinishPlaces:
    """Choose places on a finish line.

    They lie at even angles, the first at 0°, where each angle meets the line once; a line that
    turns back seen along the path of insertion by more than half of that is divided evenly along
    its length instead.

    Parameters
    ----------
    line : MarginLine
    axis : (3,) float
        Path of insertion, a unit vector to occlusal.
    directions : Directions
        Where the angle is 0.
    count : int
        How many places.
    """
    zero, quarter = directions.zero, directions.quarter
    closed = np.vstack([line.points_mm, line.points_mm[:1]])
    middle = middle_of(closed)
    ring = turning_left(closed if line.closed else line.points_mm, axis)
    if line.closed:
        ring = from_zero(ring, middle, zero, quarter)
    arms = ring - middle
    place = _at_even_angles(arms @ zero, arms @ quarter, arc_lengths(ring), count, line.closed)
    even = place is not None
    if place is None:
        place = _evenly(arc_lengths(ring)[-1], count, line.closed)
    return _places(ring, place, line.closed, middle, axis, directions, even)


def _at_even_angles(
    x: FloatArray, y: FloatArray, length: FloatArray, count: int, closed: bool
) -> FloatArray | None:
    """Arc length at which a line crosses each angle, NaN if nowhere; None if it turns back."""
    angle = np.unwrap(np.arctan2(y, x))
    reached = np.maximum.accumulate(angle)
    step = 2.0 * np.pi / count
    once = angle[-1] - angle[0] < 2.0 * np.pi + 0.5 * step
    if (reached - angle).max() > 0.5 * step or not once:
        return None
    wanted = step * np.arange(count)
    wanted = angle[0] + (wanted - angle[0]) % (2.0 * np.pi)
    if closed:
        wanted = np.minimum(wanted, reached[-1])
    end = np.clip(np.searchsorted(reached, wanted), 1, len(angle) - 1)
    # Where the leg crosses the ray: the height of its ends above the ray is linear along it.
    below, above = (y[k] * np.cos(wanted) - x[k] * np.sin(wanted) for k in (end - 1, end))
    rise = above - below
    share = np.clip(np.divide(-below, rise, out=np.zeros(count), where=rise > 0), 0.0, 1.0)
    place = (1.0 - share) * length[end - 1] + share * length[end]
    return np.where(wanted <= reached[-1], place, np.nan)


def _evenly(total: float, count: int, closed: bool) -> FloatArray:
    return np.linspace(0.0, total, count, endpoint=not closed)


def _places(
    ring: FloatArray,
    place: FloatArray,
    closed: bool,
    middle: FloatArray,
    axis: FloatArray,
    directions: Directions,
    even: bool,
) -> FinishPlaces:
    """Points and directions at arc lengths of a line."""
    length = arc_lengths(ring)
    points = points_at(ring, length, place, closed)
    chord = points_at(ring, length, place + TANGENT_MM, closed)
    chord -= points_at(ring, length, place - TANGENT_MM, closed)
    arms = points - middle
    level = made_across(chord, axis, _unit(np.cross(axis, arms)))
    angle: FloatArray = np.linspace(0.0, 360.0, len(place), endpoint=False, dtype=np.float64)
    if not even:
        angle = angles_deg(arms, directions.zero, directions.quarter)
    return FinishPlaces(
        angle_deg=angle,
        points_mm=points,
        along=_unit(chord),
        out=np.cross(level, axis),
        at_even_angles=even,
    )


def _unit(vectors: FloatArray) -> FloatArray:
    unit: FloatArray = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    return unit
