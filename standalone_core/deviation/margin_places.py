"""Places along a margin line, and the directions that belong to each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..areas.area_set import AreaSet, MarginLine
from ..arrays import FloatArray
from .margin_directions import LEAST_ACROSS, Directions, directions_of

_TANGENT_MM = 0.25  # the line's direction is that of the chord this far to both sides


@dataclass(frozen=True, eq=False)
class MarginPlaces:
    """Places evenly along a margin line.

    Attributes
    ----------
    place_mm : (p,) float
        Arc length from the first place, mm.
    points_mm : (p, 3) float
    along, out : (p, 3) float
        Unit vectors across the path of insertion: along the line, and away from the crown.
    insertion : (3,) float
        Unit vector to occlusal.
    angle_deg : (p,) float
        0 to 360, counter-clockwise seen from occlusal.
    directions : Directions
        Where the angle is 0.
    step_mm : float
        Distance between places along the line.
    closed : bool
    """

    place_mm: FloatArray
    points_mm: FloatArray
    along: FloatArray
    out: FloatArray
    insertion: FloatArray
    angle_deg: FloatArray
    directions: Directions
    step_mm: float
    closed: bool

    def __len__(self) -> int:
        """Count of places."""
        return len(self.place_mm)

    @property
    def length_mm(self) -> float:
        """Length of the line, mm."""
        return self.step_mm * (len(self) - (not self.closed))


def margin_places(line: MarginLine, area_set: AreaSet, step_mm: float) -> MarginPlaces:
    """Divide a margin line evenly into steps as near to ``step_mm`` as goes.

    A closed line begins where its angle is 0 and runs counter-clockwise seen from occlusal, so
    that the places are the same wherever the design lies; an open one begins at its own end.
    Angles are about the middle of the line (that of its length).

    Parameters
    ----------
    line : MarginLine
    area_set : AreaSet
        Of which the path of insertion, which must be known, and the mesial direction.
    step_mm : float
    """
    assert area_set.insertion is not None  # asked before
    axis = area_set.insertion
    directions = directions_of(area_set)
    zero, quarter = directions.zero, directions.quarter
    ring = np.vstack([line.points_mm, line.points_mm[:1]]) if line.closed else line.points_mm
    middle = _middle(ring)
    if line.closed:
        ring = _from_zero(_turning_left(ring, axis), middle, zero, quarter)
    length = _lengths(ring)
    total = float(length[-1])
    count = max(3, round(total / step_mm))
    step = total / count
    place: FloatArray = step * np.arange(count + (not line.closed), dtype=np.float64)
    points = _at(ring, length, place, line.closed)
    chord = _at(ring, length, place + _TANGENT_MM, line.closed)
    chord -= _at(ring, length, place - _TANGENT_MM, line.closed)
    arms = points - middle
    along = _across(chord, axis, np.cross(axis, arms))
    return MarginPlaces(
        place_mm=place,
        points_mm=points,
        along=along,
        out=np.cross(along, axis),
        insertion=axis,
        angle_deg=_angles_deg(arms, zero, quarter),
        directions=directions,
        step_mm=step,
        closed=line.closed,
    )


def _lengths(ring: FloatArray) -> FloatArray:
    steps = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _middle(ring: FloatArray) -> FloatArray:
    weight = np.linalg.norm(np.diff(ring, axis=0), axis=1)[:, None]
    middle: FloatArray = (0.5 * (ring[1:] + ring[:-1]) * weight).sum(axis=0) / weight.sum()
    return middle


def _turning_left(ring: FloatArray, axis: FloatArray) -> FloatArray:
    """The closed ring, turned round if it runs clockwise seen from occlusal."""
    arms = ring - ring[0]
    area = float(np.cross(arms[:-1], arms[1:]).sum(axis=0) @ axis)
    return ring[::-1] if area < 0 else ring


def _from_zero(
    ring: FloatArray, middle: FloatArray, zero: FloatArray, quarter: FloatArray
) -> FloatArray:
    """The closed ring from where it crosses 0°; the farthest crossing if there are several."""
    x, y = (ring - middle) @ zero, (ring - middle) @ quarter
    starts = np.flatnonzero((y[:-1] < 0) & (y[1:] >= 0))
    share = -y[starts] / (y[starts + 1] - y[starts])
    reach = (1.0 - share) * x[starts] + share * x[starts + 1]
    if not len(starts) or reach.max() <= 0:
        return ring
    best = int(np.argmax(reach))
    k, t = int(starts[best]), float(share[best])
    first = (1.0 - t) * ring[k] + t * ring[k + 1]
    return np.vstack([first, ring[k + 1 : -1], ring[: k + 1], first])


def _at(ring: FloatArray, length: FloatArray, place: FloatArray, closed: bool) -> FloatArray:
    """Points at arc lengths; beyond the ends of an open line those ends."""
    wanted = place % length[-1] if closed else place
    return np.stack([np.interp(wanted, length, ring[:, k]) for k in range(3)], axis=1)


def _across(chord: FloatArray, axis: FloatArray, instead: FloatArray) -> FloatArray:
    """Unit chords made square to the axis; where the line climbs along it, the way around it."""
    across = chord - (chord @ axis)[:, None] * axis
    steep = np.linalg.norm(across, axis=1) < LEAST_ACROSS * np.linalg.norm(chord, axis=1)
    across[steep] = instead[steep]
    unit: FloatArray = across / np.linalg.norm(across, axis=1, keepdims=True)
    return unit


def _angles_deg(arms: FloatArray, zero: FloatArray, quarter: FloatArray) -> FloatArray:
    """Angles from 0 up to 360; one that rounding makes negative by a trifle is 0, not 360."""
    angle = np.degrees(np.arctan2(arms @ quarter, arms @ zero))
    angle[np.abs(angle) < 1e-9] = 0.0
    return np.where(angle < 0, angle + 360.0, angle)
