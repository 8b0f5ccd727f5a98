"""Poses from anywhere, finished on a few thousand points, so that they can be compared."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..progress import Progress, Steps, scaled
from .best_fit import FitState, fit_on_samples, least_hold
from .coarse import coarse_poses_steps
from .feet import exact_feet, normal_equations, sample_feet
from .lookup import SearchTarget
from .prepared import PreparedDesign
from .rigid import apply, box_corners, inverse, largest_displacement
from .sampling import SurfaceSamples
from .settings import SuperimposeSettings

SAMPLES = 4_000
"""Samples of the scan used here."""
_SAMPLE_FIT_POINTS, _SAMPLE_FIT_TOLERANCE, _SAMPLE_FIT_ITERATIONS = 500, 5e-4, 15
_CLOSE_RATIO, _CLOSE_SHARE = 2.0, 0.002
"""Candidates up to this many times worse than the best, and this share of the diagonal on top, are
finished on exact feet; the others cannot win, and their misfit stays the one on samples."""
_FIRST_ITERATIONS, _HOPEFUL = 4, 4.0
"""After so many steps on samples, poses this many times worse than the best go no further, but
for the same share of the diagonal on top."""
_CLOSE_POINTS = 2_000
_USUAL_REACH_MM = 1.0
_LARGER = 1.1
"""A scan of this many times the design's radius of gyration shows more than the design."""
_FINISHED = 4
"""Most candidates finished on exact feet."""
_FAR_MM, _FAR_POINTS = 0.1, 1_000
"""Candidates besides the best that lie farther off than this are finished on fewer points: exact
feet cost the more the farther they are."""
_FINISH_ITERATIONS = 6
_FINISH_STEP_SHARE = 1e-5
_SAME_POSE_SHARE = 0.03
"""Two finished poses less than this share of the diagonal apart everywhere are one."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """A finished pose and its misfit.

    Attributes
    ----------
    T_design_scan : (4, 4) ndarray
    distance_mm : (n,) ndarray
        Distance of the scan's samples from the design, none above the limit.
    limit_mm : float
        The limit.
    iterations : int
    step_mm : float
        Steps on exact feet that led to the pose, and the last of them.
    """

    T_design_scan: FloatArray
    distance_mm: FloatArray
    limit_mm: float
    iterations: int = 0
    step_mm: float = 0.0

    @cached_property
    def near(self) -> BoolArray:
        """Samples within the limit, (n,)."""
        near: BoolArray = self.distance_mm < self.limit_mm
        return near

    @property
    def overlap(self) -> float:
        """Share of the samples within the limit."""
        return float(self.near.mean())

    @cached_property
    def rms_mm(self) -> float:
        """Root mean square of the distances, those beyond the limit counted at the limit."""
        return float(np.sqrt(np.mean(self.distance_mm**2)))

    @cached_property
    def typical_mm(self) -> float:
        """Median distance of the samples within the limit; the limit if there are none."""
        return float(np.median(self.distance_mm[self.near])) if self.near.any() else self.limit_mm

    def rms_of(self, some: BoolArray) -> float:
        """The same of some of the samples; 0 if there are none."""
        return float(np.sqrt(np.mean(self.distance_mm[some] ** 2))) if some.any() else 0.0


def candidates_steps(
    scan: SurfaceSamples,
    design: PreparedDesign,
    settings: SuperimposeSettings,
    most_mm: float = np.inf,
) -> Steps[list[Candidate]]:
    """Search all poses and finish the best few; clearly different ones, best first.

    Candidates whose misfit on samples is above ``most_mm`` are not finished. Only the best is
    where the others cannot matter any more: all of them lie so far off that the scan may be
    another part, or the best one can be moved without notice.
    """
    rough = yield from scaled(_rough_poses_steps(scan, design), 0.0, 0.6)
    distinct = yield from scaled(_on_samples_steps(scan, design, settings, rough), 0.6, 0.8)
    bound = _CLOSE_RATIO * distinct[0].rms_mm + _CLOSE_SHARE * design.diagonal_mm
    bound = min(bound, most_mm)
    close = [candidate for candidate in distinct if candidate.rms_mm <= bound][:_FINISHED]
    if not close:
        return distinct
    best = _finished(scan, design, settings, close[0], len(scan))
    yield Progress("Comparing poses", 0.8 + 0.2 / len(close))
    doubt = settings.doubt_mm * reach_factor(settings)
    if min(one.typical_mm for one in close) > doubt or _slides(scan, design, settings, best):
        return [best, *distinct_poses(best, distinct[1:], scan.points, design)]
    finished: list[Candidate] = [best, *distinct[len(close) :]]
    for number, candidate in enumerate(close[1:], 2):
        count = _FAR_POINTS if candidate.rms_mm > _FAR_MM else len(scan)
        finished.append(_finished(scan, design, settings, candidate, count))
        yield Progress("Comparing poses", 0.8 + 0.2 * number / len(close))
    return _distinct(finished, box_corners(scan.points), design.diagonal_mm)


def reach_factor(settings: SuperimposeSettings) -> float:
    """How much farther than by default points may lie apart: limits of likeness grow with it.

    Whoever lets points lie farther apart expects larger deviations. A shorter reach does not
    make a part more suspicious.
    """
    return max(1.0, settings.max_distance_mm / _USUAL_REACH_MM)


def _on_samples_steps(
    scan: SurfaceSamples,
    design: PreparedDesign,
    settings: SuperimposeSettings,
    rough: list[FloatArray],
) -> Steps[list[Candidate]]:
    """Fit rough poses on samples, hopeless ones not to the end; clearly different, best first."""
    some, corners = scan.every(_SAMPLE_FIT_POINTS).points, box_corners(scan.points)

    def fitted(state: FitState, iterations: int) -> tuple[FitState, Candidate]:
        state = fit_on_samples(some, design, state, corners, _SAMPLE_FIT_TOLERANCE, iterations)
        return state, _on_samples(scan.points, design, settings, state.pose)

    begun = []
    for number, pose in enumerate(rough):
        begun.append(fitted(FitState(pose), _FIRST_ITERATIONS))
        yield Progress("Comparing poses", 0.5 * (number + 1) / len(rough))
    bound = _HOPEFUL * min(candidate.rms_mm for _, candidate in begun)
    bound += _CLOSE_SHARE * design.diagonal_mm
    ended = []
    for number, (state, candidate) in enumerate(begun):
        hopeful = candidate.rms_mm <= bound
        more = _SAMPLE_FIT_ITERATIONS - _FIRST_ITERATIONS
        ended.append(fitted(state, more)[1] if hopeful else candidate)
        yield Progress("Comparing poses", 0.5 + 0.5 * (number + 1) / len(rough))
    return _distinct(ended, corners, design.diagonal_mm)


def _finished(
    scan: SurfaceSamples,
    design: PreparedDesign,
    settings: SuperimposeSettings,
    candidate: Candidate,
    count: int,
) -> Candidate:
    """A candidate fitted on more samples, then on ``count`` exact feet."""
    state, corners = FitState(candidate.T_design_scan), box_corners(scan.points)
    pose = fit_on_samples(scan.every(_CLOSE_POINTS).points, design, state, corners).pose
    end = _finish(scan.every(count).points, design, settings, pose)
    found = measured(scan.points, design, settings, end.pose)
    return replace(found, iterations=end.iterations, step_mm=end.step_mm)


def _slides(
    scan: SurfaceSamples, design: PreparedDesign, settings: SuperimposeSettings, best: Candidate
) -> bool:
    """Whether the design surely does not hold the scan in some direction."""
    if best.rms_mm > _FAR_MM:
        return False
    feet, _ = sample_feet(apply(best.T_design_scan, scan.points), design)
    equations = normal_equations(feet, best.near.astype(np.float64), design.frame)
    return bool(np.linalg.eigvalsh(equations.information)[0] < least_hold(settings))


def _rough_poses_steps(scan: SurfaceSamples, design: PreparedDesign) -> Steps[list[FloatArray]]:
    """Poses of the scan on the design; of the design on the scan too if the scan is larger."""
    target, turned_round = design.target, SearchTarget(scan)
    ratio = turned_round.frame.length_mm / target.frame.length_mm
    if ratio < _LARGER:
        return (yield from coarse_poses_steps(scan, target))
    poses = yield from scaled(coarse_poses_steps(scan, target), 0.0, 0.5)
    back = coarse_poses_steps(design.samples.every(len(scan)), turned_round)
    backwards = yield from scaled(back, 0.5, 1.0)
    return poses + [inverse(pose) for pose in backwards]


def _finish(
    points: FloatArray, design: PreparedDesign, settings: SuperimposeSettings, pose: FloatArray
) -> FitState:
    """Fit a few thousand equal points on exact feet, from a pose that is nearly there."""
    corners, state = box_corners(points), FitState(pose)
    for _ in range(_FINISH_ITERATIONS):
        moved = apply(state.pose, points)
        feet = exact_feet(moved, design, settings.max_distance_mm)
        if np.count_nonzero(feet.usable) < 6:
            break
        weights = feet.usable.astype(np.float64)
        equations = normal_equations(feet, weights, design.frame)
        state = state.after(equations, corners, least_hold(settings))
        if state.step_mm < _FINISH_STEP_SHARE * design.diagonal_mm:
            break
    return state


def measured(
    points: FloatArray, design: PreparedDesign, settings: SuperimposeSettings, pose: FloatArray
) -> Candidate:
    """Misfit of equal points in a pose."""
    limit = settings.max_distance_mm
    found = design.index.closest(apply(pose, points), max_distance_mm=limit)
    return Candidate(pose, np.minimum(found.distance_mm, limit), limit)


def _on_samples(
    points: FloatArray, design: PreparedDesign, settings: SuperimposeSettings, pose: FloatArray
) -> Candidate:
    """Misfit of points, roughly: against the tangent planes of the design's samples."""
    limit = settings.max_distance_mm
    feet, apart = sample_feet(apply(pose, points), design)
    distance = np.where(apart < limit, np.minimum(np.abs(feet.residual_mm), limit), limit)
    return Candidate(pose, distance, limit)


def distinct_poses(
    best: Candidate, others: list[Candidate], points: FloatArray, design: PreparedDesign
) -> list[Candidate]:
    """Those of the others that are in clearly another pose than the best."""
    corners = box_corners(points)
    return [other for other in others if not _same(other, best, corners, design.diagonal_mm)]


def _same(one: Candidate, other: Candidate, corners: FloatArray, diagonal_mm: float) -> bool:
    apart = largest_displacement(one.T_design_scan, other.T_design_scan, corners)
    return apart <= _SAME_POSE_SHARE * diagonal_mm


def _distinct(
    candidates: list[Candidate], corners: FloatArray, diagonal_mm: float
) -> list[Candidate]:
    """Best first, leaving out those in nearly the same pose as a better one."""
    kept: list[Candidate] = []
    for candidate in sorted(candidates, key=lambda one: one.rms_mm):
        if not any(_same(candidate, other, corners, diagonal_mm) for other in kept):
            kept.append(candidate)
    return kept
