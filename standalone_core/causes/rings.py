"""Fields of a margin that opened, leans, or went oval or three-lobed."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from ..arrays import FloatArray
from .strain import across

PER_UM = 1e-3

ORDERS: Mapping[str, int] = MappingProxyType(
    {"opened_margin": 0, "leaning_margin": 1, "oval_margin": 2, "three_lobed_margin": 3}
)
"""Waves around the margin that each cause is made of."""


def ring_columns(
    points: FloatArray,
    normals: FloatArray,
    centre: FloatArray,
    axis: FloatArray,
    along_mm: FloatArray,
    reach_mm: float,
) -> FloatArray:
    """Deviation of radial shifts cos kθ and sin kθ of both walls, fading away from the margin.

    The shift is (n · e_r) cos kθ exp(−(g / reach)²), g the distance to the margin line along the
    surface; k = 0 opens the margin, 1 leans it, 2 makes it oval, 3 three-lobed.

    Parameters
    ----------
    points, normals : (n, 3) float
        mm, and unit vectors out of the material.
    centre, axis : (3,) float
        Of the margin line, and a unit vector along the path of insertion; θ counts from the
        first of :func:`.strain.across`.
    along_mm : (n,) float
        g; infinite far away.
    reach_mm : float

    Returns
    -------
    (n, 7) float
        mm per µm: k = 0, then cosine and sine for k = 1, 2, 3.
    """
    first, second = across(axis)
    u, v = (points - centre) @ first, (points - centre) @ second
    angle = np.arctan2(v, u)
    outward = np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * second
    fading = np.exp(-((along_mm / reach_mm) ** 2))
    base = PER_UM * np.einsum("ij,ij->i", normals, outward) * fading
    waves = [np.ones_like(angle)]
    for order in (1, 2, 3):
        waves += [np.cos(order * angle), np.sin(order * angle)]
    columns: FloatArray = base[:, None] * np.stack(waves, axis=1)
    return columns


def ring_direction(order: int, cosine: float, sine: float, axis: FloatArray) -> FloatArray:
    """Return the direction (3,) in which a wave of the margin stands out most."""
    first, second = across(axis)
    angle = np.arctan2(sine, cosine) / order
    direction: FloatArray = np.cos(angle) * first + np.sin(angle) * second
    return direction


def columns_of(cause: str) -> list[int]:
    """Return the columns of :func:`ring_columns` that a cause is made of: cosine and sine."""
    order = ORDERS[cause]
    return [2 * order - 1, 2 * order] if order else [0]
