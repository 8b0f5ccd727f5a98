"""Points searched for once that may then move a little, at a tenth of a search's cost.

While no point has moved by more than δ, its closest face is among those that were no farther than
2δ beyond the closest one: dist(p′, f′) ≤ dist(p′, f) gives dist(p, f′) ≤ dist(p, f) + 2δ. So these
are listed once, and later passes only compare them, exactly.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray, IntArray
from ..mesh.morton import curve_order
from ..progress import Progress, Steps
from .closest import ClosestPoints, SurfaceIndex
from .rivals import Rivals
from .search import Found

SLACK_MM = 0.001
"""Points closer to each other than this mostly share their face, so that few faces are listed."""
_POINTS_PER_STEP = 50_000
"""About 100 ms of work."""


class _Listed(NamedTuple):
    """Some of the points, and the faces that can be their closest."""

    rows: IntArray
    guess: IntArray
    rivals: Rivals


class _Part:
    """Points side by side that are searched for together, and where they were then."""

    def __init__(self, rows: IntArray) -> None:
        self.rows = rows
        self.listed: list[_Listed] = []
        self._place: FloatArray | None = None

    def holds(self, points: FloatArray, slack_mm: float) -> bool:
        """Whether none of all points (n, 3) that are in this part has moved by more."""
        if self._place is None:
            return False
        away = points.take(self.rows, axis=0) - self._place
        return bool(np.einsum("ij,ij->i", away, away).max(initial=0.0) <= slack_mm**2)

    def search(self, points: FloatArray, index: SurfaceIndex, limit: float, slack: float) -> None:
        """List what can be closest to the points while none moves by more than ``slack``."""
        self._place = points.take(self.rows, axis=0)
        reach = 2.0 * slack + index.tolerance_mm
        search = index.search(limit, reach)

        def keep(found: Found) -> _Listed:
            return _Listed(self.rows[found.rows], found.guess.faces, found.rivals)

        self.listed = search.run(self._place, index.threads, keep)


class HeldPoints:
    """Closest points of a surface to points that are asked for again and again.

    Points are searched for when they are asked for first, and again where one of those side by
    side has moved by more than the slack since.

    Parameters
    ----------
    index : SurfaceIndex
    max_distance_mm : float
        Points farther than this from the surface get no foot.
    slack_mm : float
        A small one, so that few faces can be a point's closest.

    Attributes
    ----------
    searched : int
        How many points were searched for so far, those of every search counted.
    """

    def __init__(
        self, index: SurfaceIndex, max_distance_mm: float, slack_mm: float = SLACK_MM
    ) -> None:
        self.index, self.max_distance_mm, self.slack_mm = index, max_distance_mm, slack_mm
        self.searched = 0
        self._parts: list[_Part] = []

    @property
    def count(self) -> int:
        """Count of points; none before they were asked for."""
        return sum(len(part.rows) for part in self._parts)

    def closest_steps(
        self, points: FloatArray, *, signed: bool = False, label: str = "Measuring"
    ) -> Steps[ClosestPoints]:
        """Find what :meth:`.closest.SurfaceIndex.closest` finds, to the last bit, step by step.

        Parameters
        ----------
        points : (n, 3) float
            The same points every time, wherever they are now.
        signed : bool
        label : str
            Of the steps.
        """
        if not self._parts:
            order = curve_order(points)
            starts = range(0, len(order), _POINTS_PER_STEP)
            self._parts = [_Part(order[start : start + _POINTS_PER_STEP]) for start in starts]
        found = ClosestPoints.unsettled(len(points), self.index, signed)
        for number, part in enumerate(self._parts):
            yield Progress(label, number / len(self._parts))
            if not part.holds(points, self.slack_mm):
                part.search(points, self.index, self.max_distance_mm, self.slack_mm)
                self.searched += len(part.rows)
            self._compare(points, part, found)
        return found

    def _compare(self, points: FloatArray, part: _Part, found: ClosestPoints) -> None:
        with ThreadPoolExecutor(self.index.threads) as pool:
            list(pool.map(partial(self._settle, points, found), part.listed))

    def _settle(self, points: FloatArray, found: ClosestPoints, listed: _Listed) -> None:
        here = points.take(listed.rows, axis=0)
        self.index.settle(
            here, listed.rows, listed.guess, listed.rivals, self.max_distance_mm, found
        )
