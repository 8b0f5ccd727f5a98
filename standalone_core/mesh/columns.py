"""Where parallel lines, evenly spaced, cross a surface: every sheet in its order.

The lines run along one axis of the coordinates through a square grid. A line crosses a triangle
where its grid point lies inside the triangle's outline seen along the axis. Outlines count half
open, like pixels in a raster, and each edge is cut by the same arithmetic whichever triangle asks:
a line through the closed surface of a solid meets it going in and coming out by turns.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray, ragged
from .triangle_mesh import TriangleMesh

# More cuts of grid rows with triangles than this, and the grid is made coarser.
MAX_ROWS = 4_000_000
MAX_LINES = 250_000

# So that no grid point lies on the edges of a surface that is itself laid out in a grid.
_OFFSET = np.array([0.37, 0.59, 0.83])


@dataclass(frozen=True, eq=False)
class Crossings:
    """Where lines along an axis cross a surface, line by line and upward within a line.

    Attributes
    ----------
    axis : int
    spacing_mm : float
        Between neighbouring lines.
    line : (k,) int
        Number of the line; lines that cross nothing have none here.
    face : (k,) int
    points_mm : (k, 3) float
    """

    axis: int
    spacing_mm: float
    line: IntArray
    face: IntArray
    points_mm: FloatArray

    @property
    def heights_mm(self) -> FloatArray:
        """Coordinates along the axis, (k,)."""
        return self.points_mm[:, self.axis]

    @property
    def follows(self) -> BoolArray:
        """Whether a crossing and the next one are on the same line, (k − 1,)."""
        same: BoolArray = self.line[1:] == self.line[:-1]
        return same


def crossings_along_axes(mesh: TriangleMesh, spacing_mm: float) -> tuple[Crossings, ...]:
    """Return where the lines of a grid along each axis cross a mesh. O(m + k log k).

    Parameters
    ----------
    mesh : TriangleMesh
        With at least one face.
    spacing_mm : float
        Between neighbouring lines; doubled until the lines are few enough to be followed.
    """
    sides = mesh.bounds[1] - mesh.bounds[0]
    widest = max(float(sides[k] * sides[k - 1]) for k in range(3))
    spacing_mm = max(spacing_mm, (widest / MAX_LINES) ** 0.5)
    while True:
        origin = mesh.bounds[0] - _OFFSET * spacing_mm
        scaled = (mesh.vertices - origin) / spacing_mm
        spans = _spans(mesh.faces, scaled)
        faces = [np.flatnonzero(spans[k - 2] & spans[k - 1]) for k in range(3)]
        rows = max(_count_rows(scaled[:, k - 2], mesh.faces[f]) for k, f in enumerate(faces))
        if rows <= MAX_ROWS:
            return tuple(
                _crossings(mesh, axis, face, scaled, origin, spacing_mm)
                for axis, face in enumerate(faces)
            )
        spacing_mm *= 2.0


def _spans(faces: IntArray, scaled: FloatArray) -> list[BoolArray]:
    """Return for each coordinate which faces reach across a whole number, three of (m,)."""
    found: list[BoolArray] = []
    for k in range(3):
        after = np.ceil(scaled[:, k]).astype(np.int32)[faces]
        found.append((after[:, 0] != after[:, 1]) | (after[:, 1] != after[:, 2]))
    return found


def _count_rows(coordinate: FloatArray, faces: IntArray) -> int:
    return int(np.ptp(np.ceil(coordinate[faces]), axis=1).sum()) if len(faces) else 0


def _crossings(
    mesh: TriangleMesh,
    axis: int,
    face: IntArray,
    scaled: FloatArray,
    origin: FloatArray,
    spacing_mm: float,
) -> Crossings:
    """Cross the lines along an axis with the faces that can meet one."""
    u, v = (axis + 1) % 3, (axis + 2) % 3
    corners = scaled[mesh.faces[face]][:, :, [u, v, axis]]
    row, owner, left, right = _cut_by_rows(corners)
    first = np.ceil(left[:, 0]).astype(np.int64)
    cut, nth = ragged(np.ceil(right[:, 0]).astype(np.int64) - first)
    place = first[cut] + nth
    share = (place - left[cut, 0]) / (right[cut, 0] - left[cut, 0])
    height = left[cut, 1] + share * (right[cut, 1] - left[cut, 1])
    line = row[cut] * (int(place.max(initial=0)) + 1) + place
    order = np.lexsort((height, line))
    points = np.empty((len(order), 3))
    points[:, u], points[:, v], points[:, axis] = row[cut][order], place[order], height[order]
    return Crossings(
        axis, spacing_mm, line[order], face[owner[cut[order]]], points * spacing_mm + origin
    )


def _cut_by_rows(corners: FloatArray) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Cut triangles (f, 3, 3) by the grid's rows, where the first coordinate is a whole number.

    Returns
    -------
    row, owner : (r,) int
        Row and triangle of each cut.
    left, right : (r, 2) float
        The other two coordinates where the cut begins and ends, lower second coordinate first.
    """
    order = np.argsort(corners[:, :, 0], axis=1, kind="stable")
    corners = np.take_along_axis(corners, order[:, :, None], axis=1)
    begin = np.ceil(corners[:, :, 0]).astype(np.int64)
    owner, nth = ragged(begin[:, 2] - begin[:, 0])
    row = begin[owner, 0] + nth
    low, middle, high = (corners[owner, k] for k in range(3))
    is_low = (row < begin[owner, 1])[:, None]
    one = _on_edge(low, high, row)
    other = _on_edge(np.where(is_low, low, middle), np.where(is_low, middle, high), row)
    swapped = (one[:, 0] > other[:, 0])[:, None]
    return row, owner, np.where(swapped, other, one), np.where(swapped, one, other)


def _on_edge(low: FloatArray, high: FloatArray, row: IntArray) -> FloatArray:
    """Return the second and third coordinate where edges (r, 3) have the first one given."""
    share = (row - low[:, 0]) / (high[:, 0] - low[:, 0])
    on_edge: FloatArray = low[:, 1:] + share[:, None] * (high[:, 1:] - low[:, 1:])
    return on_edge
