"""Points searched for once that may then move a little, at a tenth of a search's cost.

While no point has moved by more than δ, its closest face is among those that were no farther than
2δ beyond the closest one: dist(p′, f′) ≤ dist(p′, f) gives dist(p, f′) ≤ dist(p, f) + 2δ. So these
are listed once, and later passes only compare them, exactly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ..arrays import FloatArray, IntArray
from .candidates import Rivals
from .exact import FaceFrames
from .search import Found

if TYPE_CHECKING:
    from .closest import ClosestPoints, SurfaceIndex


class HeldPart(NamedTuple):
    """Some of the points, and the faces that can be their closest."""

    rows: IntArray
    guess: IntArray
    rivals: Rivals

    @classmethod
    def of(cls, found: Found, frames: FaceFrames, slack_mm: float) -> HeldPart:
        """Keep those of the rivals that lie within the slack of the guess."""
        place = np.cumsum(found.sure) - 1
        rows, guess = found.rows[found.sure], found.guess.faces[found.sure]
        rivals = found.rivals
        listed = np.flatnonzero(found.sure.take(rivals.point))
        point, face = rivals.point.take(listed), rivals.face.take(listed)
        transposed = np.ascontiguousarray(found.points.T)
        squared = frames.squared_distances(transposed.take(point, axis=1), face)
        bound = np.square(np.sqrt(found.guess.squared) + slack_mm)
        near = np.flatnonzero(squared <= bound.take(point))
        return cls(rows, guess, Rivals(place.take(point.take(near)), face.take(near)))


class HeldPoints:
    """Points near a surface whose closest points stay quick to find while they hardly move.

    Made by :meth:`.closest.SurfaceIndex.hold`.

    Attributes
    ----------
    index : SurfaceIndex
    points : (n, 3) float
        Where they were when they were searched for, mm.
    limit_mm : float
        The farthest that may be asked for.
    slack_mm : float
        How far each may have moved from there, mm.
    """

    def __init__(
        self,
        index: SurfaceIndex,
        points: FloatArray,
        limit_mm: float,
        slack_mm: float,
        parts: list[HeldPart],
    ) -> None:
        self.index, self.points = index, points
        self.limit_mm, self.slack_mm = limit_mm, slack_mm
        self._parts = parts

    def holds(self, points: FloatArray) -> bool:
        """Whether none of the points (n, 3) has moved by more than the slack."""
        away = points - self.points
        squared = np.einsum("ij,ij->i", away, away)
        return bool(squared.max(initial=0.0) <= self.slack_mm**2)

    def closest(
        self, points: FloatArray, *, max_distance_mm: float, signed: bool = False
    ) -> ClosestPoints:
        """Find what :meth:`.closest.SurfaceIndex.closest` finds, to the last bit.

        Parameters
        ----------
        points : (n, 3) float
            The same points after a small motion: see :meth:`holds`.
        max_distance_mm : float
            At most ``limit_mm``.
        signed : bool
        """
        return self.index._settled_held(points, self._parts, max_distance_mm, signed)
