"""The exact closest point of one triangle to one point, for many pairs at once, in float64.

Each triangle carries an orthonormal frame: origin at a corner, x along its longest edge, y
towards the third corner, z along its normal. In that frame the triangle is flat and has
corners (0, 0), (length, 0) and (apex_x, apex_y) with 0 ≤ apex_x ≤ length, so that the closest
point is either the point's own (x, y) or the closest of three clamped edge projections.
Triangles without area need no special case: they are never entered, only their edges count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh.triangle_mesh import FloatArray, IntArray, TriangleMesh

INSIDE = 0
"""Feature code of a foot inside a face; 1 + k is edge k (from corner k to corner k + 1) and
4 + k is corner k, corners counted as in ``mesh.faces``."""

_ORIGIN, _X_AXIS, _Y_AXIS, _Z_AXIS = slice(0, 3), slice(3, 6), slice(6, 9), slice(9, 12)
_LENGTH, _APEX_X, _APEX_Y, _OPPOSITE_INVERSE, _RETURN_INVERSE = 12, 13, 14, 15, 16
_COLUMNS = 17


@dataclass(frozen=True)
class PairFeet:
    """Closest points of triangles to points, pair by pair, in the triangles' frames.

    Attributes
    ----------
    along, across : (k,) float
        Frame coordinates of the foot, mm.
    height : (k,) float
        Signed height of the point over the triangle's plane, mm.
    squared : (k,) float
        Squared distance, mm².
    side : (k,) int8
        0 inside; 1, 2, 3 the frame's edges (first to second corner, …).
    """

    along: FloatArray
    across: FloatArray
    height: FloatArray
    squared: FloatArray
    side: IntArray


class FaceFrames:
    """Frames of all faces of a mesh, one row each.

    Parameters
    ----------
    mesh : TriangleMesh
        At least one face.
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        corners = mesh.triangles
        edges = np.roll(corners, -1, axis=1) - corners
        first = np.argmax(np.einsum("fki,fki->fk", edges, edges), axis=1)
        rows = np.arange(len(first))
        origin = corners[rows, first]
        along = corners[rows, (first + 1) % 3] - origin
        to_apex = corners[rows, (first + 2) % 3] - origin
        length = np.linalg.norm(along, axis=1)
        x_axis = _unit_or(along, length, np.broadcast_to([1.0, 0.0, 0.0], along.shape))
        y_axis, z_axis = _complete_frame(x_axis, to_apex)
        apex_x = np.clip(_dot(to_apex, x_axis), 0.0, length)
        apex_y = np.maximum(_dot(to_apex, y_axis), 0.0)
        self.table = np.empty((len(first), _COLUMNS))
        self.table[:, _ORIGIN], self.table[:, _X_AXIS] = origin, x_axis
        self.table[:, _Y_AXIS], self.table[:, _Z_AXIS] = y_axis, z_axis
        self.table[:, _LENGTH] = length
        self.table[:, _APEX_X], self.table[:, _APEX_Y] = apex_x, apex_y
        self.table[:, _OPPOSITE_INVERSE] = _inverse((length - apex_x) ** 2 + apex_y**2)
        self.table[:, _RETURN_INVERSE] = _inverse(apex_x**2 + apex_y**2)
        self.first_corner = first.astype(np.int8)
        self.without_area = apex_y <= 0.0

    def feet(self, points: FloatArray, faces: IntArray) -> PairFeet:
        """Closest point of each face (k,) to the point of the same row (k, 3)."""
        frame = self.table.take(faces, axis=0)
        x, y, z = _to_frame(frame, points)
        length, apex_x, apex_y = frame[:, _LENGTH], frame[:, _APEX_X], frame[:, _APEX_Y]
        from_end, back = x - length, apex_x - length
        inside = (y > 0) & (back * y > apex_y * from_end) & (apex_y * x > apex_x * y)

        along = np.clip(x, 0.0, length)
        across = np.zeros_like(along)
        flat = (x - along) ** 2 + y * y
        side = np.ones(len(x), dtype=np.int8)

        t = np.clip((from_end * back + y * apex_y) * frame[:, _OPPOSITE_INVERSE], 0.0, 1.0)
        _keep_closer(2, length + t * back, t * apex_y, x, y, along, across, flat, side)
        t = np.clip((x * apex_x + y * apex_y) * frame[:, _RETURN_INVERSE], 0.0, 1.0)
        _keep_closer(3, t * apex_x, t * apex_y, x, y, along, across, flat, side)

        np.copyto(along, x, where=inside)
        np.copyto(across, y, where=inside)
        np.copyto(flat, 0.0, where=inside)
        np.copyto(side, 0, where=inside)
        return PairFeet(along, across, z, flat + z * z, side)

    def positions(self, faces: IntArray, along: FloatArray, across: FloatArray) -> FloatArray:
        """Frame coordinates (k,) on faces (k,) to space (k, 3), mm."""
        frame = self.table.take(faces, axis=0)
        foot = frame[:, _ORIGIN] + along[:, None] * frame[:, _X_AXIS]
        foot += across[:, None] * frame[:, _Y_AXIS]
        return foot

    def features(
        self, faces: IntArray, along: FloatArray, across: FloatArray, side: IntArray
    ) -> IntArray:
        """Feature codes (k,) of feet: inside, edge or corner, counted as in ``mesh.faces``."""
        frame = self.table.take(faces, axis=0)
        start = (along == 0.0) & (across == 0.0)
        end = (along == frame[:, _LENGTH]) & (across == 0.0)
        apex = (across == frame[:, _APEX_Y]) & ((across > 0.0) | (along == frame[:, _APEX_X]))
        first = self.first_corner[faces].astype(np.int64)
        feature = np.where(side == 0, INSIDE, 1 + (side - 1 + first) % 3)
        for k, corner in enumerate((start, end, apex)):
            at_corner = corner & (side > 0)
            feature[at_corner] = 4 + (k + first[at_corner]) % 3
        return feature.astype(np.int8)

    def barycentric(self, faces: IntArray, feet: FloatArray) -> FloatArray:
        """Weights (k, 3) of the corners of ``mesh.faces`` for feet (k, 3) on their faces."""
        frame = self.table.take(faces, axis=0)
        x, y, _ = _to_frame(frame, feet)
        length, apex_x, apex_y = frame[:, _LENGTH], frame[:, _APEX_X], frame[:, _APEX_Y]
        apex = np.clip(y * _inverse(apex_y), 0.0, 1.0)
        end = np.clip((x - apex * apex_x) * _inverse(length), 0.0, 1.0 - apex)
        in_frame = np.stack([1.0 - apex - end, end, apex], axis=1)
        order = (np.arange(3) - self.first_corner[faces][:, None]) % 3
        return np.take_along_axis(in_frame, order, axis=1)

    def normals(self, faces: IntArray) -> FloatArray:
        """Unit normals (k, 3); zero where the face has no area."""
        frame = self.table.take(faces, axis=0)
        return np.where(frame[:, _APEX_Y, None] > 0.0, frame[:, _Z_AXIS], 0.0)

    def angles(self, faces: IntArray, features: IntArray) -> FloatArray:
        """Angle (k,) that each face spans around a foot on its rim: π on an edge, radians."""
        frame = self.table.take(faces, axis=0)
        at_start = np.arctan2(frame[:, _APEX_Y], frame[:, _APEX_X])
        at_end = np.arctan2(frame[:, _APEX_Y], frame[:, _LENGTH] - frame[:, _APEX_X])
        corner = (features - 4 - self.first_corner[faces]) % 3
        at_corner = np.choose(corner, [at_start, at_end, np.pi - at_start - at_end])
        return np.where(features >= 4, at_corner, np.pi)


