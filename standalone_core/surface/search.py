"""Which faces can hold the closest points of many points: all of them, part by part in threads."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np

from ..arrays import FloatArray, IntArray
from .candidates import find_candidates
from .exact import FaceFrames, Feet
from .grouping import Block, blocks_of, order_in_box
from .nearby import ROUNDS, Nearby, NearPieces
from .pieces import Pieces
from .rivals import Rivals

_SPARSE = 5.0
"""With fewer points than this many per piece, each point is searched for by itself first."""
_LISTED = 26_000 * 32
"""Most pieces listed at once, those of all points counted."""

T = TypeVar("T")


class Found(NamedTuple):
    """What a search says of some of the points.

    Attributes
    ----------
    rows : (k,) int
        Which points.
    points : (k, 3) float
    guess : Feet
        A face that is as close to each point as any.
    rivals : Rivals
        All others that are farther by no more than the slack.
    """

    rows: IntArray
    points: FloatArray
    guess: Feet
    rivals: Rivals

    @classmethod
    def of_sure(cls, rows: IntArray, points: FloatArray, near: Nearby) -> Found:
        """Leave out the points that are found again, by a later part."""
        guess, rivals, sure = near
        if sure.all():
            return cls(rows, points, guess, rivals)
        place = np.cumsum(sure) - 1
        kept = np.flatnonzero(sure.take(rivals.point))
        some = Rivals(place.take(rivals.point.take(kept)), rivals.face.take(kept))
        return cls(rows[sure], points[sure], guess.taken(np.flatnonzero(sure)), some)


@dataclass(frozen=True, eq=False)
class Search:
    """How points are searched for.

    Attributes
    ----------
    pieces : Pieces
    frames : FaceFrames
    box : tuple of two (3,) float
        Corners of the space that counts as near the surface, mm.
    limit_mm : float
        Rivals are complete only for points nearer than this.
    slack_mm : float
        Faces that are farther than the guess by no more than this are listed too.
    """

    pieces: Pieces
    frames: FaceFrames
    box: tuple[FloatArray, FloatArray]
    limit_mm: float
    slack_mm: float

    def run(self, points: FloatArray, threads: int, use: Callable[[Found], T]) -> list[T]:
        """Search for points (n, 3), hand each part to ``use``; what that returned, in order.

        Every point is in just one of the parts.
        """
        used: list[T] = []
        if not len(points):
            return used
        rest = order_in_box(points, *self.box)
        with ThreadPoolExecutor(threads) as pool:
            for most in ROUNDS if self._sparse(points) else ():

                def nearby(rows: IntArray, most: int = most) -> tuple[list[T], IntArray]:
                    found, unsure = self._nearby(points, rows, most)
                    return [use(part) for part in found], unsure

                parts = list(pool.map(nearby, _parts(rest, most)))
                used += [one for found, _ in parts for one in found]
                rest = np.concatenate([rest[:0], *(unsure for _, unsure in parts)])
            if len(rest):
                _ = self.pieces.clusters.reach  # once, before threads ask for it
                blocks = blocks_of(points[rest], *self.box, self.pieces.widest_group)
                used += pool.map(lambda block: use(self._dense(points, rest, block)), blocks)
        return used

    def _sparse(self, points: FloatArray) -> bool:
        return len(points) < _SPARSE * len(self.pieces.face)

    def _nearby(
        self, points: FloatArray, rows: IntArray, most: int
    ) -> tuple[list[Found], IntArray]:
        """Look at each point's nearest pieces, if that promises much; and which stay unsure."""
        here = points.take(rows, axis=0)
        pieces = NearPieces(self.pieces, self.frames, self.limit_mm, self.slack_mm)
        reach = pieces.reach(here, most)
        if reach is None:
            return [], rows
        near = pieces.find(here, reach)
        return [Found.of_sure(rows, here, near)], rows[~near.sure]

    def _dense(self, points: FloatArray, rest: IntArray, block: Block) -> Found:
        """Look at the pieces near a block of the points left."""
        rows = rest.take(block.points)
        here = points.take(rows, axis=0)
        guess, rivals = find_candidates(
            here, block, self.pieces, self.frames, self.limit_mm, self.slack_mm
        )
        return Found(rows, here, guess, rivals)


def _parts(order: IntArray, most: int) -> list[IntArray]:
    size = _LISTED // most
    return [order[start : start + size] for start in range(0, len(order), size)]
