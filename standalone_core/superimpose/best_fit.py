"""Best fit of a scan on its design: point-to-plane on exact feet, in stages, until it is exact."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from scipy.linalg import eigh

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.morton import curve_order
from ..progress import Progress, Steps, scaled
from ..surface.closest import ClosestPoints
from ..surface.held import HeldPoints
from .feet import (
    DesignFeet,
    NormalEquations,
    cut_mm,
    feet_at,
    loss_weights,
    normal_equations,
    sample_feet,
    weighted_quantile,
)
from .frame import MotionFrame
from .prepared import PreparedDesign
from .rigid import apply, box_corners, largest_displacement, motion, nearest_rotation
from .sampling import thinned
from .settings import SuperimposeSettings
from .too_few import LEAST_POINTS, too_few

_SAMPLE_POINTS = 2_000
_SAMPLE_TOLERANCE = 2e-5
"""Step, as a share of the design's diagonal, at which the stage on samples ends."""
_PART_POINTS, _PART_TOLERANCE_MM = 16_000, 2e-4
"""Points of the stage on part of them, and the step at which it ends."""
_STAGE_ITERATIONS = 40
_SLOWEST, _FASTEST = 0.9, 0.1
"""Bounds of the rate at which steps are taken to shrink."""
_WELL_WITHIN = 0.1
"""Passes, which cost little, end within this share of the tolerance: the first rates flatter."""
_CONVERGED = 5.0
"""A fit that used up its passes counts as converged within this many times the tolerance."""
_SECANT_FROM_MM = 0.05
"""Steps larger than this teach nothing about the curvature at the optimum; 0.1 already misleads.

A tenth of it would not do: where the true curvature is more than twice what Gauss–Newton
takes it for, its steps run back and forth without ever getting that small.
"""
_LEAST_BEND, _MOST_BEND = -0.7, 20.0
"""Bounds of the learnt curvature relative to the Gauss–Newton matrix, in every direction.

The upper one is wide because a foot on a corner or edge of the design stays there: it holds its
point in all directions, while Gauss–Newton counts one. On copies whose every foot is a corner,
that multiplies the stiffness against shifts by 3, and against turns of a nearly round crown, which
its faces hardly hold (1/25 of the stiffest direction), by far more.
"""
_WEAK_FOR_SURE, _LEAST_HOLD = 0.25, 0.001
"""A direction held by less than this share of ``weak_share``, and by less than this, is not moved
along: it is reported as weak wherever the fit ends, and on a sphere or cylinder it would have no
end. Crowns lie above 0.04."""


class FeetFinder(Protocol):
    """What finds the closest points of the same points again and again."""

    def closest_steps(self, points: FloatArray, *, label: str) -> Steps[ClosestPoints]:
        """Find them where the points (n, 3) are now."""


@dataclass(frozen=True)
class FitProblem:
    """Scan points to be fitted on a design.

    Attributes
    ----------
    points : (n, 3) ndarray
        In the scan's coordinates, mm.
    weights : (n,) ndarray
        Area that each stands for, mm².
    design : PreparedDesign
    settings : SuperimposeSettings
    use_faces : (m,) ndarray of bool, optional
        Faces of the design to fit on; a point whose foot is elsewhere takes no part.
    name : str
        What the scan is called.
    """

    points: FloatArray
    weights: FloatArray
    design: PreparedDesign
    settings: SuperimposeSettings
    use_faces: BoolArray | None = None
    name: str = "scan"

    @cached_property
    def corners(self) -> FloatArray:
        """Corners of the points' box, (8, 3): what moves most."""
        return box_corners(self.points)

    @cached_property
    def order(self) -> IntArray:
        """The points along a space-filling curve, (n,)."""
        return curve_order(self.points)

    def thinned(self, count: int) -> FitProblem:
        """The same with ``count`` points, each standing for the same area."""
        pick = thinned(self.weights, self.order, count)
        return replace(self, points=self.points[pick], weights=np.ones(count))

    def held(self) -> HeldPoints:
        """What finds the points' feet again and again."""
        return HeldPoints(self.design.index, self.settings.max_distance_mm)

    def feet_steps(self, finder: FeetFinder, pose: FloatArray) -> Steps[DesignFeet]:
        """Feet of the points in a pose."""
        moved = apply(pose, self.points)
        found = yield from finder.closest_steps(moved, label="Best fit")
        return feet_at(moved, found, self.settings.max_distance_mm, self.use_faces)


