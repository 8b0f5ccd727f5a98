"""From a guess and its rivals to the closest face, with ties and the side settled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, IntArray
from .candidates import Rivals
from .exact import FaceFrames, Feet


class Settled(NamedTuple):
    """Closest points of a block."""

    feet: Feet
    foot: FloatArray
    """(3, n), mm."""
    side: FloatArray
    """(n,): −1 behind the surface, else 1."""


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
    Of these the lowest in ``number`` (m,) that has an area is chosen. The side is that of
    the place's pseudonormal: the sum of the faces' normals, each weighted by the angle that the
    face spans around the place (Bærentzen & Aanæs 2005). Faces without area have no part in it.

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
    first = np.flatnonzero(np.diff(point, prepend=-1))
    which = np.repeat(np.arange(len(first)), np.diff(first, append=len(point)))
    row, here = np.arange(len(point)), points.take(point, axis=1)
    feet = frames.feet(here, face)
    foot = frames.to_space(face, feet.x, feet.y)

    least = np.minimum.reduceat(feet.squared, first)
    is_least = feet.squared == least.take(which)
    nearest = np.minimum.reduceat(np.where(is_least, row, len(row)), first)
    gap = np.abs(foot - foot.take(nearest.take(which), axis=1)).max(axis=0)
    same = gap <= tolerance_mm
    rank = np.where(same, row + len(row) * frames.without_area(face), 2 * len(row))
    best = np.minimum.reduceat(rank, first) % len(row)

    target = point.take(best)
    settled.feet.put(target, feet.taken(best))
    settled.foot[:, target] = foot.take(best, axis=1)
    inside = feet.side.take(best).take(which) == 0
    weight = np.where(inside, row == best.take(which), same * frames.angles(feet))
    weight[frames.without_area(face)] = 0.0
    dot = np.zeros(len(first))
    for k in range(3):
        normal = np.add.reduceat(weight * frames.z_axis[k].take(face), first)
        dot += (here[k].take(best) - foot[k].take(best)) * normal
    settled.side[target] = np.where(dot < 0.0, -1.0, 1.0)


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
