"""A pair of crowns compared the long way: every point searched for, to the optimum itself.

The reference for pairs over known faces: no part of the points, no planes, no known faces, no last
step that follows to first order. Only the least squares and the rules of what counts are shared.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cuspwise.standalone_core.areas.area_set import AreaSet
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.deviation.field import COUNTED, DeviationField, counting_status
from cuspwise.standalone_core.study.measuring.carried import CarriedCrown
from cuspwise.standalone_core.superimpose.best_fit import FitState
from cuspwise.standalone_core.superimpose.feet import (
    cut_mm,
    feet_at,
    loss_weights,
    normal_equations,
)
from cuspwise.standalone_core.superimpose.frame import MotionFrame
from cuspwise.standalone_core.superimpose.rigid import apply, box_corners, turned
from cuspwise.standalone_core.surface.closest import SurfaceIndex

_OPTIMUM_MM = 1e-7
_MOST_STEPS = 60


def compared_in_full(
    second: CarriedCrown, first: SurfaceIndex, area_set: AreaSet, settings: CheckSettings
) -> DeviationField:
    """Return deviations of the first crown, whole and closed, from the second."""
    used = second.used
    weights = np.where(used, area_set.evaluation.weights_mm2, 0.0)
    points, limit = second.points_mm, settings.deviation.search_mm
    frame = MotionFrame.of(points[used], weights[used])
    state = FitState(np.eye(4))
    for _ in range(_MOST_STEPS):
        moved = apply(state.pose, points)
        found = first.closest(moved, max_distance_mm=limit, signed=True)
        feet = feet_at(moved, found, settings.superimpose.max_distance_mm)
        cut = cut_mm(feet, weights, settings.superimpose)
        counted = loss_weights(feet, weights, cut, settings.superimpose)
        state = state.after(normal_equations(feet, counted, frame), box_corners(points[used]))
        if state.step_mm < _OPTIMUM_MM:
            break
    assert state.step_mm < _OPTIMUM_MM
    found = first.closest(apply(state.pose, points), max_distance_mm=limit, signed=True)
    normals = turned(state.pose, second.normals)
    status = counting_status(normals, found, first.mesh, settings.deviation)
    status = np.where(second.field.counted, status, second.field.status).astype(np.uint8)
    deviation = np.where(status == COUNTED, -found.signed_mm, np.nan)
    return replace(second.field, deviation_mm=deviation, status=status, foot_mm=None)
