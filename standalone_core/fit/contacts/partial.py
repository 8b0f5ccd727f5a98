"""The part of a triangle in which a value given at its corners is below zero."""

from __future__ import annotations

import numpy as np

from ...arrays import FloatArray


def part_below_zero(values: FloatArray, corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cut triangles where a linear value is zero.

    With one corner on its own side, at value v against w₁ and w₂, the two edges from it are cut at
    the shares t = v / (v − w), and the corner's part has the share t₁ t₂ of the area.

    Parameters
    ----------
    values : (k, 3) float
        At the corners.
    corners : (k, 3, 3) float

    Returns
    -------
    share : (k,) float
        Of each triangle's area, 0 to 1.
    middle : (k, 3) float
        Centroid of the part; that of the whole triangle where there is none.
    """
    below = values < 0.0
    count = below.sum(axis=1)
    share = (count == 3).astype(np.float64)
    middle = corners.mean(axis=1)
    for alone_below in (True, False):
        rows = np.flatnonzero(count == (1 if alone_below else 2))
        first = (below[rows] == alone_below).argmax(axis=1)
        turn = (first[:, None] + np.arange(3)) % 3
        v = np.take_along_axis(values[rows], turn, axis=1)
        p = np.take_along_axis(corners[rows], turn[:, :, None], axis=1)
        cut = v[:, :1] / (v[:, :1] - v[:, 1:])
        part = cut.prod(axis=1)
        centre = p[:, 0] + (cut[:, :, None] * (p[:, 1:] - p[:, :1])).sum(axis=1) / 3.0
        if not alone_below:  # the rest of the triangle
            rest = 1.0 - part
            whole = middle[rows] - part[:, None] * centre
            centre = np.divide(
                whole, rest[:, None], out=middle[rows].copy(), where=rest[:, None] > 1e-12
            )
            part = rest
        share[rows], middle[rows] = part, centre
    return share, middle
