"""Places of a crown's walls in words."""

from __future__ import annotations

import math

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import Directions
from ...shares import share_words
from ..crown import FitCrown

_MIDDLE = 0.2
"""Nearer to the middle than this share of the margin line's mean radius, a place has no side."""


def where_words(
    place: FloatArray, crown: FitCrown, directions: Directions, *, is_wall: bool
) -> str:
    """Say where a place of the intaglio, (3,), lies: on which side, how far above the margin.

    Examples: "wall, distobuccal, 2.1 mm above the margin line"; "roof, in the middle, 4.0 mm
    above the margin line".
    """
    line, axis = crown.margin_line.points_mm, crown.axis
    middle = line.mean(axis=0)
    arm = place - middle
    away = float(np.linalg.norm(arm - (arm @ axis) * axis))
    spread = line - middle
    radius = float(np.linalg.norm(spread - np.outer(spread @ axis, axis), axis=1).mean())
    side = "in the middle"
    if away > _MIDDLE * radius:
        angle = math.degrees(
            math.atan2(float(arm @ directions.quarter), float(arm @ directions.zero))
        )
        side = directions.words(angle % 360.0)
    near = line[np.argmin(np.linalg.norm(line - place, axis=1))]
    height = float((place - near) @ axis)
    part = "wall" if is_wall else "roof"
    return f"{part}, {side}, {height:.1f} mm above the margin line"


def lost_words(count: int, share: float) -> tuple[str, ...]:
    """Warn of measuring points at which nothing could be measured; nothing for none."""
    if not count:
        return ()
    return (
        f"At {count:,} measuring points ({share_words(share)} of the walls) the way through the "
        "material leaves through an open border or meets no far side: nothing was measured there. "
        "Close the holes of the scan to measure there too.",
    )
