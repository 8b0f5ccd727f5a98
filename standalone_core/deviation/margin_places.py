"""Places along a margin line, and the directions that belong to each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..areas.area_set import AreaSet, MarginLine
from ..arrays import FloatArray
from .line_ring import (
    TANGENT_MM,
    angles_deg,
    arc_lengths,
    from_zero,
    made_across,
    middle_of,
    points_at,
    turning_left,
)
from .margin_directions import Directions, directions_of


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
    middle = middle_of(ring)
    if line.closed:
        ring = from_zero(turning_left(ring, axis), middle, zero, quarter)
    length = arc_lengths(ring)
    total = float(length[-1])
    count = max(3, round(total / step_mm))
    step = total / count
    place: FloatArray = step * np.arange(count + (not line.closed), dtype=np.float64)
    points = points_at(ring, length, place, line.closed)
    chord = points_at(ring, length, place + TANGENT_MM, line.closed)
    chord -= points_at(ring, length, place - TANGENT_MM, line.closed)
    arms = points - middle
    along = made_across(chord, axis, np.cross(axis, arms))
    return MarginPlaces(
        place_mm=place,
        points_mm=points,
        along=along,
        out=np.cross(along, axis),
        insertion=axis,
        angle_deg=angles_deg(arms, zero, quarter),
        directions=directions,
        step_mm=step,
        closed=line.closed,
    )
