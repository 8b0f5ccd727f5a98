"""Down from a pose on some rows of a pair: steps of quadratic programming, judged by exact gaps.

The programme knows the gaps at the pose to first order, and how the contacts' forces turn as the
crown moves from the steps before: with fewer than six contacts it would else only creep down.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from ...arrays import FloatArray, IntArray
from .load import Load
from .motion import moved_on, placed
from .pair import Gaps, Pair
from .step import REACH, Step, best_step, pushes

MOST_RADIUS_MM = 0.25
_LEAST_PRICE, _MOST_PRICE = 5.0, 400.0
"""Of overlap by that of height, in judging a step."""

_POOR = 0.25
"""Steps that gain less than this share of what they promise are too long."""
_MEETS = 0.5
"""A contact is met again after a step if its gap is less than this share of it."""
_LEAST_ALONG = 1e-6
_MOST_BEND = 10.0
"""Forces that turn faster than this, 1/mm, turn over an edge: nothing is learnt from that."""
_MOST_STEPS = 120


@dataclass(eq=False)
class Descent:
    """A crown on its way down.

    Attributes
    ----------
    pair : Pair
    load : Load
    pose : (4, 4) float
    rows : (k,) int
        Of the pair, that hold the crown up.
    radius_mm : float
        Of the next step.
    done_mm : float
        A step of less than this is none.
    bend : (6, 6) float
        How the contacts' forces turn with the crown's motions, as far as known; see ``step``.
    steps : int
    done : bool
        Whether no step was worth taking.
    """

    pair: Pair
    load: Load
    pose: FloatArray
    rows: IntArray
    radius_mm: float
    done_mm: float
    bend: FloatArray = field(default_factory=lambda: np.zeros((6, 6)))
    steps: int = 0
    done: bool = False
    _straight: bool = False
    """Whether a step as on flat surfaces was tried at this pose: what was learnt may be wrong."""

    def go_on(self) -> Iterator[None]:
        """Step down until no step is worth taking."""
        self.done = self._straight = False
        overlap = self.pair.gaps(self.pose, 0.0, self.rows).deepest_mm
        for _ in range(_MOST_STEPS):
            step = self._best(self.pose)
            yield
            if step is None:
                self.radius_mm *= 0.5
                continue
            overlap = self._take(step, overlap)
            self.done |= self.radius_mm < self.done_mm
            if self.done:
                return

    def _centre(self, pose: FloatArray) -> FloatArray:
        """The loaded place at a pose."""
        return placed(pose, self.load.place_mm)

    def _best(self, pose: FloatArray) -> Step | None:
        return best_step(
            self.pair.gaps(pose, REACH * self.radius_mm, self.rows),
            self._centre(pose),
            self.load.direction,
            arm_mm=self.pair.arm_mm,
            radius_mm=self.radius_mm,
            bend=self.bend,
        )

    def _take(self, step: Step, overlap_mm: float) -> float:
        """Take a step if the exact gaps bear it out, set the next radius; return the overlap."""
        # Twice what keeps a crown from sinking in: more would forbid long steps on curved walls.
        price = float(np.clip(2.0 * step.force.sum(), _LEAST_PRICE, _MOST_PRICE))
        promised = step.gain_mm + price * (overlap_mm - step.overlap_mm)
        if step.size_mm < self.done_mm or promised < 0.05 * self.done_mm:
            self.done = self._straight or not self.bend.any()
            self._straight, self.bend = True, np.zeros((6, 6))
            return overlap_mm
        pose, then, gained, deepest = self.pose, step, 0.0, overlap_mm
        # Where surfaces bend, a long step ends in overlap that the next undoes: judged together.
        for _ in range(2):
            pose, gaps = self._after(pose, then)
            deepest = gaps.deepest_mm
            down = float(self.load.direction @ (self._centre(pose) - self._centre(self.pose)))
            gained = down + price * (overlap_mm - deepest)
            again = None if gained > _POOR * promised else self._best(pose)
            if again is None:
                break
            then = again
        self._set_radius(step.size_mm, good=gained > _POOR * promised)
        if gained <= 0.0:
            return overlap_mm
        self.pose, self._straight = pose, False
        return deepest

    def _after(self, pose: FloatArray, step: Step) -> tuple[FloatArray, Gaps]:
        """The pose after a step, and the gaps there up to the contacts'; learn from these."""
        arm = self.pair.arm_mm
        there = moved_on(pose, step.motion[:3], step.motion[3:] / arm, self._centre(pose))
        gaps = self.pair.gaps(there, _MEETS * step.size_mm, self.rows)
        self.steps += 1
        row = step.contacts.row
        if np.isin(row, gaps.row).all():
            met = gaps.taken(np.searchsorted(gaps.row, row))
            before = step.force @ pushes(step.contacts, self._centre(pose), arm)
            after = step.force @ pushes(met, self._centre(there), arm)
            self.bend = _learnt(self.bend, step.motion, before - after)
        return there, gaps

    def _set_radius(self, size_mm: float, *, good: bool) -> None:
        if not good:
            self.radius_mm = 0.35 * min(self.radius_mm, size_mm)
        elif size_mm > 0.9 * self.radius_mm:
            self.radius_mm = min(2.0 * self.radius_mm, MOST_RADIUS_MM)
        else:  # what lies farther away need not be measured
            self.radius_mm = min(self.radius_mm, 4.0 * size_mm)


def _learnt(bend: FloatArray, motion: FloatArray, change: FloatArray) -> FloatArray:
    """The bend that says of a motion by how much it changed the forces, else the nearest.

    The symmetric update of rank one (Nocedal & Wright, Numerical Optimization, 2006, eq. 6.24).
    """
    off, length = change - bend @ motion, float(np.linalg.norm(motion))
    along = float(off @ motion)
    if np.linalg.norm(change) > _MOST_BEND * length:
        return bend
    if abs(along) <= _LEAST_ALONG * float(np.linalg.norm(off)) * length:
        return bend
    learnt: FloatArray = bend + np.outer(off, off) / along
    return learnt if np.linalg.norm(learnt, 2) <= _MOST_BEND else bend
