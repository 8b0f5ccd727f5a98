"""Geodesics of the crown's surface, shot from given points in given directions."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from .shape import CrownShape

Parameters = tuple[FloatArray, FloatArray]


def geodesic_ends(
    shape: CrownShape,
    theta: FloatArray,
    s: FloatArray,
    directions: FloatArray,
    length_mm: float,
) -> Parameters:
    """Follow geodesics for a length.

    A geodesic keeps its direction but for the turn of the tangent plane: the direction is
    carried from plane to plane by projection, with steps by the midpoint rule, short at first
    because the rim is only some hundredths of a millimetre round.

    Parameters
    ----------
    shape : CrownShape
        The surface.
    theta, s : (n,) array
        Where they start; not at a pole.
    directions : (n, 3) array
        Their first directions; only the tangential part counts.
    length_mm : float
        How far they go.

    Returns
    -------
    theta, s : (n,) array
        Where they end.
    """
    start = min(0.12, length_mm)
    steps = np.concatenate([np.full(60, start / 60), np.full(60, (length_mm - start) / 60)])
    theta, s = np.array(theta, dtype=np.float64), np.array(s, dtype=np.float64)
    for step in steps[steps > 0]:
        slope, directions = _in_parameters(shape, theta, s, directions)
        half = theta + 0.5 * step * slope[:, 0], s + 0.5 * step * slope[:, 1]
        slope, directions = _in_parameters(shape, *half, directions)
        theta, s = theta + step * slope[:, 0], s + step * slope[:, 1]
    return theta, s


def _in_parameters(
    shape: CrownShape, theta: FloatArray, s: FloatArray, directions: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Unit tangent nearest to each direction: as rates of θ and s, (n, 2), and in space."""
    _, around, along = shape.tangents(theta, s)
    frame = np.stack([around, along], axis=-1)
    metric = np.einsum("nki,nkj->nij", frame, frame)
    rates = np.linalg.solve(metric, np.einsum("nki,nk->ni", frame, directions)[..., None])[..., 0]
    tangent = np.einsum("nki,ni->nk", frame, rates)
    length = np.linalg.norm(tangent, axis=1, keepdims=True)
    return rates / length, tangent / length
