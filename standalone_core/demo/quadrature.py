"""Points over a parametric surface with the area that each stands for."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..arrays import FloatArray, ragged
from .produced import ProducedSurface
from .shape import CrownShape

TURN = 2.0 * np.pi


@dataclass(frozen=True, eq=False)
class Nodes:
    """Quadrature nodes.

    Attributes
    ----------
    theta, s : (n,) array
        Parameters.
    points, normals : (n, 3) array
        Points in mm and outward unit normals.
    weights_mm2 : (n,) array
        Area that each stands for.
    """

    theta: FloatArray
    s: FloatArray
    points: FloatArray
    normals: FloatArray
    weights_mm2: FloatArray


def surface_nodes(surface: CrownShape | ProducedSurface, spacing_mm: float) -> Nodes:
    """Spread quadrature nodes evenly over a surface.

    Along the meridian Gauss–Legendre nodes, in pieces that end where the formula's pieces do
    (at the rim's round edge); around each row equally spaced nodes (the trapezoid rule, best
    for periodic functions), about ``spacing_mm`` apart. Rows start at staggered angles.

    Parameters
    ----------
    surface : CrownShape or ProducedSurface
        The surface.
    spacing_mm : float
        Spacing of the nodes.
    """
    shape = surface.base if isinstance(surface, ProducedSurface) else surface
    rows, row_weights = _rows(shape, spacing_mm)
    turn = np.arange(73) * (TURN / 72)
    rings = shape.points(turn[:, None], rows[None, :])
    length = np.linalg.norm(np.diff(rings, axis=0), axis=2).sum(axis=0)
    counts = np.maximum(8, np.ceil(length / spacing_mm)).astype(np.int64)
    row, place = ragged(counts)
    stagger = (row * 0.6180339887498949) % 1.0
    theta = TURN * (place + stagger) / counts[row]
    s = rows[row]
    points, around, along = surface.tangents(theta, s)
    cross = np.cross(around, along)
    area = np.linalg.norm(cross, axis=1)
    weights = area * row_weights[row] * TURN / counts[row]
    return Nodes(theta, s, points, cross / area[:, None], weights)


def _rows(shape: CrownShape, spacing_mm: float) -> tuple[FloatArray, FloatArray]:
    """Rows of nodes along the meridian and their weights."""
    rim = 0.9 * shape.rim_width_mm
    chip = max([rim, *(rim + 8.0 / 3.0 * c.depth_mm for c in shape.chips)])
    ends = sorted(
        {-shape.intaglio_length_mm, -1.0, -chip, -rim, 0.0, rim, chip, 1.0}
        | {shape.external_length_mm}
    )
    rows, weights = [], []
    for low, high in pairwise(ends):
        count = max(8, round((high - low) / spacing_mm))
        x, w = np.polynomial.legendre.leggauss(count)
        rows.append(0.5 * (low + high) + 0.5 * (high - low) * x)
        weights.append(0.5 * (high - low) * w)
    return np.concatenate(rows), np.concatenate(weights)
