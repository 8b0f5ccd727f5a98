"""Candidates for points near the surface and few against its pieces: each point for itself.

Sharing lists among neighbouring points pays where points lie dense against the pieces. Where they
do not, the handful of pieces whose centres are nearest to each point holds its closest point, and
says itself whether it surely does.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray
from .candidates import Rivals, without_repeats
from .exact import FaceFrames, Feet
from .pieces import Pieces

FIRST, SECOND = 10, 32
"""Nearest pieces asked for: by all points, then by those that the first round left unsure."""
_REACH = 4.0
"""Pieces are never looked for beyond this many times the largest piece's radius."""
_EVERY, _MOST = 16, 0.98
"""Every 16th point shows how far the first round must reach to settle about this share of all."""


class Nearby(NamedTuple):
    """What the nearest pieces say."""

    guess: Feet
    rivals: Rivals
    sure: BoolArray
    """(n,): whether guess and rivals hold every face that can be the closest."""


def find_nearby(
    points: FloatArray,
    pieces: Pieces,
    frames: FaceFrames,
    neighbours: int,
    limit_mm: float,
    slack_mm: float,
) -> Nearby:
    """Guess the closest face of each point and list the others among its nearest pieces.

    The exact distance b to the guess bounds the point's distance, so the foot's piece lies within
    b + R, R the largest radius. Whether all such pieces are listed follows from the farthest one
    that is. ``neighbours`` pieces are listed per point; the other parameters are those of
    :func:`.candidates.find_candidates`.
    """
    largest = pieces.largest_radius
    farthest = _REACH * largest
    if neighbours == FIRST:
        farthest = min(farthest, _reach(points[::_EVERY], pieces, frames, limit_mm) + slack_mm)
    count = min(neighbours, len(pieces.proper))
    nearest = pieces.tree.query(points, k=range(1, count + 1), distance_upper_bound=farthest)
    distance, number = np.asarray(nearest[0]), np.asarray(nearest[1])
    missing = ~np.isfinite(distance)
    piece = pieces.proper.take(np.where(missing, 0, number))
    radius = pieces.radius.take(piece)
    face = pieces.face.take(piece)
    least = (distance**2 - radius**2).argmin(axis=1)
    guess = face[np.arange(len(points)), least]
    feet = frames.feet(np.ascontiguousarray(points.T), guess)
    bound = np.minimum(np.sqrt(feet.squared), limit_mm) + slack_mm
    listed_to = np.where(missing[:, -1], farthest, distance[:, -1])
    if count == len(pieces.proper):
        listed_to = np.full(len(points), farthest)
    sure = bound + largest <= listed_to
    row, column = np.nonzero(distance <= radius + bound[:, None])
    rivals = Rivals(row, face[row, column])
    return Nearby(feet, without_repeats(rivals, guess, pieces, frames), sure)


def _reach(some: FloatArray, pieces: Pieces, frames: FaceFrames, limit_mm: float) -> float:
    """How far from most points the centres of the pieces lie that can hold their feet, mm."""
    face = pieces.face.take(pieces.nearest(some))
    squared = frames.squared_distances(np.ascontiguousarray(some.T), face)
    bound = min(float(np.sqrt(np.quantile(squared, _MOST))), limit_mm)
    return (pieces.largest_radius + bound) * (1.0 + 1e-9)
