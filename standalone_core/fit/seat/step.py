"""One step of a crown towards its seat: a quadratic programme in its six motions.

With gaps g, directions u and moments about the loaded place r × u, find the shift t and turn ω
(times a length, so that all six, d, are mm) that minimise

    −e·t + ½ d·B d + P s    subject to   g + u·t + ω·(r × u) ≥ −s,   |d_k| ≤ D,   s ≥ 0,

e the load's direction, B how the contacts' forces turn as the crown moves, and s the deepest
overlap, which costs P. Its multipliers λ are the forces of the contacts: at rest Σ λ u = −e and
Σ λ r × u = 0 about the loaded place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog, nnls

from ...arrays import FloatArray
from .pair import Gaps

REACH = 2.0 * 3.0**0.5
"""No point within the length L of the loaded place moves farther than this times D."""

OVERLAP_COST = 1000.0
"""Price of overlap by that of height: more than the forces' sum, 1 / sin of the least taper."""

IDLE_COST = 1e-4
"""Times ½ |d|² / D, price of any motion: what the load does not determine stays as it is."""

_NO_FORCE = 1e-9
_TOUCH_MM = 1e-7
"""Gaps that differ by less than this are alike: of those the least forces."""


@dataclass(frozen=True, eq=False)
class Step:
    """A step that the quadratic programme proposes.

    Attributes
    ----------
    motion : (6,) float
        Shift, mm, and turn about the loaded place, mm at the length L from it.
    gain_mm : float
        How far the loaded place goes down by it, less what the turning forces cost.
    overlap_mm : float
        The deepest overlap after it, as far as gaps are linear.
    contacts : Gaps
        Those that carry force.
    force : (c,) float
        Of the contacts, for a load of 1.
    """

    motion: FloatArray
    gain_mm: float
    overlap_mm: float
    contacts: Gaps
    force: FloatArray

    @property
    def size_mm(self) -> float:
        """Its largest part."""
        return float(np.abs(self.motion).max())


def best_step(
    gaps: Gaps,
    centre: FloatArray,
    load: FloatArray,
    *,
    arm_mm: float,
    radius_mm: float,
    bend: FloatArray | None = None,
) -> Step | None:
    """Return the best step within a radius, or None if the solver finds none.

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
    bend : (6, 6) float, optional
        B, 1/mm; its negative part, which would have no least, is left out. 0 by default.
    """
    bend = np.zeros((6, 6)) if bend is None else _upward(bend)
    # In units of D; the last of seven is s.
    count = len(gaps.gap_mm)
    rows = np.zeros((count + 13, 7))
    rows[:count, :6] = pushes(gaps, centre, arm_mm)
    rows[:count, 6] = 1.0
    rows[count : count + 6, :6], rows[count + 6 : count + 12, :6] = np.eye(6), -np.eye(6)
    rows[-1, 6] = 1.0
    least = np.concatenate([-gaps.gap_mm / radius_mm, np.full(12, -1.0), [0.0]])
    cost = np.concatenate([-load, np.zeros(3), [OVERLAP_COST]])
    square = np.zeros((7, 7))
    square[:6, :6] = radius_mm * bend + IDLE_COST * np.eye(6)
    square[6, 6] = OVERLAP_COST
    found = _least(square, cost, rows, least)
    if found is None:
        return None
    motion, overlap = radius_mm * found[0][:6], radius_mm * float(found[0][6])
    force = found[1][:count]
    gain = float(load @ motion[:3]) - 0.5 * float(motion @ bend @ motion)
    carries = force > _NO_FORCE
    return Step(motion, gain, overlap, gaps.taken(carries), force[carries])


def forces_at_rest(
    gaps: Gaps, centre: FloatArray, load: FloatArray, *, arm_mm: float, slack_mm: float
) -> FloatArray:
    """Forces of the gaps, (k,), that hold a load with the least work to close them.

    Of all that do, a corner of the polyhedron: at most six carry. The dual of a step's programme,
    so what they cannot hold is done without at a price of ``slack_mm`` per unit.
    """
    push = pushes(gaps, centre, arm_mm).T
    count = len(gaps.gap_mm)
    matrix = np.concatenate([push, np.eye(6), -np.eye(6)], axis=1)
    work = np.maximum(gaps.gap_mm / _TOUCH_MM, 0.0) + 1.0
    cost = np.concatenate([work, np.full(12, slack_mm / _TOUCH_MM)])
    aim = np.concatenate([-load, np.zeros(3)])
    found = linprog(cost, A_eq=matrix, b_eq=aim, method="highs-ds")
    return found.x[:count] if found.status == 0 else np.zeros(count)


def pushes(gaps: Gaps, centre: FloatArray, arm_mm: float) -> FloatArray:
    """Direction, and moment about a place by a length, of every gap, (k, 6)."""
    turning = (gaps.moment - np.cross(centre, gaps.direction)) / arm_mm
    return np.concatenate([gaps.direction, turning], axis=1)


def _upward(bend: FloatArray) -> FloatArray:
    """A symmetric matrix without its negative eigenvalues."""
    values, vectors = np.linalg.eigh(bend)
    upward: FloatArray = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return upward


def _least(
    square: FloatArray, cost: FloatArray, rows: FloatArray, least: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Minimise ½ x·S x + c·x subject to A x ≥ b; return x and the multipliers.

    With S = Rᵀ R and z = R x + R⁻ᵀ c that is the shortest z of a polyhedron, found from least
    squares without negative numbers (Lawson & Hanson, Solving Least Squares Problems, 1974,
    chapter 23).
    """
    back = np.linalg.inv(np.linalg.cholesky(square).T)
    free = -back @ (back.T @ cost)
    sides = rows @ back
    matrix = np.vstack([sides.T, least - rows @ free])
    aim = np.zeros(len(matrix))
    aim[-1] = 1.0
    try:
        weights, _ = nnls(matrix, aim)
    except RuntimeError:  # too many turns
        return None
    # Solved again with what holds as equations: that leaves touching what touches exactly.
    holds = np.flatnonzero(weights > 0.0)
    count = len(cost)
    both = np.zeros((count + len(holds), count + len(holds)))
    both[:count, :count] = square
    both[:count, count:], both[count:, :count] = -rows[holds].T, rows[holds]
    solved = np.linalg.lstsq(both, np.concatenate([-cost, least[holds]]), rcond=None)[0]
    force = np.zeros(len(rows))
    force[holds] = solved[count:]
    return solved[:count], force
