"""Small rigid motions of a crown about a place of the die's frame."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from ...arrays import FloatArray


def placed(pose: FloatArray, points: FloatArray) -> FloatArray:
    """Points (..., 3) after a motion (4, 4)."""
    at: FloatArray = points @ pose[:3, :3].T + pose[:3, 3]
    return at


def undone(pose: FloatArray) -> FloatArray:
    """The inverse of a rigid motion (4, 4)."""
    turn = pose[:3, :3].T
    back = np.eye(4)
    back[:3, :3], back[:3, 3] = turn, -turn @ pose[:3, 3]
    return back


def moved_on(
    pose: FloatArray, shift: FloatArray, turn: FloatArray, centre: FloatArray
) -> FloatArray:
    """A pose (4, 4) after a shift (3,), mm, and a turn (3,), radians, about a place (3,)."""
    rotation = Rotation.from_rotvec(turn).as_matrix()
    motion = np.eye(4)
    motion[:3, :3] = rotation
    motion[:3, 3] = shift + centre - rotation @ centre
    moved: FloatArray = motion @ pose
    return moved


def lifted(pose: FloatArray, by_mm: float, direction: FloatArray) -> FloatArray:
    """A pose (4, 4) after a shift along a unit vector (3,)."""
    raised = pose.copy()
    raised[:3, 3] += by_mm * direction
    return raised
