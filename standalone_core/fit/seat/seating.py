"""From a rough pose down to rest: steps of linear programming, judged by exact gaps.

A few rows, about 0.7 mm apart, bring the crown near to its seat. Then every row is asked, those
that overlap join, and so on until none does: nearly all points are measured only once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ...arrays import FloatArray, IntArray
from ...progress import Progress, Steps
from .motion import moved_on, placed
from .pair import Gaps, Pair
from .step import REACH, Step, best_step

FIRST_RADIUS_MM = 0.2
MOST_RADIUS_MM = 0.25
DONE_MM = 2e-6
"""A step of less than this is none."""

TOUCH_MM = 1e-7
"""Overlap that rounding may leave."""

_LEAST_PRICE, _MOST_PRICE = 5.0, 400.0
"""Of overlap by that of height, in judging a step."""

_SPACING_MM = 0.7
_JOIN_CELL_MM = 0.3
_MOST_STEPS = 120
_MOST_ROUNDS = 20


@dataclass(frozen=True, eq=False)
class Load:
    """A force on the crown.

    Attributes
    ----------
    place_mm : (3,) float
        Where it acts, in the crown's frame.
    direction : (3,) float
        Unit vector, in the die's frame.
    """

    place_mm: FloatArray
    direction: FloatArray


@dataclass(frozen=True, eq=False)
class Rest:
    """Where a load brings a crown.

    Attributes
    ----------
    pose : (4, 4) float
    load : Load
    working : (k,) int
        The rows of the pair that it was found with.
    contacts : Gaps
        Those that carry force, at the pose.
    force : (c,) float
        Of the contacts, for a load of 1.
    deepest_mm : float
        Deepest overlap of any row.
    steps : int
    converged : bool
    """

    pose: FloatArray
    load: Load
    working: IntArray
    contacts: Gaps
    force: FloatArray
    deepest_mm: float
    steps: int
    converged: bool


@dataclass(eq=False)
class _State:
    """A pose on the way, with the gaps of the working rows around it."""

    pose: FloatArray
    gaps: Gaps
    height_mm: float
    radius_mm: float
    steps: int = 0
    done: bool = False


def axial_load(pair: Pair) -> Load:
    """A load through the middle of the intaglio's area down the die's path of insertion.

    A finger on the crown, or a bite, presses about there. The place decides which contacts
    carry: one at the margin's middle would, on a roof alone, tilt the crown the same way.
    """
    return Load(pair.centre_mm, -pair.die.axis)


def rest_steps(
    pair: Pair,
    start: FloatArray,
    load: Load | None = None,
    *,
    working: IntArray | None = None,
    radius_mm: float = FIRST_RADIUS_MM,
) -> Steps[Rest]:
    """Bring a crown to rest from a pose.

    Parameters
    ----------
    pair : Pair
    start : (4, 4) float
        Overlaps are all right: they are undone first.
    load : Load, optional
        :func:`axial_load` by default.
    working : (k,) int, optional
        Rows to begin with; about one per 0.7 mm by default.
    radius_mm : float
        Of the first step.
    """
    load = axial_load(pair) if load is None else load
    rows = pair.thinned(_SPACING_MM) if working is None else working
    state = _state(pair, start, load, rows, radius_mm)
    for turn in range(_MOST_ROUNDS):  # noqa: B007 - the last one is asked for below
        for _ in _descend(pair, state, load, rows):
            yield Progress("Seating the crown", 1.0 - 0.96**state.steps)
        lacking = pair.gaps(state.pose, -TOUCH_MM)
        lacking = lacking.taken(~np.isin(lacking.row, rows))
        if not len(lacking.row):
            break
        rows = np.union1d(rows, _lowest_by_cell(lacking))
        radius = max(4.0 * lacking.deepest_mm, 10.0 * DONE_MM)
        state = _state(pair, state.pose, load, rows, min(radius, radius_mm), state.steps)
    return _rest(pair, state, load, rows, state.done and turn < _MOST_ROUNDS - 1)


def _state(
    pair: Pair, pose: FloatArray, load: Load, rows: IntArray, radius_mm: float, steps: int = 0
) -> _State:
    gaps = pair.gaps(pose, REACH * radius_mm, rows)
    return _State(pose, gaps, _height(pose, load), radius_mm, steps)


def _height(pose: FloatArray, load: Load) -> float:
    """How far the loaded place lies against the load."""
    return -float(load.direction @ placed(pose, load.place_mm))


def _descend(pair: Pair, state: _State, load: Load, rows: IntArray) -> Iterator[None]:
    """Step down on the working rows until no step is worth taking."""
    for _ in range(_MOST_STEPS):
        centre = placed(state.pose, load.place_mm)
        step = best_step(
            state.gaps, centre, load.direction, arm_mm=pair.arm_mm, radius_mm=state.radius_mm
        )
        yield
        if step is None:
            state.radius_mm *= 0.5
            continue
        _try(pair, state, load, rows, step, centre)
        state.done |= state.radius_mm < DONE_MM
        if state.done:
            return


def _try(
    pair: Pair, state: _State, load: Load, rows: IntArray, step: Step, centre: FloatArray
) -> None:
    """Take a step if the exact gaps bear it out, and set the radius of the next."""
    overlap = state.gaps.deepest_mm
    # Twice what keeps a crown from sinking in: more would forbid long steps along curved walls.
    price = float(np.clip(2.0 * step.force.sum(), _LEAST_PRICE, _MOST_PRICE))
    gain = float(load.direction @ step.shift) + price * (overlap - step.overlap_mm)
    if step.size_mm < DONE_MM or gain < 0.05 * DONE_MM:
        state.done = True
        return
    pose = moved_on(state.pose, step.shift, step.turn, centre)
    radius = state.radius_mm
    gaps = pair.gaps(pose, 2.0 * REACH * radius, rows)
    height = _height(pose, load)
    gained = state.height_mm - height + price * (overlap - gaps.deepest_mm)
    state.steps += 1
    if gained <= 0.05 * gain:
        radius = 0.35 * min(radius, step.size_mm)
    elif step.size_mm > 0.9 * radius:
        radius = min(2.0 * radius, MOST_RADIUS_MM)
    state.radius_mm = radius
    if gained > 0:
        state.pose, state.gaps, state.height_mm = pose, gaps, height


def _lowest_by_cell(gaps: Gaps) -> IntArray:
    """Rows of the deepest overlap in every cell of space, ascending."""
    order = np.argsort(gaps.gap_mm, kind="stable")
    cells = np.floor(gaps.place_mm[order] / _JOIN_CELL_MM)
    _, first = np.unique(cells, axis=0, return_index=True)
    return np.sort(gaps.row[order[first]])


def _rest(pair: Pair, state: _State, load: Load, rows: IntArray, converged: bool) -> Rest:
    """Find the forces at the last pose."""
    radius = max(state.radius_mm, 100.0 * DONE_MM)
    gaps = pair.gaps(state.pose, REACH * radius, rows)
    step = best_step(
        gaps,
        placed(state.pose, load.place_mm),
        load.direction,
        arm_mm=pair.arm_mm,
        radius_mm=radius,
        idle_cost=0.0,
    )
    force = np.zeros(len(gaps.row)) if step is None else step.force
    carries = force > 1e-9
    deepest = pair.gaps(state.pose, 0.0).deepest_mm
    return Rest(
        pose=state.pose,
        load=load,
        working=rows,
        contacts=gaps.taken(carries),
        force=force[carries],
        deepest_mm=deepest,
        steps=state.steps,
        converged=converged,
    )
