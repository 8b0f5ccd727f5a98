"""From scan points to the design: feet, signed residuals, weights and one Gauss–Newton step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, cross
from ..surface.closest import ClosestPoints
from .frame import MotionFrame
from .prepared import PreparedDesign
from .settings import SuperimposeSettings

_TINY_MM = 1e-7
"""Below this distance the face's normal stands for the direction from foot to point."""
_UNSEEN = 1e-7
"""Directions with less information than this share of the greatest are not moved along."""


@dataclass(frozen=True)
class DesignFeet:
    """Where moved scan points stand on the design.

    Attributes
    ----------
    points : (n, 3) ndarray
        The moved points, mm.
    residual_mm : (n,) ndarray
        Signed distance to the design, positive on the side of the normal; 0 where unusable.
    direction : (n, 3) ndarray
        Unit gradient of that distance: from the foot to the point, or against it.
    usable : (n,) ndarray of bool
        Within the distance limit, not on an open border, on the chosen faces.
    """

    points: FloatArray
    residual_mm: FloatArray
    direction: FloatArray
    usable: BoolArray


def exact_feet(points: FloatArray, design: PreparedDesign, max_distance_mm: float) -> DesignFeet:
    """Feet on the triangles themselves; sensible for up to some ten thousand points at once."""
    found = design.index.closest(points, max_distance_mm=max_distance_mm)
    return feet_at(points, found, max_distance_mm)


def feet_at(
    points: FloatArray,
    found: ClosestPoints,
    max_distance_mm: float,
    use_faces: BoolArray | None = None,
) -> DesignFeet:
    """What a fit needs of points (n, 3) and their closest points on the design."""
    usable = found.found & ~found.on_border & (found.distance_mm <= max_distance_mm)
    if use_faces is not None:
        usable &= use_faces[found.face]
    normal = found.index.mesh.face_normals[found.face]
    gap = np.where(usable[:, None], points - found.foot, 0.0)
    sign = np.where(np.einsum("nk,nk->n", gap, normal) < 0.0, -1.0, 1.0)
    length = np.where(usable, found.distance_mm, 0.0)
    far = length > _TINY_MM
    scale = np.divide(sign, length, out=np.zeros_like(length), where=far)
    direction = np.where(far[:, None], gap * scale[:, None], normal)
    return DesignFeet(points, sign * length, direction, usable)


def sample_feet(points: FloatArray, design: PreparedDesign) -> tuple[DesignFeet, FloatArray]:
    """Feet on the tangent planes of the design's nearest samples; and the distances to those."""
    distance, nearest = design.tree.query(points)
    normal = design.samples.normals[nearest]
    gap = points - design.samples.points[nearest]
    residual = np.einsum("nk,nk->n", gap, normal)
    feet = DesignFeet(points, residual, normal, np.ones(len(points), dtype=bool))
    return feet, np.asarray(distance, dtype=np.float64)


def cut_mm(feet: DesignFeet, weights: FloatArray, settings: SuperimposeSettings) -> float:
    """Distance beyond which points do not count, by the chosen weighting."""
    size = np.abs(feet.residual_mm[feet.usable])
    if settings.fit_weighting == "least_squares" or not len(size):
        return settings.max_distance_mm
    share = settings.keep_share if settings.fit_weighting == "trimmed" else 0.5
    level = weighted_quantile(size, weights[feet.usable], share)
    if settings.fit_weighting == "robust":
        level = settings.robust_tuning * max(1.4826 * level, settings.robust_floor_mm)
    return min(level, settings.max_distance_mm)


def loss_weights(
    feet: DesignFeet, weights: FloatArray, cut: float, settings: SuperimposeSettings
) -> FloatArray:
    """Weights in the normal equations: area times what the weighting gives each residual."""
    inside = feet.usable & (np.abs(feet.residual_mm) <= cut)
    if settings.fit_weighting == "robust":
        return np.asarray(
            np.where(inside, weights * (1.0 - (feet.residual_mm / cut) ** 2) ** 2, 0.0)
        )
    return np.asarray(np.where(inside, weights, 0.0))


def weighted_quantile(values: FloatArray, weights: FloatArray, share: float) -> float:
    """Smallest value at or below which the given share of the weight lies."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    place = np.searchsorted(reached, share * reached[-1])
    return float(values[order[min(int(place), len(values) - 1)]])


@dataclass(frozen=True)
class NormalEquations:
    """Weighted normal equations of the six small motions in a frame.

    Attributes
    ----------
    information : (6, 6) ndarray
        Σ w j jᵀ / Σ w with j = ((x − c)/L × n, n): dimensionless, three turns and three shifts.
    gradient : (6,) ndarray
        Σ w j d / Σ w, mm.
    frame : MotionFrame
    """

    information: FloatArray
    gradient: FloatArray
    frame: MotionFrame

    @property
    def held(self) -> bool:
        """Whether no direction is entirely free."""
        values = np.linalg.eigvalsh(self.information)
        return bool(values[0] > _UNSEEN * values[-1])

    def step(self, curvature: FloatArray, least_hold: float = 0.0) -> FloatArray:
        """Newton step (6,) in mm; directions that nothing holds are left alone.

        ``curvature`` (6, 6) is added to the information; zero gives the Gauss–Newton step.
        Directions whose eigenvalue of the information is below ``least_hold`` are left alone too:
        along them a fit slides without end.
        """
        matrix = self.information + curvature
        values, vectors = np.linalg.eigh(self.information)
        held = vectors[:, values >= least_hold]
        if least_hold > 0.0 and 0 < held.shape[1] < len(values):
            return held @ _solved(held.T @ matrix @ held, held.T @ self.gradient)
        return _solved(matrix, self.gradient)


def _solved(matrix: FloatArray, gradient: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh(matrix)
    seen = values > _UNSEEN * values[-1]
    along = vectors[:, seen]
    step: FloatArray = -along @ ((along.T @ gradient) / values[seen])
    return step


def normal_equations(feet: DesignFeet, weights: FloatArray, frame: MotionFrame) -> NormalEquations:
    """Normal equations at the points' present place."""
    jacobian = np.empty((len(weights), 6))
    jacobian[:, :3] = cross((feet.points - frame.centre) / frame.length_mm, feet.direction)
    jacobian[:, 3:] = feet.direction
    weighted = jacobian * (weights / weights.sum())[:, None]
    # Sums that do not depend, in their last bits, on how many threads a matrix product has.
    information = np.einsum("nj,nk->jk", weighted, jacobian)
    gradient = np.einsum("nj,n->j", weighted, feet.residual_mm)
    return NormalEquations(information, gradient, frame)
