"""Fields of a strain: how scale in all directions, or per direction, shows on a surface."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray

PER_MILLE = 1e-3
_PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (1, 2), (2, 0))


def strain_columns(points: FloatArray, normals: FloatArray, centre: FloatArray) -> FloatArray:
    """Deviation that each part of a symmetric strain E makes: nᵀE(x − c).

    Parameters
    ----------
    points, normals : (n, 3) float
        mm, and unit vectors out of the material.
    centre : (3,) float

    Returns
    -------
    (n, 6) float
        mm per ‰ of the parts xx, yy, zz, xy, yz, zx.
    """
    arms = points - centre
    columns = [
        normals[:, i] * arms[:, j] + (normals[:, j] * arms[:, i] if i != j else 0.0)
        for i, j in _PAIRS
    ]
    return PER_MILLE * np.stack(columns, axis=1)


def parts_of(tensor: FloatArray) -> FloatArray:
    """Return the six parts (6,) of a symmetric tensor (3, 3)."""
    return np.array([tensor[i, j] for i, j in _PAIRS])


def tensor_of(parts: FloatArray) -> FloatArray:
    """Return the symmetric tensor (3, 3) that six parts (6,) make."""
    tensor = np.empty((3, 3))
    for value, (i, j) in zip(parts, _PAIRS, strict=True):
        tensor[i, j] = tensor[j, i] = value
    return tensor


def across(axis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return two unit vectors at right angles to an axis and to each other.

    The first is as near to x as can be, or to y where the axis is x itself.
    """
    near = np.eye(3)[0] if abs(axis[0]) < 0.9 else np.eye(3)[1]
    first = near - axis * (near @ axis)
    first /= np.linalg.norm(first)
    return first, np.cross(axis, first)
