"""Rigid motions as 4×4 matrices: exponential, inverse, distance between two of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import FloatArray


def rotation_from_vector(vector: ArrayLike) -> FloatArray:
    """Rotation matrix of a rotation vector (axis times angle), by Rodrigues' formula.

    R = I + sin θ/θ K + (1 − cos θ)/θ² K², with K the cross-product matrix of the vector. This is
    the exact exponential: a linearised rotation I + K would stretch a 5 mm crown by 19 µm at 5°.

    Parameters
    ----------
    vector : (3,) array_like
        Radians.

    Returns
    -------
    (3, 3) ndarray
    """
    x, y, z = np.asarray(vector, dtype=np.float64)
    angle = float(np.sqrt(x * x + y * y + z * z))
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2
    rotation: FloatArray = np.eye(3) + first * cross + second * (cross @ cross)
    return rotation


def nearest_rotation(matrix: ArrayLike) -> FloatArray:
    """Rotation nearest to a 3×3 matrix in the least-squares sense; never a reflection."""
    left, _, right = np.linalg.svd(np.asarray(matrix, dtype=np.float64))
    left[:, -1] *= np.sign(np.linalg.det(left @ right))
    rotation: FloatArray = left @ right
    return rotation


def motion(rotation: ArrayLike, translation: ArrayLike) -> FloatArray:
    """4×4 matrix of x → R x + t."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotation
    matrix[:3, 3] = translation
    return matrix


def motion_about(rotation: ArrayLike, centre: ArrayLike, shift: ArrayLike) -> FloatArray:
    """4×4 matrix of x → R (x − c) + c + shift."""
    turn, pivot = np.asarray(rotation, dtype=np.float64), np.asarray(centre, dtype=np.float64)
    return motion(turn, pivot + np.asarray(shift) - turn @ pivot)


def inverse(matrix: FloatArray) -> FloatArray:
    """Inverse of a rigid 4×4 motion: x → Rᵀ (x − t)."""
    turn = matrix[:3, :3].T
    return motion(turn, -turn @ matrix[:3, 3])


def apply(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Points (n, 3) after the motion."""
    moved: FloatArray = points @ matrix[:3, :3].T + matrix[:3, 3]
    return moved


def turned(matrix: FloatArray, directions: FloatArray) -> FloatArray:
    """Directions (n, 3) after the motion's rotation."""
    rotated: FloatArray = directions @ matrix[:3, :3].T
    return rotated


def rotation_angle_deg(rotation: FloatArray) -> float:
    """Angle of a rotation matrix, 0…180 degrees; accurate at both ends.

    |R − I| (Frobenius) = 2√2 sin(θ/2), |R + Rᵀ-part| from the trace: θ = 2 atan2(sin, cos) of θ/2.
    """
    half_sine = np.linalg.norm(rotation - np.eye(3)) / (2.0 * np.sqrt(2.0))
    half_cosine = np.sqrt(max(0.0, 1.0 + float(np.trace(rotation)))) / 2.0
    return float(np.degrees(2.0 * np.arctan2(half_sine, half_cosine)))


def largest_displacement(first: FloatArray, second: FloatArray, corners: FloatArray) -> float:
    """Largest distance between where two motions take the given points, mm.

    Parameters
    ----------
    first, second : (4, 4) ndarray
    corners : (n, 3) ndarray
        The corners of a box around a body are enough: the displacement is affine in the point,
        so its length is greatest at a corner.
    """
    gap = apply(first, corners) - apply(second, corners)
    return float(np.sqrt((gap**2).sum(axis=1).max()))


def box_corners(points: FloatArray) -> FloatArray:
    """The eight corners of the axis-aligned box around points, (8, 3)."""
    low, high = points.min(axis=0), points.max(axis=0)
    pick = np.indices((2, 2, 2)).reshape(3, 8).T
    corners: FloatArray = np.where(pick == 0, low, high)
    return corners
