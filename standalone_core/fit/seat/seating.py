"""From a rough pose down to rest.

A few rows, about 0.7 mm apart, bring the crown near to its seat. Then every row is asked, those
that overlap join, and so on until none does: nearly all points are measured only once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import FloatArray, IntArray
from ...progress import Progress, Steps
from .descent import Descent
from .load import Load, axial_load
from .motion import placed
from .pair import Gaps, Pair
from .step import REACH, forces_at_rest

FIRST_RADIUS_MM = 0.2
DONE_MM = 2e-6
"""A step of less than this is none."""

_TOUCH = 0.05
"""Overlap that may be left, as a share of that."""

_NO_FORCE = 1e-9
_JOIN_CELL_MM = 0.3
MOST_ROUNDS = 20


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


def rest_steps(
    pair: Pair,
    start: FloatArray,
    load: Load | None = None,
    *,
    working: IntArray | None = None,
    radius_mm: float = FIRST_RADIUS_MM,
    rounds: int = MOST_ROUNDS,
    done_mm: float = DONE_MM,
    likely: bool = False,
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
    rounds : int
        How often all rows are asked.
    done_mm : float
        A step of less than this is none.
    likely : bool
        Leave out rows that overlap only if a smooth surface turns unusually fast.
    """
    load = axial_load(pair) if load is None else load
    rows = pair.thinned(pair.coarse_mm) if working is None else working
    way = Descent(pair, load, start, rows, radius_mm, done_mm)
    for turn in range(rounds):  # noqa: B007 - the last one is asked for below
        for _ in way.go_on():
            yield Progress("Seating the crown", 1.0 - 0.96**way.steps)
        lacking = pair.gaps(way.pose, -_TOUCH * done_mm, likely=likely)
        lacking = lacking.taken(~np.isin(lacking.row, way.rows))
        if not len(lacking.row):
            break
        way.rows = np.union1d(way.rows, _lowest_by_cell(lacking))
        way.radius_mm = min(max(4.0 * lacking.deepest_mm, 10.0 * done_mm), radius_mm)
    return _rest(way, converged=way.done and turn < rounds - 1, likely=likely)


def _lowest_by_cell(gaps: Gaps) -> IntArray:
    """Rows of the deepest overlap in every cell of space, ascending."""
    order = np.argsort(gaps.gap_mm, kind="stable")
    cells = np.floor(gaps.place_mm[order] / _JOIN_CELL_MM)
    _, first = np.unique(cells, axis=0, return_index=True)
    return np.sort(gaps.row[order[first]])


def _rest(way: Descent, *, converged: bool, likely: bool) -> Rest:
    """Find the forces at the last pose."""
    pair, radius = way.pair, max(way.radius_mm, 100.0 * DONE_MM)
    gaps = pair.gaps(way.pose, REACH * radius, way.rows)
    force = forces_at_rest(
        gaps,
        placed(way.pose, way.load.place_mm),
        way.load.direction,
        arm_mm=pair.arm_mm,
        slack_mm=radius,
    )
    carries = force > _NO_FORCE
    return Rest(
        pose=way.pose,
        load=way.load,
        working=way.rows,
        contacts=gaps.taken(carries),
        force=force[carries],
        deepest_mm=pair.gaps(way.pose, 0.0, likely=likely).deepest_mm,
        steps=way.steps,
        converged=converged,
    )
