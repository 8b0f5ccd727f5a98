"""The points of a line around a crown, in order from 0°: lengths, places and angles."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from .margin_directions import LEAST_ACROSS

TANGENT_MM = 0.25
"""A line's direction is that of the chord this far to both sides."""


def arc_lengths(ring: FloatArray) -> FloatArray:
    """Arc length at each point (k, 3) of a line from its first, (k,), mm."""
    steps = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def middle_of(ring: FloatArray) -> FloatArray:
    """The middle of a line's length, (3,)."""
    weight = np.linalg.norm(np.diff(ring, axis=0), axis=1)[:, None]
    middle: FloatArray = (0.5 * (ring[1:] + ring[:-1]) * weight).sum(axis=0) / weight.sum()
    return middle


def turning_left(ring: FloatArray, axis: FloatArray) -> FloatArray:
    """The closed ring, turned round if it runs clockwise seen from occlusal."""
    arms = ring - ring[0]
    area = float(np.cross(arms[:-1], arms[1:]).sum(axis=0) @ axis)
    return ring[::-1] if area < 0 else ring


def from_zero(
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


def points_at(ring: FloatArray, length: FloatArray, place: FloatArray, closed: bool) -> FloatArray:
    """Points at arc lengths; beyond the ends of an open line those ends."""
    wanted = place % length[-1] if closed else place
    return np.stack([np.interp(wanted, length, ring[:, k]) for k in range(3)], axis=1)


def made_across(chord: FloatArray, axis: FloatArray, instead: FloatArray) -> FloatArray:
    """Unit chords made square to the axis; where the line climbs along it, the way around it."""
    across = chord - (chord @ axis)[:, None] * axis
    steep = np.linalg.norm(across, axis=1) < LEAST_ACROSS * np.linalg.norm(chord, axis=1)
    across[steep] = instead[steep]
    unit: FloatArray = across / np.linalg.norm(across, axis=1, keepdims=True)
    return unit


def angles_deg(arms: FloatArray, zero: FloatArray, quarter: FloatArray) -> FloatArray:
    """Angles from 0 up to 360; one that rounding makes negative by a trifle is 0, not 360."""
    angle = np.degrees(np.arctan2(arms @ quarter, arms @ zero))
    angle[np.abs(angle) < 1e-9] = 0.0
    return np.where(angle < 0, angle + 360.0, angle)
