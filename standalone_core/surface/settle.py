"""From a guess and its rivals to the closest face, with ties and the side settled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, IntArray
from .exact import FaceFrames, Feet
from .rivals import Rivals

_ROUNDING = 1e-14
"""Relative rounding of a distance, with room to spare."""
_SHARE = 0.01
"""Rounding of a short distance from a large face, as a share of the tolerance."""


class Settled(NamedTuple):
    """Closest points of a block."""

    feet: Feet
    foot: FloatArray
    """(3, n), mm."""
    side: FloatArray
    """(n,): −1 behind the surface, else 1."""


class _Rows(NamedTuple):
    """Rows of points and faces, sorted by point."""

    first: IntArray
    """(g,): first row of each point."""
    point: IntArray
    """(k,): which of the g points each row is of."""

    @classmethod
    def of(cls, point: IntArray) -> _Rows:
        """Rows of sorted points (k,)."""
        starts = np.diff(point, prepend=-1) > 0
        return cls(np.flatnonzero(starts), np.cumsum(starts) - 1)

    def least(self, values: FloatArray) -> FloatArray:
        """Least value (g,) of each point's rows."""
        least: FloatArray = np.minimum.reduceat(values, self.first)
        return least

    def first_of_least(self, values: FloatArray) -> IntArray:
        """Of each point the first row (g,) of the least value."""
        is_least = values == self.least(values).take(self.point)
        row = np.where(is_least, np.arange(len(values)), len(values))
        first: IntArray = np.minimum.reduceat(row, self.first)
        return first


def settle(
    points: FloatArray,
    guess: Feet,
    rivals: Rivals,
    frames: FaceFrames,
    number: IntArray,
    tolerance_mm: float,
) -> Settled:
    """Compare rivals exactly and choose each point's face.

    Feet closer together than the tolerance are one place, shared by the faces that meet there.
    Of these the lowest in ``number`` (m,) that has an area is chosen. Where the
    side is told, see :func:`_sides`.

    Parameters
    ----------
    points : (3, n) float
    """
    squared = frames.squared_distances(points.take(rivals.point, axis=1), rivals.face)
    bound = np.sqrt(guess.squared) + tolerance_mm
    near = np.flatnonzero(squared <= np.square(bound).take(rivals.point))
    foot = frames.to_space(guess.faces, guess.x, guess.y)
    side = np.where(guess.height < 0.0, -1.0, 1.0)
    settled = Settled(guess, foot, side)
    if len(near):
        near_rivals = Rivals(rivals.point.take(near), rivals.face.take(near))
        _settle_shared(points, settled, near_rivals, frames, number, tolerance_mm)
    return settled


def _settle_shared(
    points: FloatArray,
    settled: Settled,
    rivals: Rivals,
    frames: FaceFrames,
    number: IntArray,
    tolerance_mm: float,
) -> None:
    """Settle the points that have rivals, in place."""
    point, face = _with_guess(settled.feet.faces, rivals, number)
    rows = _Rows.of(point)
    here = points.take(point, axis=1)
    feet = frames.feet(here, face)
    foot = frames.to_space(face, feet.x, feet.y)

    nearest = rows.first_of_least(feet.squared)
    gap = np.abs(foot - foot.take(nearest.take(rows.point), axis=1)).max(axis=0)
    lacking = np.where(gap <= tolerance_mm, frames.without_area(face), 2)
    best = rows.first_of_least(lacking)

    target = point.take(best)
    settled.feet.put(target, feet.taken(best))
    settled.foot[:, target] = foot.take(best, axis=1)
    settled.side[target] = _sides(here, feet, rows, frames, tolerance_mm)


def _sides(
    here: FloatArray, feet: Feet, rows: _Rows, frames: FaceFrames, tolerance_mm: float
) -> FloatArray:
    """Side (g,) of each point (row by row (3, k)): −1 behind the surface, else 1.

    Distances d that differ by no more than their rounding r tie, and their feet can be √(2 d r)
    apart, much more than the tolerance: beside an edge or a corner, rounding chooses among the
    faces there, one of which alone may be seen from behind. So of the places that tie, the side
    is told at

    1. a foot inside a face, by that face: the point is over it, with nothing in between;
    2. else a corner, else an edge, by its pseudonormal. A corner goes first, even if no foot is
       quite on it: all its faces tie, but which of its edges are the nearest is left to rounding.
    """
    distance = np.sqrt(feet.squared)
    least = rows.least(distance)
    slack = _ROUNDING * least + _SHARE * tolerance_mm
    reach = np.sqrt(slack * (2.0 * least + slack))
    corner = frames.corners_near(feet, reach.take(rows.point))
    rank = feet.squared.max() + np.where(corner >= 0, 1.0, 2.0)
    rank = np.where(feet.side == 0, feet.squared, rank)
    ties = distance <= (least + slack).take(rows.point)
    place = rows.first_of_least(np.where(ties, rank, np.inf))
    side = np.where(feet.height.take(place) < 0.0, -1.0, 1.0)
    on_rim = feet.side.take(place) > 0
    if on_rim.any():
        rim, those = place[on_rim], np.flatnonzero(on_rim.take(rows.point))
        places = frames.drawn_to(feet.taken(rim), corner.take(rim))
        those_rows = _Rows.of(rows.point.take(those))
        normal = _pseudonormals(places, feet.faces.take(those), those_rows, frames, tolerance_mm)
        away = here.take(rim, axis=1) - places
        side[on_rim] = np.where(np.einsum("ij,ij->j", away, normal) < 0.0, -1.0, 1.0)
    return side


def _pseudonormals(
    places: FloatArray, faces: IntArray, rows: _Rows, frames: FaceFrames, tolerance_mm: float
) -> FloatArray:
    """Pseudonormals (3, g) of places (3, g) on edges and corners, not of unit length.

    The sum of the normals of all faces that hold the place, each weighted by the angle that the
    face spans around it (Bærentzen & Aanæs 2005). Faces without area have no part in it.

    Parameters
    ----------
    faces : (k,) int
        Faces that may hold the places, row by row.
    """
    feet = frames.feet(places.take(rows.point, axis=1), faces)
    holds = (feet.squared <= tolerance_mm**2) & ~frames.without_area(faces)
    weight = holds * frames.angles(feet, tolerance_mm)
    return np.stack(
        [np.add.reduceat(weight * axis.take(faces), rows.first) for axis in frames.z_axis]
    )


def _with_guess(guess: IntArray, rivals: Rivals, number: IntArray) -> tuple[IntArray, IntArray]:
    """Rivals and the guesses they challenge, each once, sorted by point, then face number."""
    challenged = np.zeros(len(guess), dtype=bool)
    challenged[rivals.point] = True
    those = np.flatnonzero(challenged)
    point = np.concatenate([those, rivals.point])
    face = np.concatenate([guess.take(those), rivals.face])
    key = point * len(number) + number.take(face)
    order = np.argsort(key)
    once = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    return point.take(once), face.take(once)