def _to_frame(frame: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    offset = points - frame[:, _ORIGIN]
    return (
        _dot(offset, frame[:, _X_AXIS]),
        _dot(offset, frame[:, _Y_AXIS]),
        _dot(offset, frame[:, _Z_AXIS]),
    )


def _keep_closer(
    code: int,
    edge_x: FloatArray,
    edge_y: FloatArray,
    x: FloatArray,
    y: FloatArray,
    along: FloatArray,
    across: FloatArray,
    flat: FloatArray,
    side: IntArray,
) -> None:
    other = (x - edge_x) ** 2 + (y - edge_y) ** 2
    closer = other < flat
    np.copyto(along, edge_x, where=closer)
    np.copyto(across, edge_y, where=closer)
    np.copyto(flat, other, where=closer)
    np.copyto(side, code, where=closer)


def _complete_frame(x_axis: FloatArray, to_apex: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Y and z axes; y points to the apex, or anywhere across x where the apex is on the edge."""
    height = to_apex - _dot(to_apex, x_axis)[:, None] * x_axis
    # A second pass: for slivers the first leaves a remainder along x as large as the height.
    height -= _dot(height, x_axis)[:, None] * x_axis
    size = np.linalg.norm(height, axis=1)
    least = np.zeros_like(x_axis)
    least[np.arange(len(x_axis)), np.argmin(np.abs(x_axis), axis=1)] = 1.0
    across = np.cross(x_axis, least)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    y_axis = _unit_or(height, size, across)
    return y_axis, np.cross(x_axis, y_axis)


def _unit_or(vectors: FloatArray, length: FloatArray, fallback: FloatArray) -> FloatArray:
    proper = length > 0.0
    scale = np.where(proper, length, 1.0)[:, None]
    return np.where(proper[:, None], vectors / scale, fallback)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    return a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1] + a[:, 2] * b[:, 2]


def _inverse(values: FloatArray) -> FloatArray:
    return np.divide(1.0, values, out=np.zeros_like(values), where=values > 1e-290)
