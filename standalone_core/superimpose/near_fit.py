"""Best fit of points that lie near a surface already, with their distances from it at the end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..errors import SuperimpositionError
from ..progress import run
from ..surface.closest import ClosestPoints
from ..surface.known import KnownFaces
from .best_fit import FitProblem, FitState, part_steps
from .feet import DesignFeet, cut_mm, loss_weights, normal_equations
from .frame import MotionFrame
from .prepared import PreparedDesign
from .rigid import apply
from .sampling import thinned
from .settings import SuperimposeSettings
from .too_few import LEAST_POINTS

_PART_POINTS = 6_000
"""As many as bring the points to well within the small step of their place."""
_SMALL_STEP_MM = 0.001
"""After a last step this small, distances follow from those before it.

A distance changes by the step along its direction, but for half the square of the step times the
surface's curvature, which is at most 2/mm on a crown: 0.001 µm. Only where a foot passes over an
edge it can be more, at single points: the share of the step that the edge's angle makes.
"""
_TINY_MM = 1e-7
_MOST_PASSES = 8


@dataclass(frozen=True, eq=False)
class NearFit:
    """Points laid on a surface that they were near already.

    Attributes
    ----------
    T_target_source : (4, 4) float
        The motion, mm.
    points_mm : (n, 3) float
        The moved points, one small step before the end.
    closest : ClosestPoints
        Of those points.
    signed_mm : (n,) float
        Signed distances after the last step; NaN where nothing is near.
    settled : bool
        Whether the last step was small.
    """

    T_target_source: FloatArray
    points_mm: FloatArray
    closest: ClosestPoints
    signed_mm: FloatArray
    settled: bool


def near_fit(
    points: FloatArray,
    weights: FloatArray,
    target: PreparedDesign,
    settings: SuperimposeSettings,
    known: KnownFaces,
) -> NearFit:
    """Fit points on a surface from where they lie.

    The same least squares of the distances as :func:`.superimposition.superimpose` ends with,
    for points that are within a small part of a millimetre of their place. The last pass over all
    points serves the fit and the measurement at once.

    Parameters
    ----------
    points : (n, 3) float
    weights : (n,) float
        Area that each stands for, mm²; points of weight 0 take no part but are measured.
    target : PreparedDesign
        The surface.
    settings : SuperimposeSettings
        Its loss and its limits; ``refine=False`` leaves the points as they lie.
    known : KnownFaces
        Which of the surface's faces the points probably lie over, and how far from it they may be
        to be measured.

    Raises
    ------
    SuperimpositionError
        Fewer than six points are near enough.
    """
    used = weights > 0.0
    if np.count_nonzero(used) < LEAST_POINTS:
        raise _too_few(settings)
    state = FitState(np.eye(4))
    problem = FitProblem(points[used], weights[used], target, settings)
    if settings.refine and len(problem.points) > _PART_POINTS:
        rows = np.flatnonzero(used)[thinned(problem.weights, problem.order, _PART_POINTS)]
        part = FitProblem(points[rows], np.ones(len(rows)), target, settings)
        state = run(part_steps(part, state, known.taken(rows))).fresh()
    frame = MotionFrame.of(problem.points, problem.weights)
    for _ in range(_MOST_PASSES):
        moved = apply(state.pose, points)
        closest = run(known.closest_steps(moved))
        feet = _feet(moved, closest, settings)
        if not settings.refine:
            return NearFit(state.pose, moved, closest, _signed(closest), True)
        cut = cut_mm(feet, weights, settings)
        counted = loss_weights(feet, weights, cut, settings)
        if np.count_nonzero(counted) < LEAST_POINTS:
            raise _too_few(settings)
        state = state.after(normal_equations(feet, counted, frame), problem.corners)
        if state.step_mm <= _SMALL_STEP_MM:
            break
    shift = np.einsum("nk,nk->n", apply(state.pose, points) - moved, feet.direction)
    settled = state.step_mm <= _SMALL_STEP_MM
    return NearFit(state.pose, moved, closest, _signed(closest) + shift, settled)


def _feet(points: FloatArray, closest: ClosestPoints, settings: SuperimposeSettings) -> DesignFeet:
    """What the fit needs of closest points found for the measurement."""
    found: BoolArray = closest.found
    near = found & ~closest.on_border & (closest.distance_mm <= settings.max_distance_mm)
    signed = np.where(found, _signed(closest), 0.0)
    normal = closest.index.mesh.face_normals[closest.face]
    far = found & (closest.distance_mm > _TINY_MM)
    scale = np.divide(1.0, signed, out=np.zeros_like(signed), where=far)
    gap = np.where(found[:, None], points - closest.foot, 0.0)
    return DesignFeet(points, signed, np.where(far[:, None], gap * scale[:, None], normal), near)


def _signed(closest: ClosestPoints) -> FloatArray:
    assert closest.signed_mm is not None  # signed distances were asked for
    return np.where(closest.found, closest.signed_mm, np.nan)


def _too_few(settings: SuperimposeSettings) -> SuperimpositionError:
    return SuperimpositionError(
        f"Fewer than {LEAST_POINTS} points lie within {settings.max_distance_mm:g} mm of the "
        f"surface.",
        subject="crown",
        remedy="Check that both crowns are of the same design.",
    )
