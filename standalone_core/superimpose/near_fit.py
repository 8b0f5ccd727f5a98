"""Best fit of points that lie near a surface already, with their distances from it at the end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..errors import SuperimpositionError
from ..progress import run
from ..surface.closest import ClosestPoints
from ..surface.known import KnownFaces
from .best_fit import FitState
from .feet import DesignFeet, cut_mm, loss_weights, normal_equations
from .frame import MotionFrame
from .rigid import apply, box_corners
from .sampling import thinned
from .settings import SuperimposeSettings
from .too_few import LEAST_POINTS

_PART_POINTS = 6_000
"""As many as bring the points to well within the small step of their place."""
_SMALL_ON_PLANES_MM = 1e-4
_SMALL_STEP_MM = 0.001
"""After a last step this small, distances follow from those before it.

A distance changes by the step along its direction, but for half the square of the step times the
surface's curvature, which is at most 2/mm on a crown: 0.001 µm. Only where a foot passes over an
edge it can be more, at single points: the share of the step that the edge's angle makes.
"""
_REMAINING_MM = 2e-5
"""Where large residuals meet coarse triangles, steps shrink slowly: more of them may follow."""
_TINY_MM = 1e-7
_MOST_PASSES = 12


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
        Whether the last step was small, and those that would follow are tiny.
    """

    T_target_source: FloatArray
    points_mm: FloatArray
    closest: ClosestPoints
    signed_mm: FloatArray
    settled: bool


def near_fit(
    points: FloatArray,
    weights: FloatArray,
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
    settings : SuperimposeSettings
        Its loss and its limits; ``refine=False`` leaves the points as they lie.
    known : KnownFaces
        The surface, which of its faces the points probably lie over, and how far from it they may
        be to be measured.

    Raises
    ------
    SuperimpositionError
        Fewer than six points are near enough.
    """
    used = weights > 0.0
    if np.count_nonzero(used) < LEAST_POINTS:
        raise _too_few(settings)
    frame, corners = MotionFrame.of(points[used], weights[used]), box_corners(points[used])
    state = FitState(np.eye(4))
    if settings.refine:
        state = FitState(_on_planes(points, weights, frame, corners, settings, known))
    for _ in range(_MOST_PASSES):
        moved = apply(state.pose, points)
        closest = run(known.closest_steps(moved))
        feet = _feet(moved, closest, settings)
        if not settings.refine:
            return NearFit(state.pose, moved, closest, _signed(closest), True)
        stepped = _stepped(state, feet, weights, frame, corners, settings)
        if stepped is None:
            raise _too_few(settings)
        state = stepped
        if _settled(state):
            break
    shift = np.einsum("nk,nk->n", apply(state.pose, points) - moved, feet.direction)
    return NearFit(state.pose, moved, closest, _signed(closest) + shift, _settled(state))


def _settled(state: FitState) -> bool:
    return state.step_mm <= _SMALL_STEP_MM and state.remaining_mm <= _REMAINING_MM


def _on_planes(
    points: FloatArray,
    weights: FloatArray,
    frame: MotionFrame,
    corners: FloatArray,
    settings: SuperimposeSettings,
    known: KnownFaces,
) -> FloatArray:
    """Fit part of the points on the planes of their known faces: near the end with no search."""
    if not len(known.order) or not (weights[known.order] > 0.0).any():
        return np.eye(4)
    rows = thinned(weights, known.order, min(_PART_POINTS, len(known.order)))
    part, equal = points[rows], np.ones(len(rows))
    place, normal = known.planes(rows)
    state = FitState(np.eye(4))
    for _ in range(_MOST_PASSES):
        moved = apply(state.pose, part)
        height = np.einsum("nk,nk->n", moved - place, normal)
        feet = DesignFeet(moved, height, normal, np.abs(height) <= settings.max_distance_mm)
        stepped = _stepped(state, feet, equal, frame, corners, settings)
        if stepped is None:
            break
        state = stepped
        if state.step_mm <= _SMALL_ON_PLANES_MM:
            break
    return state.pose


def _stepped(
    state: FitState,
    feet: DesignFeet,
    weights: FloatArray,
    frame: MotionFrame,
    corners: FloatArray,
    settings: SuperimposeSettings,
) -> FitState | None:
    """One Gauss–Newton step; None if too few points are near enough."""
    counted = loss_weights(feet, weights, cut_mm(feet, weights, settings), settings)
    if np.count_nonzero(counted) < LEAST_POINTS:
        return None
    return state.after(normal_equations(feet, counted, frame), corners)


def _feet(points: FloatArray, closest: ClosestPoints, settings: SuperimposeSettings) -> DesignFeet:
    """What the fit needs of closest points found for the measurement."""
    found: BoolArray = closest.found
    near = found & ~closest.on_border & (closest.distance_mm <= settings.max_distance_mm)
    signed = np.where(found, _signed(closest), 0.0)
    direction = closest.index.mesh.face_normals.take(closest.face, axis=0)
    rim = np.flatnonzero((closest.feature > 0) & (np.abs(signed) > _TINY_MM))
    direction[rim] = (points[rim] - closest.foot[rim]) / signed[rim, None]
    return DesignFeet(points, signed, direction, near)


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
