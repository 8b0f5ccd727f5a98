"""Candidates for points near the surface: each point for itself.

The handful of pieces whose balls are nearest to a point holds its closest point, and says itself
whether it surely does. How large the handful must be differs from surface to surface, with how
crowded its rows are, so that some of the points are asked first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .exact import FaceFrames, Feet
from .pieces import Pieces
from .rivals import Rivals, challenged

ROUNDS = (32, 128)
"""Most pieces listed for a point: for all points, then for those left unsure."""
_SOME = 150
"""About so many points are asked how far and how many pieces must be listed,"""
_MOST = 0.98
"""to settle about this share of all."""
_FEW = 0.5
"""Where fewer could be settled, listing pieces for each point by itself does not pay."""
_ROUNDING = 1.0 + 1e-9


class Nearby(NamedTuple):
    """What the nearest pieces say."""

    guess: Feet
    rivals: Rivals
    sure: BoolArray
    """(n,): whether guess and rivals hold every face that can be the closest."""


class Reach(NamedTuple):
    """How many pieces are listed for a point, and up to which distance in the tree."""

    pieces: int
    farthest: float


@dataclass(frozen=True, eq=False)
class NearPieces:
    """The pieces nearest to points.

    Attributes
    ----------
    pieces : Pieces
    frames : FaceFrames
    limit_mm, slack_mm : float
        As in :func:`.candidates.find_candidates`.
    """

    pieces: Pieces
    frames: FaceFrames
    limit_mm: float
    slack_mm: float

    def reach(self, points: FloatArray, most: int) -> Reach | None:
        """What settles most points (n, 3), by the example of some; None if many would be left.

        No more than ``most`` pieces are to be listed for a point.
        """
        some = points[:: 1 + len(points) // _SOME]
        face = self.pieces.nearest_face(some)
        squared = self.frames.squared_distances(np.ascontiguousarray(some.T), face)
        most = min(most, len(self.pieces.face))
        farthest = self._settling(squared)
        distance, number = self.pieces.listed(some, most, farthest)
        found = self._found(some, distance, number, farthest)
        if found.sure.mean() < _FEW:
            return None
        farthest = self._settling(found.guess.squared)
        within = np.count_nonzero(distance < farthest, axis=1)
        return Reach(min(1 + int(np.quantile(within, _MOST)), most), farthest)

    def find(self, points: FloatArray, reach: Reach) -> Nearby:
        """Find the closest face of each point and its rivals among the nearest pieces.

        The exact distance b to any face bounds the point's distance, so the foot's piece lies
        within b + R in the tree, R the largest radius. Whether all such pieces are listed follows
        from the farthest one that is.
        """
        distance, number = self.pieces.listed(points, *reach)
        return self._found(points, distance, number, reach.farthest)

    def _found(
        self, points: FloatArray, distance: FloatArray, number: IntArray, farthest: float
    ) -> Nearby:
        """Compare the faces of pieces (n, k) that were listed, to ``farthest``."""
        count, face = distance.shape[1], self.pieces.face
        guess = face.take(np.minimum(number[:, 0], len(face) - 1))
        transposed = np.ascontiguousarray(points.T)
        feet = self.frames.feet(transposed, guess)
        near = np.flatnonzero(distance <= self._need(feet.squared)[:, None])
        listed = Rivals(near // count, face.take(number.ravel().take(near)))
        rivals = challenged(transposed, feet, listed, self.frames, self.slack_mm)
        last = distance[:, -1] if count < len(face) else np.inf
        sure = self._need(feet.squared) < np.minimum(last, farthest)
        return Nearby(feet, rivals, sure)

    def _settling(self, squared: FloatArray) -> float:
        """How far in the tree pieces must be listed to settle most points."""
        return float(np.quantile(self._need(squared), _MOST)) * _ROUNDING

    def _need(self, squared: FloatArray) -> FloatArray:
        """How far in the tree pieces can be that hold feet, by squared distances of some face."""
        bound = np.minimum(np.sqrt(squared), self.limit_mm) + self.slack_mm
        need: FloatArray = (bound + self.pieces.largest_radius) * _ROUNDING
        return need
