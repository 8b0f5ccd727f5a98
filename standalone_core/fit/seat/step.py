"""One step of a crown towards its seat: a linear programme in its six motions.

With gaps g, directions u and moments about the loaded place r × u, find the shift t and turn ω
(times a length, so that all six are mm) that minimise

    −e·t + P s    subject to   g + u·t + ω·(r × u) ≥ −s,   |t_k| ≤ D,   |ω_k| L ≤ D,   s ≥ 0,

e the load's direction and s the deepest overlap, which costs P. Its multipliers λ are the forces
of the contacts: at rest Σ λ u = −e and Σ λ r × u = 0 about the loaded place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from ...arrays import FloatArray, IntArray
from .pair import Gaps

REACH = 2.0 * 3.0**0.5
"""No point within the length L of the loaded place moves farther than this times D."""

OVERLAP_COST = 1000.0
"""Price of overlap by that of height: more than the forces' sum, 1 / sin of the least taper."""

IDLE_COST = 1e-5
"""Price of any motion: what the load does not determine stays as it is."""

_LACKS_MM = 1e-9
_CELL_MM = 1.0
_ROUNDS = 30
_AT_ONCE = 100


@dataclass(frozen=True, eq=False)
class Step:
    """A step that the linear programme proposes.

    Attributes
    ----------
    shift : (3,) float
        mm.
    turn : (3,) float
        Radians, about the loaded place.
    overlap_mm : float
        The deepest overlap after it, as far as gaps are linear.
    force : (k,) float
        Of each gap, for a load of 1.
    size_mm : float
        Its largest part.
    """

    shift: FloatArray
    turn: FloatArray
    overlap_mm: float
    force: FloatArray
    size_mm: float


def best_step(
    gaps: Gaps,
    centre: FloatArray,
    load: FloatArray,
    *,
    arm_mm: float,
    radius_mm: float,
    idle_cost: float = IDLE_COST,
) -> Step | None:
    """Return the best step within a radius, or None if the solver finds none.

    Rows come in as they are broken: at first the lowest gap of every cell and direction.

    Parameters
    ----------
    gaps : Gaps
        All that are smaller than ``REACH`` times the radius.
    centre : (3,) float
        The loaded place, in the die's frame.
    load : (3,) float
        Unit direction of the load.
    arm_mm : float
        L, from the loaded place to the farthest point.
    radius_mm : float
        D.
    idle_cost : float
        Cost of any motion per mm.
    """
    turning = (gaps.moment - np.cross(centre, gaps.direction)) / arm_mm
    rows = np.concatenate([-gaps.direction, -turning], axis=1)
    rows = np.concatenate([rows, -rows, -np.ones((len(rows), 1))], axis=1)
    push = np.concatenate([-load, np.zeros(3)])
    cost = np.concatenate([push + idle_cost, -push + idle_cost, [OVERLAP_COST]])
    bounds = [(0.0, radius_mm)] * 12 + [(0.0, None)]
    active = _spread(gaps)
    for _ in range(_ROUNDS):
        found = linprog(
            cost, A_ub=rows[active], b_ub=gaps.gap_mm[active], bounds=bounds, method="highs-ds"
        )
        if found.status != 0:
            return None
        short = rows @ found.x - gaps.gap_mm
        broken = np.flatnonzero(short > _LACKS_MM)
        broken = np.setdiff1d(broken[np.argsort(-short[broken])[:_AT_ONCE]], active)
        if not len(broken):
            break
        active = np.union1d(active, broken)
    motion = found.x[:6] - found.x[6:12]
    force = np.zeros(len(gaps.gap_mm))
    force[active] = -found.ineqlin.marginals
    size = float(np.abs(motion).max())
    return Step(motion[:3], motion[3:] / arm_mm, float(found.x[12]), force, size)


def _spread(gaps: Gaps) -> IntArray:
    """The lowest gap of every cell and direction, and the lowest of all; ascending."""
    order = np.argsort(gaps.gap_mm, kind="stable")
    key = np.round(np.concatenate([gaps.place_mm / _CELL_MM, 2.0 * gaps.direction], axis=1))
    _, first = np.unique(key[order], axis=0, return_index=True)
    return np.union1d(order[first], order[:_AT_ONCE])
