"""The exact closest point of one triangle to one point, for many pairs at once, in float64.

Each triangle carries an orthonormal frame: origin at a corner, x along its longest edge, y
towards the third corner (the apex), z along its normal. In that frame the triangle is flat and
has corners (0, 0), (length, 0) and (apex_x, apex_y) with 0 ≤ apex_x ≤ length, so that the closest
point is either the point's own (x, y) or the closest of three clamped edge projections.
Triangles without area need no special case: they are never entered, only their edges count.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import BoolArray, FloatArray, IntArray

FeatureArray = NDArray[np.int8]

_BLOCK = 32_768
"""Faces whose frames are made at once: the arrays in between stay in the processor's cache."""


class Feet(NamedTuple):
    """Closest points of faces (k,) to points (k,), pair by pair, in the faces' frames."""

    faces: IntArray
    x: FloatArray
    """Along the longest edge, mm."""
    y: FloatArray
    """Towards the apex, mm."""
    height: FloatArray
    """Signed height of the point over the face's plane, mm."""
    squared: FloatArray
    """Squared distance, mm²."""
    side: FeatureArray
    """0 inside; 1, 2, 3 on the edges start–end, end–apex, apex–start."""

    def taken(self, rows: IntArray) -> Feet:
        """The feet of some rows."""
        return Feet(
            self.faces.take(rows),
            self.x.take(rows),
            self.y.take(rows),
            self.height.take(rows),
            self.squared.take(rows),
            self.side.take(rows),
        )

    def put(self, rows: IntArray, others: Feet) -> None:
        """Replace the feet of some rows by others."""
        self.faces[rows], self.side[rows] = others.faces, others.side
        self.x[rows], self.y[rows] = others.x, others.y
        self.height[rows], self.squared[rows] = others.height, others.squared