@dataclass(frozen=True)
class FitState:
    """Where a fit stands between two steps.

    Attributes
    ----------
    pose : (4, 4) ndarray
    iterations : int
        Steps so far.
    step_mm : float
        How far the last step moved the point that moved most; inf before a stage's first step.
    rate : float
        Ratio of the last two steps: the fit closes in by this factor.
    cut_mm : float
        Distance beyond which points did not count in the last step.
    curvature : (6, 6) ndarray
        What the Gauss–Newton matrix lacks, learnt from how the gradient changed over the steps.
    last : tuple of two (6,) ndarray, optional
        The last step and the gradient before it.
    """

    pose: FloatArray
    iterations: int = 0
    step_mm: float = np.inf
    rate: float = _SLOWEST
    cut_mm: float = np.inf
    curvature: FloatArray = field(default_factory=lambda: np.zeros((6, 6)))
    last: tuple[FloatArray, FloatArray] | None = None

    def after(
        self, equations: NormalEquations, corners: FloatArray, least_hold: float = 0.0
    ) -> FitState:
        """The state after one more step; see :meth:`.NormalEquations.step` for ``least_hold``."""
        curvature = _learnt(self, equations)
        small = equations.step(curvature, least_hold)
        pose = equations.frame.motion(small) @ self.pose
        pose = motion(nearest_rotation(pose[:3, :3]), pose[:3, 3])
        moved = largest_displacement(pose, self.pose, corners)
        rate = self.rate
        if 0.0 < self.step_mm < np.inf:
            rate = float(np.clip(moved / self.step_mm, _FASTEST, _SLOWEST))
        last = small, equations.gradient
        return FitState(pose, self.iterations + 1, moved, rate, self.cut_mm, curvature, last)

    def fresh(self) -> FitState:
        """The state at the start of a stage: steps on other points do not compare."""
        return replace(self, step_mm=np.inf, last=None)

    @property
    def remaining_mm(self) -> float:
        """Sum of the steps to come if each is ``rate`` times the one before."""
        return self.step_mm * self.rate / (1.0 - self.rate)


def _learnt(state: FitState, equations: NormalEquations) -> FloatArray:
    """Curvature after the symmetric rank-one secant correction.

    Gauss–Newton takes the design as flat around each foot. Where residuals are not small against
    the design's radii, as at a rim, that costs many steps; the change y of the gradient over the
    last step s gives the missing curvature: C += v vᵀ/(vᵀ s) with v = y − (H + C) s (Dennis, Gay &
    Welsch, ACM TOMS 7:348, 1981, and Nocedal & Wright, Numerical Optimization, 6.2; from memory).
    """
    if state.last is None or state.step_mm > _SECANT_FROM_MM or not equations.held:
        return state.curvature
    step, before = state.last
    lacking = equations.gradient - before - (equations.information + state.curvature) @ step
    along = float(lacking @ step)
    if abs(along) <= 1e-6 * float(np.linalg.norm(lacking) * np.linalg.norm(step)):
        return state.curvature
    learnt: FloatArray = state.curvature + np.outer(lacking, lacking) / along
    bends = eigh(learnt, equations.information, eigvals_only=True)
    return learnt if bends[0] > _LEAST_BEND and bends[-1] < _MOST_BEND else state.curvature


@dataclass(frozen=True)
class BestFit:
    """Where the best fit ended.

    Attributes
    ----------
    T_design_scan : (4, 4) ndarray
    rms_mm, mean_abs_mm : float
        Of the points used, weighted by area.
    share_used : float
        Their share of the scan's area.
    points_used : int
    iterations : int
        Steps of all stages together.
    passes : int
        Steps on the whole scan.
    converged : bool
    remaining_mm : float
        Estimate of how far the point that moves most still is from its place at the optimum.
    cut_mm : float
        Distance beyond which points did not count.
    equations : NormalEquations
        At the end.
    """

    T_design_scan: FloatArray
    rms_mm: float
    mean_abs_mm: float
    share_used: float
    points_used: int
    iterations: int
    passes: int
    converged: bool
    remaining_mm: float
    cut_mm: float
    equations: NormalEquations


def best_fit_steps(
    problem: FitProblem,
    start: FloatArray,
    *,
    from_samples: bool = True,
    held: HeldPoints | None = None,
) -> Steps[BestFit]:
    """Fit scan points on the design's surface, starting from a pose near enough.

    Minimises the weighted sum of the squared distances of the scan points from the design's
    triangles (or its trimmed or robust version) by Gauss–Newton steps with exact rotations. At
    every step the feet are found anew, so the result is the optimum for the surface itself, not
    for samples of it. Stages: 2,000 points on samples of the design, 16,000 points on exact feet,
    then all, usually searched for once and compared a few times (see :mod:`..surface.held`).

    Parameters
    ----------
    problem : FitProblem
    start : (4, 4) ndarray
        ``T_design_scan`` to start from.
    from_samples : bool
        Whether the stage on samples is run; leave it out if the start is within a few hundredths
        of a millimetre.
    held : HeldPoints, optional
        Holds the problem's points on the design's index, at least as far as the settings'
        ``max_distance_mm``; it then finds their feet in the final pose, too.

    Raises
    ------
    SuperimpositionError
        No scan point comes near the (chosen part of the) design.
    """
    state = FitState(np.asarray(start, dtype=np.float64))
    done = 0.0
    if from_samples:
        few = problem.thinned(min(_SAMPLE_POINTS, len(problem.points)))
        state = fit_on_samples(few.points, problem.design, state, problem.corners)
        done = 0.1
        yield Progress("Best fit", done)
    if len(problem.points) > _PART_POINTS:
        part = problem.thinned(_PART_POINTS)
        state = yield from scaled(part_steps(part, state.fresh()), done, 0.4)
        done = 0.4
    ending = _whole_steps(problem, held or problem.held(), state.fresh())
    return (yield from scaled(ending, done, 1.0))


