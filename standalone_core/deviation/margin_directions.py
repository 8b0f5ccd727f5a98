"""Directions around a crown: angles about the path of insertion, and words for them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..areas.area_set import AreaSet
from ..areas.settings import AreaSettings
from ..arrays import FloatArray

LEAST_ACROSS = 0.1
"""Of a unit vector, its least part across the path of insertion that still gives a direction."""

_OCTANT_DEG = 45.0

Zero = Literal["mesial", "x", "y"]
_JOINED: Mapping[str, str] = {"mesial": "mesio", "distal": "disto"}  # before another direction
ZERO_WORDS: Mapping[Zero, str] = {"mesial": "mesial", "x": "the x axis", "y": "the y axis"}


@dataclass(frozen=True, eq=False)
class Directions:
    """What is known of the directions around a crown.

    Attributes
    ----------
    zero, quarter : (3,) float
        The directions at 0° and at 90°, unit vectors across the path of insertion.
    zero_name : "mesial", "x" or "y"
        What the first one is: an axis of the design's file where mesial is not known.
    buccal_deg : float
        The angle of the buccal direction; NaN where it is not known.
    """

    zero: FloatArray
    quarter: FloatArray
    zero_name: Zero
    buccal_deg: float = math.nan

    def words(self, angle_deg: float) -> str:
        """Name a place by its angle, from what is known; empty for no angle.

        With mesial and buccal known, one of eight: ``distobuccal`` and so on. With mesial alone,
        ``mesial`` and ``distal`` within 22.5° of these, and otherwise the angle.
        """
        if not math.isfinite(angle_deg):
            return ""
        names: list[str] = []
        half = 0.5 * _OCTANT_DEG
        if self.zero_name == "mesial":
            names += _near(angle_deg, 0.0, ("mesial", "distal"), 90.0 - half)
        if math.isfinite(self.buccal_deg):
            names += _near(angle_deg, self.buccal_deg, ("buccal", "lingual"), 90.0 - half)
        known = (self.zero_name == "mesial") + math.isfinite(self.buccal_deg)
        if known == 2 and names:
            first, *rest = names
            return f"{_JOINED[first]}{rest[0]}" if rest else first
        return self._one_known(angle_deg)

    def _one_known(self, angle_deg: float) -> str:
        half = 0.5 * _OCTANT_DEG
        if self.zero_name == "mesial":
            names = _near(angle_deg, 0.0, ("mesial", "distal"), half)
        else:
            names = _near(angle_deg, self.buccal_deg, ("buccal", "lingual"), half)
        return (
            names[0] if names else f"at {round(angle_deg) % 360}° from {ZERO_WORDS[self.zero_name]}"
        )


def directions_of(area_set: AreaSet) -> Directions:
    """Return the directions around a design whose path of insertion is known.

    See :func:`directions_about`.
    """
    assert area_set.insertion is not None  # asked before
    return directions_about(area_set.insertion, area_set.settings)


def directions_about(axis: FloatArray, settings: AreaSettings) -> Directions:
    """Return the directions around a path of insertion.

    The angle is 0 towards mesial if that is known, otherwise at the x axis of the design's file
    (or, where that lies along the path of insertion, the y axis), each taken across the path of
    insertion; it grows counter-clockwise seen from occlusal.

    Parameters
    ----------
    axis : (3,) float
        Path of insertion, a unit vector to occlusal.
    settings : AreaSettings
        Its mesial and buccal directions, in the same frame.
    """
    mesial = _across(settings.mesial_direction, axis)
    zero_name: Zero = "mesial"
    if mesial is None:
        mesial, zero_name = _across((1.0, 0.0, 0.0), axis), "x"
    if mesial is None:
        mesial, zero_name = _across((0.0, 1.0, 0.0), axis), "y"
    assert mesial is not None  # x and y cannot both lie along one direction
    quarter = np.cross(axis, mesial)
    buccal = _across(settings.buccal_direction, axis)
    angle = math.nan
    if buccal is not None:
        angle = math.degrees(math.atan2(float(buccal @ quarter), float(buccal @ mesial))) % 360.0
    return Directions(mesial, quarter, zero_name, angle)


def _across(direction: tuple[float, ...] | None, axis: FloatArray) -> FloatArray | None:
    """The unit vector across an axis nearest to a direction; None if that lies along it."""
    if direction is None:
        return None
    unit = np.asarray(direction, dtype=np.float64) / np.linalg.norm(direction)
    across: FloatArray = unit - (unit @ axis) * axis
    length = float(np.linalg.norm(across))
    return across / length if length > LEAST_ACROSS else None


def _near(angle: float, towards: float, names: tuple[str, str], within: float) -> list[str]:
    """The name of a direction or of its opposite, if the angle lies within some of it."""
    if not math.isfinite(towards):
        return []
    turn = abs((angle - towards + 180.0) % 360.0 - 180.0)
    return [names[0]] if turn <= within else [names[1]] if turn >= 180.0 - within else []
