"""Small motions as six comparable numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from .rigid import motion_about, rotation_from_vector

_LARGEST_TURN = 0.3


@dataclass(frozen=True)
class MotionFrame:
    """Centre and length that make the six small motions comparable.

    A motion is (turn × length, shift) about the centre: six numbers in mm.
    """

    centre: FloatArray
    length_mm: float

    @classmethod
    def of(cls, points: FloatArray, weights: FloatArray) -> MotionFrame:
        """Weighted centroid, and root mean square distance from it."""
        # Not by products of matrices: their last bits depend on how many threads there are.
        total = float(weights.sum())
        centre = (weights[:, None] * points).sum(axis=0) / total
        squared = np.square(points - centre).sum(axis=1)
        return cls(centre, float(np.sqrt((weights * squared).sum() / total)) or 1.0)

    def motion(self, small: FloatArray) -> FloatArray:
        """4×4 motion of six small numbers; turns are limited to 0.3 rad."""
        turn = small[:3] / self.length_mm
        limit = min(1.0, _LARGEST_TURN / max(float(np.linalg.norm(turn)), 1e-300))
        return motion_about(rotation_from_vector(turn * limit), self.centre, small[3:] * limit)