@dataclass(frozen=True, eq=False)
class FaceFrames:
    """Frames of faces; axes are stored coordinate by coordinate, (3, m), for speed.

    Attributes
    ----------
    origin, x_axis, y_axis, z_axis : (3, m) float
    length, apex_x, apex_y : (m,) float
        Corners in the frame, mm.
    first_corner : (m,) int
        Which of the face's corners is the origin.
    """

    origin: FloatArray
    x_axis: FloatArray
    y_axis: FloatArray
    z_axis: FloatArray
    length: FloatArray
    apex_x: FloatArray
    apex_y: FloatArray
    far_edge_inverse: FloatArray
    near_edge_inverse: FloatArray
    first_corner: IntArray

    @classmethod
    def of(cls, corners: FloatArray) -> FaceFrames:
        """Frames of triangles given by their corners (m, 3, 3), mm."""
        starts = range(0, len(corners), _BLOCK) or [0]
        parts = [cls._of_block(corners[start : start + _BLOCK]) for start in starts]
        # Contiguous: from strided rows, take would first copy all, whatever it is asked for.
        return cls(
            *(
                np.ascontiguousarray(
                    np.concatenate([getattr(p, each.name) for p in parts], axis=-1)
                )
                for each in fields(cls)
            )
        )

    @classmethod
    def _of_block(cls, corners: FloatArray) -> FaceFrames:
        edges = np.stack([corners[:, (k + 1) % 3] - corners[:, k] for k in range(3)], axis=1)
        squares = np.einsum("fki,fki->fk", edges, edges)
        first = np.argmax(squares, axis=1)
        rows = np.arange(len(first))
        length = np.sqrt(squares[rows, first])
        x_axis = edges[rows, first].T * _inverse(length)
        x_axis[0, length == 0.0] = 1.0
        to_apex = np.ascontiguousarray(-edges[rows, (first + 2) % 3].T)
        apex_x = _dot(to_apex, x_axis)
        apex_y, y_axis = _towards_apex(x_axis, to_apex - apex_x * x_axis)
        apex_x = np.clip(apex_x, 0.0, length)
        return cls(
            origin=np.ascontiguousarray(corners[rows, first].T),
            x_axis=x_axis,
            y_axis=y_axis,
            z_axis=_cross(x_axis, y_axis),
            length=length,
            apex_x=apex_x,
            apex_y=apex_y,
            far_edge_inverse=_inverse((length - apex_x) ** 2 + apex_y**2),
            near_edge_inverse=_inverse(apex_x**2 + apex_y**2),
            first_corner=first,
        )

    def moved(self, motion: FloatArray) -> FaceFrames:
        """Frames of the faces after a rigid motion (4, 4)."""
        turn, shift = motion[:3, :3], motion[:3, 3:]
        return replace(
            self,
            origin=turn @ self.origin + shift,
            x_axis=turn @ self.x_axis,
            y_axis=turn @ self.y_axis,
            z_axis=turn @ self.z_axis,
        )

    def to_frame(
        self, points: FloatArray, faces: IntArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Coordinates of points (3, k) in the frames of faces (k,)."""
        a, b, c = (points[k] - self.origin[k].take(faces) for k in range(3))
        x, y, z = (
            a * axis[0].take(faces) + b * axis[1].take(faces) + c * axis[2].take(faces)
            for axis in (self.x_axis, self.y_axis, self.z_axis)
        )
        return x, y, z

    def to_space(self, faces: IntArray, x: FloatArray, y: FloatArray) -> FloatArray:
        """Places (3, k) in space of frame coordinates on faces (k,)."""
        place = np.empty((3, len(faces)))
        for k in range(3):
            place[k] = x * self.x_axis[k].take(faces)
            place[k] += y * self.y_axis[k].take(faces)
            place[k] += self.origin[k].take(faces)
        return place

    def squared_distances(self, points: FloatArray, faces: IntArray) -> FloatArray:
        """Squared distance (k,) of each point (3, k) to the face (k,) of the same row, mm²."""
        x, y, height = self.to_frame(points, faces)
        length, apex_x, apex_y = self._corners(faces)
        from_end, back = x - length, apex_x - length
        gap = x - np.clip(x, 0.0, length)
        flat = gap * gap + y * y
        t = (from_end * back + y * apex_y) * self.far_edge_inverse.take(faces)
        np.minimum(flat, _squared_gap(t, from_end, y, back, apex_y), out=flat)
        t = (x * apex_x + y * apex_y) * self.near_edge_inverse.take(faces)
        np.minimum(flat, _squared_gap(t, x, y, apex_x, apex_y), out=flat)
        flat *= ~_inside(x, y, length, apex_x, apex_y)
        return flat + height * height

    def feet(self, points: FloatArray, faces: IntArray) -> Feet:
        """Closest point of each face (k,) to the point (3, k) of the same row."""
        x, y, height = self.to_frame(points, faces)
        side = np.zeros(len(faces), dtype=np.int8)
        squared = height * height
        out = np.flatnonzero(~_inside(x, y, *self._corners(faces)))
        if len(out):
            foot_x, foot_y, flat, edge = self._edge_feet(x.take(out), y.take(out), faces.take(out))
            x[out], y[out], side[out] = foot_x, foot_y, 1 + edge
            squared[out] += flat
        return Feet(faces, x, y, height, squared, side)

    def _edge_feet(
        self, x: FloatArray, y: FloatArray, faces: IntArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
        """Closest of the three edges' clamped projections, with squared distance and edge."""
        length, apex_x, apex_y = self._corners(faces)
        back = apex_x - length
        far = ((x - length) * back + y * apex_y) * self.far_edge_inverse.take(faces)
        near = (x * apex_x + y * apex_y) * self.near_edge_inverse.take(faces)
        far, near = np.clip(far, 0.0, 1.0), np.clip(near, 0.0, 1.0)
        foot_x = np.stack([np.clip(x, 0.0, length), length + far * back, near * apex_x])
        foot_y = np.stack([np.zeros_like(y), far * apex_y, near * apex_y])
        flat = (x - foot_x) ** 2 + (y - foot_y) ** 2
        edge, rows = flat.argmin(axis=0), np.arange(len(faces))
        return foot_x[edge, rows], foot_y[edge, rows], flat[edge, rows], edge

    def features(self, feet: Feet) -> FeatureArray:
        """Feature codes (k,): 0 inside, 1 + j on edge j, 4 + j on corner j of the face."""
        feature = np.zeros(len(feet.faces), dtype=np.int8)
        rim = np.flatnonzero(feet.side)
        corner = self._frame_corner(feet.taken(rim))
        edge = feet.side.take(rim).astype(np.int64) - 1
        first = self.first_corner.take(feet.faces.take(rim))
        feature[rim] = np.where(corner >= 0, 4 + (corner + first) % 3, 1 + (edge + first) % 3)
        return feature

    def angles(self, feet: Feet, tolerance_mm: float) -> FloatArray:
        """Angle (k,) that each face spans around a foot on its rim, radians; π on an edge.

        Feet no farther than the tolerance from a corner are on it.
        """
        length, apex_x, apex_y = self._corners(feet.faces)
        start, end = np.arctan2(apex_y, apex_x), np.arctan2(apex_y, length - apex_x)
        corner = self.corners_near(feet, tolerance_mm)
        angles: FloatArray = np.choose(corner + 1, [np.pi, start, end, np.pi - start - end])
        return angles

    def corners_near(self, feet: Feet, reach_mm: FloatArray | float) -> IntArray:
        """Start 0, end 1, apex 2 where the foot is within ``reach_mm`` of that corner, else −1."""
        length, apex_x, apex_y = self._corners(feet.faces)
        corner = np.full(len(feet.faces), -1)
        zero = np.zeros_like(length)
        for k, (x, y) in enumerate(((zero, zero), (length, zero), (apex_x, apex_y))):
            away = np.maximum(np.abs(feet.x - x), np.abs(feet.y - y))
            corner[away <= reach_mm] = k
        return corner

    def drawn_to(self, feet: Feet, corner: IntArray) -> FloatArray:
        """Places (3, k) of feet, or of the corners 0 to 2 instead of theirs."""
        length, apex_x, apex_y = self._corners(feet.faces)
        x = np.choose(corner + 1, [feet.x, 0.0, length, apex_x])
        y = np.choose(corner + 1, [feet.y, 0.0, 0.0, apex_y])
        return self.to_space(feet.faces, x, y)

    def without_area(self, faces: IntArray) -> BoolArray:
        """Which faces (k,) have no area and so no normal."""
        flat: BoolArray = self.apex_y.take(faces) <= 0.0
        return flat

    def _frame_corner(self, feet: Feet) -> IntArray:
        """Start 0, end 1, apex 2 where the foot is on that corner, else −1."""
        length, apex_x, apex_y = self._corners(feet.faces)
        at_apex = (feet.y == apex_y) & ((feet.y > 0.0) | (feet.x == apex_x))
        corner = np.where(at_apex, 2, -1)
        corner = np.where((feet.x == length) & (feet.y == 0.0), 1, corner)
        return np.where((feet.x == 0.0) & (feet.y == 0.0), 0, corner)

    def _corners(self, faces: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        return self.length.take(faces), self.apex_x.take(faces), self.apex_y.take(faces)

    def barycentric_inside(self, feet: FloatArray, faces: IntArray) -> FloatArray:
        """Weights (k, 3) of the faces' corners for feet (3, k) inside them."""
        x, y, _ = self.to_frame(feet, faces)
        length, apex_x, apex_y = self._corners(faces)
        apex = np.clip(y * _inverse(apex_y), 0.0, 1.0)
        end = np.clip((x - apex * apex_x) * _inverse(length), 0.0, 1.0 - apex)
        in_frame = np.stack([1.0 - apex - end, end, apex], axis=1)
        order = (np.arange(3) - self.first_corner[faces][:, None]) % 3
        return np.take_along_axis(in_frame, order, axis=1)


def barycentric_on_rim(corners: FloatArray, feet: FloatArray, features: FeatureArray) -> FloatArray:
    """Weights (k, 3) of corners (k, 3, 3) for feet (k, 3) on edges and corners."""
    rows, first = np.arange(len(features)), (features.astype(np.int64) - 1) % 3
    second = (first + 1) % 3
    start = corners[rows, first]
    edge, offset = (corners[rows, second] - start).T, (feet - start).T
    share = np.clip(_dot(offset, edge) * _inverse(_dot(edge, edge)), 0.0, 1.0)
    share[features >= 4] = 0.0
    weights = np.zeros((len(features), 3))
    weights[rows, first], weights[rows, second] = 1.0 - share, share
    return weights


def _inside(
    x: FloatArray, y: FloatArray, length: FloatArray, apex_x: FloatArray, apex_y: FloatArray
) -> BoolArray:
    return (y > 0.0) & ((apex_x - length) * y > apex_y * (x - length)) & (apex_y * x > apex_x * y)


def _squared_gap(
    t: FloatArray, x: FloatArray, y: FloatArray, edge_x: FloatArray, edge_y: FloatArray
) -> FloatArray:
    """Squared distance of (x, y) to the place at share t, clamped, of an edge from (0, 0)."""
    np.clip(t, 0.0, 1.0, out=t)
    gap_x, gap_y = x - t * edge_x, y - t * edge_y
    return gap_x * gap_x + gap_y * gap_y


def _towards_apex(x_axis: FloatArray, height: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Height and unit y axis; any direction across x where the apex lies on the edge."""
    # Once more square to x: for slivers the first step leaves a remainder as large as the height.
    height -= _dot(height, x_axis) * x_axis
    apex_y = np.sqrt(_dot(height, height))
    y_axis = height * _inverse(apex_y)
    flat = np.flatnonzero(apex_y <= 0.0)
    if len(flat):
        helper = np.zeros((3, len(flat)))
        helper[np.argmin(np.abs(x_axis[:, flat]), axis=0), np.arange(len(flat))] = 1.0
        across = _cross(x_axis[:, flat], helper)
        y_axis[:, flat] = across / np.sqrt(_dot(across, across))
    return apex_y, y_axis


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    dot: FloatArray = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return dot


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.stack(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )


def _inverse(values: FloatArray) -> FloatArray:
    """1 / values; zero for zeros, and for squares too small to be distinguished from them."""
    return np.divide(1.0, values, out=np.zeros_like(values), where=values > 1e-290)
