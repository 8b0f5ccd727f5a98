"""Faces that may be closest instead of the one guessed, compared exactly."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, IntArray
from .exact import FaceFrames, Feet


class Rivals(NamedTuple):
    """Faces (k,) that may hold the closest point of points (k,) instead of the guess."""

    point: IntArray
    face: IntArray


def challenged(
    points: FloatArray, guess: Feet, rivals: Rivals, frames: FaceFrames, slack_mm: float
) -> Rivals:
    """Put the nearest of its rivals in place of each guess; return those that still are rivals.

    These are the faces, each once a point, that are farther than the guess by no more than the
    slack.

    Parameters
    ----------
    points : (3, n) float
    guess : Feet
        Changed in place.
    """
    point, face = rivals
    other = np.flatnonzero(face != guess.faces.take(point))
    point, face = point.take(other), face.take(other)
    squared = frames.squared_distances(points.take(point, axis=1), face)
    first = guess.squared.copy()
    best = first.copy()
    np.minimum.at(best, point, squared)
    beaten = np.flatnonzero(best < first)
    beaten_face = guess.faces.take(beaten)
    wins = np.flatnonzero(squared < first.take(point))
    wins = wins[squared.take(wins) == best.take(point.take(wins))]
    guess.put(point[wins], frames.feet(points.take(point[wins], axis=1), face[wins]))
    bound = np.square(np.sqrt(best) + slack_mm)
    near = np.flatnonzero(squared <= bound.take(point))
    near_beaten = np.flatnonzero(first.take(beaten) <= bound.take(beaten))
    point = np.concatenate([point.take(near), beaten.take(near_beaten)])
    face = np.concatenate([face.take(near), beaten_face.take(near_beaten)])
    return _without_repeats(Rivals(point, face), guess.faces, len(frames.length))


def _without_repeats(rivals: Rivals, guess: IntArray, faces: int) -> Rivals:
    """The rivals without the guesses (n,) themselves, each face once a point."""
    other = np.flatnonzero(rivals.face != guess.take(rivals.point))
    key = np.sort(rivals.point.take(other) * faces + rivals.face.take(other))
    return Rivals(*np.divmod(key[np.diff(key, prepend=-1) > 0], faces))
