"""How near the outlines of two bodies come to each other in the plane that cuts both."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from ..arrays import BoolArray, FloatArray
from .plane_cut import CutCurve

_DEEPEST = 32
"""So many places, the farthest from the other outline's corners, are looked at for the depth."""
_NEAR = 8
"""So many pieces near a place are looked at first."""


def curve_gap(
    one: Sequence[CutCurve], other: Sequence[CutCurve], normal: ArrayLike
) -> float | None:
    """Return the smallest distance between two bodies in a plane, less than 0 where they overlap.

    The distance of two outlines that do not cross is found exactly, at a corner of one of them.
    The depth of an overlap is the largest distance from the other outline of a corner that lies
    inside it: too small by the sag of the outline between corners at most.

    Parameters
    ----------
    one, other : sequence of CutCurve
        Of one plane; closed curves enclose what lies inside an odd number of them.
    normal : (3,) array_like
        Of that plane.

    Returns
    -------
    float or None
        In the curves' unit; None where one of them is not cut.
    """
    if not one or not other:
        return None
    axes = _axes(np.asarray(normal, dtype=np.float64))
    first, second = _Outline(one, axes), _Outline(other, axes)
    depth = max(first.depth_in(second), second.depth_in(first))
    if depth > 0.0:
        return -depth
    return min(first.nearest_to(second), second.nearest_to(first))


class _Outline:
    """Curves in flat coordinates."""

    def __init__(self, curves: Sequence[CutCurve], axes: FloatArray) -> None:
        rings = [(curve.points_mm @ axes, curve.closed) for curve in curves]
        ends = [
            np.stack([points, np.roll(points, -1, axis=0)], axis=1)[: None if closed else -1]
            for points, closed in rings
        ]
        self.points = np.concatenate([points for points, _ in rings])
        self.pieces = np.concatenate(ends)
        solid = [part for part, (_, closed) in zip(ends, rings, strict=True) if closed]
        self.solid = np.concatenate([np.empty((0, 2, 2)), *solid])
        arms = self.pieces[:, 1] - self.pieces[:, 0]
        self.half = 0.5 * float(np.linalg.norm(arms, axis=1).max(initial=0.0))
        self.corners = cKDTree(self.points)
        self.middles = cKDTree(self.pieces.mean(axis=1))

    def nearest_to(self, other: _Outline) -> float:
        """Smallest distance of a corner of this outline from the other."""
        away = other.corners.query(self.points)[0]
        # With its foot square below a place, a piece's nearer end is off by half its length.
        may = away**2 <= away.min() ** 2 + other.half**2
        return float(other.distances(self.points[may]).min())

    def depth_in(self, other: _Outline) -> float:
        """Largest distance of a corner inside the other body from its outline; 0 for none."""
        low, high = other.points.min(axis=0), other.points.max(axis=0)
        boxed = self.points[((self.points >= low) & (self.points <= high)).all(axis=1)]
        inside = boxed[_are_inside(boxed, other.solid)]
        if not len(inside):
            return 0.0
        away = other.corners.query(inside)[0]
        deepest = inside[np.argsort(-away)[:_DEEPEST]]
        return float(other.distances(deepest).max())

    def distances(self, points: FloatArray) -> FloatArray:
        """Distance (n,) of points (n, 2) from this outline.

        The piece that it is measured to has its middle within that distance and half its length.
        """
        near = range(1, min(_NEAR, len(self.pieces)) + 1)
        away, piece = self.middles.query(points, k=near)
        found = _distances(points, self.pieces[piece])
        unsure = (away[:, -1] < found + self.half) & (len(near) < len(self.pieces))
        for k in np.flatnonzero(unsure):
            all_of = self.pieces[self.middles.query_ball_point(points[k], found[k] + self.half)]
            found[k] = _distances(points[k : k + 1], all_of[None])[0]
        return found


def _axes(normal: FloatArray) -> FloatArray:
    """Two unit vectors across a normal, (3, 2)."""
    across = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    other = np.cross(normal, across)
    axes: FloatArray = np.stack(
        [across / np.linalg.norm(across), other / np.linalg.norm(other)], axis=1
    )
    return axes


def _are_inside(points: FloatArray, pieces: FloatArray) -> BoolArray:
    """Whether points (n, 2) lie inside closed curves: a ray from each crosses an odd number."""
    x, y = points[:, 0], points[:, 1]
    above = pieces[:, :, 1][:, :, None] > y  # (k, 2, n)
    piece, point = np.nonzero(above[:, 0] != above[:, 1])
    start, end = pieces[piece, 0], pieces[piece, 1]
    share = (y[point] - start[:, 1]) / (end[:, 1] - start[:, 1])
    right = start[:, 0] + share * (end[:, 0] - start[:, 0]) > x[point]
    count = np.bincount(point[right], minlength=len(points))
    inside: BoolArray = count % 2 == 1
    return inside


def _distances(points: FloatArray, pieces: FloatArray) -> FloatArray:
    """Distance (n,) of points (n, 2) from the nearest of their straight pieces (n, k, 2, 2)."""
    start, along = pieces[:, :, 0], pieces[:, :, 1] - pieces[:, :, 0]
    squared = np.einsum("nkj,nkj->nk", along, along)
    arms = points[:, None] - start
    share = np.einsum("nkj,nkj->nk", arms, along) / np.where(squared > 0.0, squared, 1.0)
    off = arms - np.clip(share, 0.0, 1.0)[:, :, None] * along
    distance: FloatArray = np.sqrt(np.einsum("nkj,nkj->nk", off, off).min(axis=1))
    return distance
