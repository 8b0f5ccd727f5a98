"""Which face of a surface is seen in each pixel: scan conversion with a depth buffer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...arrays import FloatArray, IntArray

PixelArray = NDArray[np.int32]


@dataclass(frozen=True)
class _Spans:
    """Runs of pixels in a row that faces cover; arrays (k,).

    Attributes
    ----------
    face, row, first, count : int
        Which face, the row, its first pixel and how many.
    """

    face: PixelArray
    row: PixelArray
    first: PixelArray
    count: PixelArray


def visible_faces(
    points: FloatArray, faces: IntArray, width: int, height: int, *, both_sides: bool = True
) -> PixelArray:
    """Return which face is nearest to the viewer in every pixel.

    A pixel belongs to the faces that cover its middle. Depth is compared in single precision.
    O(faces + covered pixels).

    Parameters
    ----------
    points : (n, 3) float
        In pixels: x to the right, y down, z to the viewer; pixel (i, j) has its middle at
        (j + ½, i + ½).
    faces : (m, 3) int
        Counter-clockwise seen from outside in a frame whose y points up.
    width, height : int
    both_sides : bool
        Whether back sides are seen too; those of a closed surface never are.

    Returns
    -------
    (height, width) int
        −1 where no face is seen.
    """
    corners = points[faces]
    flat = corners[:, :, :2]
    a, b = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    doubled_area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]  # negative: seen from outside
    seen = np.flatnonzero(doubled_area != 0.0 if both_sides else doubled_area < 0.0)
    spans = _spans(flat[seen], width, height)
    level, slope = _depths(corners[seen])
    begin = level[spans.face] + slope[spans.face, 1] * (spans.row + 0.5)
    own = np.repeat(np.arange(len(spans.face), dtype=np.int32), spans.count)
    before = np.cumsum(spans.count, dtype=np.int32) - spans.count
    column = np.arange(len(own), dtype=np.int32) + (spans.first - before)[own]
    pixel = (spans.row * np.int32(width))[own] + column
    depth = slope[spans.face, 0].astype(np.float32)[own] * (
        column.astype(np.float32) + np.float32(0.5)
    )
    depth += begin.astype(np.float32)[own]
    buffer = np.full(width * height, -np.inf, dtype=np.float32)
    np.maximum.at(buffer, pixel, depth)
    front = depth == buffer[pixel]
    nearest = np.full(width * height, -1, dtype=np.int32)
    nearest[pixel[front]] = seen[spans.face[own[front]]]
    return nearest.reshape(height, width)


def _spans(flat: FloatArray, width: int, height: int) -> _Spans:
    """Return the runs of pixels whose middles lie inside each face."""
    order = np.argsort(flat[:, :, 1], axis=1)
    x, y = (np.take_along_axis(flat[:, :, k], order, axis=1) for k in (0, 1))
    first = np.clip(np.ceil(y[:, 0] - 0.5), 0, height).astype(np.int32)
    last = np.clip(np.ceil(y[:, 2] - 0.5), 0, height).astype(np.int32)
    rows = last - first
    face = np.repeat(np.arange(len(flat), dtype=np.int32), rows)
    before = np.cumsum(rows, dtype=np.int32) - rows
    row = np.arange(len(face), dtype=np.int32) + (first - before)[face]
    with np.errstate(divide="ignore", invalid="ignore"):
        long = (x[:, 2] - x[:, 0]) / (y[:, 2] - y[:, 0])
        upper = (x[:, 1] - x[:, 0]) / (y[:, 1] - y[:, 0])
        lower = (x[:, 2] - x[:, 1]) / (y[:, 2] - y[:, 1])
    middle = row + 0.5
    one = x[face, 0] + long[face] * (middle - y[face, 0])
    above = middle < y[face, 1]
    other = np.where(
        above,
        x[face, 0] + upper[face] * (middle - y[face, 0]),
        x[face, 1] + lower[face] * (middle - y[face, 1]),
    )
    left = np.clip(np.ceil(np.minimum(one, other) - 0.5), 0, width).astype(np.int32)
    right = np.clip(np.ceil(np.maximum(one, other) - 0.5), 0, width).astype(np.int32)
    filled = right > left
    return _Spans(face[filled], row[filled], left[filled], (right - left)[filled])


def _depths(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return each face's z at the origin, (m,), and its change along x and y, (m, 2)."""
    slope = plane_slopes(corners[:, :, :2], corners[:, :, 2:])[:, :, 0]
    level = corners[:, 0, 2] - (slope * corners[:, 0, :2]).sum(axis=1)
    return level, slope


def plane_slopes(flat: FloatArray, values: FloatArray) -> FloatArray:
    """Return how values at the corners of triangles change along x and y.

    Parameters
    ----------
    flat : (m, 3, 2) float
    values : (m, 3, k) float

    Returns
    -------
    (m, 2, k) float
        Not finite where a triangle has no area.
    """
    a, b = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    da, db = values[:, 1] - values[:, 0], values[:, 2] - values[:, 0]
    area = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):  # faces seen from their edge
        along_x = (da * b[:, 1:] - db * a[:, 1:]) / area
        along_y = (db * a[:, :1] - da * b[:, :1]) / area
    return np.stack([along_x, along_y], axis=1)