def least_hold(settings: SuperimposeSettings) -> float:
    """Eigenvalue below which a direction is not moved along: far below what is called weak."""
    return min(_WEAK_FOR_SURE * settings.weak_share, _LEAST_HOLD)


def present_fit_steps(
    problem: FitProblem,
    pose: FloatArray,
    *,
    iterations: int = 0,
    step_mm: float = 0.0,
    held: HeldPoints | None = None,
) -> Steps[BestFit]:
    """Measure how scan points lie in a pose that is taken as it is.

    ``iterations`` and ``step_mm`` are of the fit that led to it: its steps and its last one.
    """
    feet = yield from problem.feet_steps(held or problem.held(), pose)
    cut = _weighted(problem, feet)[0]
    state = FitState(pose, iterations=iterations, step_mm=step_mm, cut_mm=cut)
    return _summary(problem, feet, state, passes=0)


def fit_on_samples(
    points: FloatArray,
    design: PreparedDesign,
    state: FitState,
    corners: FloatArray,
    tolerance_share: float = _SAMPLE_TOLERANCE,
    iterations: int = _STAGE_ITERATIONS,
) -> FitState:
    """Fit a few equal points on the design's samples, with Tukey weights on their distances.

    Ends when a step is below ``tolerance_share`` of the design's diagonal, or after so many.
    """
    tolerance = tolerance_share * design.diagonal_mm
    equal = np.ones(len(points))
    for _ in range(iterations):
        moved = apply(state.pose, points)
        feet, distance = sample_feet(moved, design)
        width = 4.685 * 1.4826 * max(weighted_quantile(distance, equal, 0.5), 1e-9)
        weight = np.where(distance < width, (1.0 - (distance / width) ** 2) ** 2, 0.0)
        state = state.after(normal_equations(feet, weight, design.frame), corners)
        if state.step_mm < tolerance:
            break
    return state


def part_steps(
    part: FitProblem, state: FitState, finder: FeetFinder | None = None
) -> Steps[FitState]:
    """Fit on part of the points, until a step is so small that the whole is needed."""
    finder = finder or part.held()
    for number in range(_STAGE_ITERATIONS):
        share = 1.0 - 0.6**number
        feet = yield from scaled(part.feet_steps(finder, state.pose), share, share)
        state = _stepped(part, feet, state)
        if state.step_mm < _PART_TOLERANCE_MM:
            break
    return state


def _whole_steps(problem: FitProblem, held: HeldPoints, state: FitState) -> Steps[BestFit]:
    passes = 0
    while True:
        ends = 1.0 - 0.5**passes, 1.0 - 0.5 ** (passes + 1)
        feet = yield from scaled(problem.feet_steps(held, state.pose), *ends)
        state = _stepped(problem, feet, state)
        passes += 1
        if state.remaining_mm <= _WELL_WITHIN * problem.settings.tolerance_mm:
            break
        if passes >= problem.settings.max_iterations:
            break
    return _summary(problem, feet, state, passes)


def _weighted(problem: FitProblem, feet: DesignFeet) -> tuple[float, FloatArray]:
    """The loss's cut and the weights it gives the points."""
    settings = problem.settings
    cut = cut_mm(feet, problem.weights, settings)
    counted = loss_weights(feet, problem.weights, cut, settings)
    near = int(np.count_nonzero(counted))
    if near < LEAST_POINTS:
        raise too_few(problem.name, feet.points, near, problem.design, settings)
    return cut, counted


def _stepped(problem: FitProblem, feet: DesignFeet, state: FitState) -> FitState:
    """One Gauss–Newton step from the feet found at the state's pose."""
    cut, counted = _weighted(problem, feet)
    equations = normal_equations(feet, counted, problem.design.frame)
    hold = least_hold(problem.settings)
    return replace(state.after(equations, problem.corners, hold), cut_mm=cut)


def _summary(problem: FitProblem, feet: DesignFeet, state: FitState, passes: int) -> BestFit:
    """Figures of the fit at ``state``, from feet found one tiny step earlier.

    The residuals after that step follow, to first order, from those before it.
    """
    weights = loss_weights(feet, problem.weights, state.cut_mm, problem.settings)
    counted = weights > 0.0
    shift = apply(state.pose, problem.points[counted]) - feet.points[counted]
    residual = feet.residual_mm[counted] + np.einsum("nk,nk->n", shift, feet.direction[counted])
    used = problem.weights[counted]
    return BestFit(
        T_design_scan=state.pose,
        rms_mm=float(np.sqrt(used @ residual**2 / used.sum())),
        mean_abs_mm=float(used @ np.abs(residual) / used.sum()),
        share_used=float(used.sum() / problem.weights.sum()),
        points_used=int(np.count_nonzero(counted)),
        iterations=state.iterations,
        passes=passes,
        converged=state.remaining_mm <= _CONVERGED * problem.settings.tolerance_mm,
        remaining_mm=state.remaining_mm,
        cut_mm=state.cut_mm,
        equations=normal_equations(feet, weights, MotionFrame.of(feet.points, weights)),
    )
