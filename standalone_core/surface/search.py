"""Which faces can hold the closest points of many points: all of them, part by part in threads."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from .candidates import Rivals, find_candidates
from .exact import FaceFrames, Feet
from .grouping import Block, blocks_of, order_in_box
from .nearby import FIRST, SECOND, find_nearby
from .pieces import Pieces

_SPARSE = 1.0
"""With fewer points than this many per piece, each point is searched for by itself first."""
_PART = 26_000

T = TypeVar("T")


class Found(NamedTuple):
    """What a search says of some of the points.

    Attributes
    ----------
    rows : (k,) int
        Which points.
    points : (k, 3) float
    guess : Feet
        A face near each point, perhaps the closest.
    rivals : Rivals
        All others that may be as close as the guess, or farther by the slack.
    sure : (k,) bool
        Whether that is so; the other points are found again, by a later part.
    """

    rows: IntArray
    points: FloatArray
    guess: Feet
    rivals: Rivals
    sure: BoolArray


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

        Every point is sure in just one part.
        """
        used: list[T] = []
        if not len(points):
            return used
        rest: IntArray = np.arange(len(points))
        with ThreadPoolExecutor(threads) as pool:
            if len(points) < _SPARSE * len(self.pieces.proper):
                rest = order_in_box(points, *self.box)
                for neighbours in (FIRST, SECOND):

                    def nearby(rows: IntArray, count: int = neighbours) -> tuple[T, IntArray]:
                        found = self._nearby(points, rows, count)
                        return use(found), rows[~found.sure]

                    parts = list(pool.map(nearby, _parts(rest)))
                    used += [part for part, _ in parts]
                    rest = np.concatenate([rest[:0], *(unsure for _, unsure in parts)])
            if len(rest):
                _ = self.pieces.cluster_radius  # once, before threads ask for it
                blocks = blocks_of(points[rest], *self.box, self.pieces.widest_group)
                used += pool.map(lambda block: use(self._dense(points, rest, block)), blocks)
        return used

    def _nearby(self, points: FloatArray, rows: IntArray, neighbours: int) -> Found:
        """Look at each point's nearest pieces."""
        here = points.take(rows, axis=0)
        near = find_nearby(here, self.pieces, self.frames, neighbours, self.limit_mm, self.slack_mm)
        return Found(rows, here, near.guess, near.rivals, near.sure)

    def _dense(self, points: FloatArray, rest: IntArray, block: Block) -> Found:
        """Look at the pieces near a block of the points left."""
        rows = rest.take(block.points)
        here = points.take(rows, axis=0)
        guess, rivals = find_candidates(
            here, block, self.pieces, self.frames, self.limit_mm, self.slack_mm
        )
        return Found(rows, here, guess, rivals, np.ones(len(rows), dtype=bool))


def _parts(order: IntArray) -> list[IntArray]:
    return [order[start : start + _PART] for start in range(0, len(order), _PART)]
