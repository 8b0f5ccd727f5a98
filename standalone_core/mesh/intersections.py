"""Triangles of a mesh that pass through each other.

Boxes in a binary tree, sorted along a Z-order curve, show which triangles can meet; two triangles
pass through each other if an edge of one has its ends on both sides of the other and crosses it
within its outline. Triangles that share a vertex are not compared, and touching is not passing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..arrays import BoolArray, FloatArray, IntArray
from ..readable import place_words
from .health import counted, degenerate_faces
from .morton import curve_order
from .triangle_mesh import TriangleMesh

# Beyond this many pairs a mesh is broken and their exact number says nothing.
MAX_PAIRS = 1_000_000
# Candidate pairs compared at most, for a mesh whose triangles lie all over each other.
MAX_COMPARED = 20_000_000
# Depth, as a share of the largest coordinate, that float32 coordinates of a file leave uncertain.
DEPTH_SHARE = 3e-7

_AT_ONCE = 200_000


@dataclass(frozen=True)
class SelfIntersections:
    """What passes through itself.

    Attributes
    ----------
    pairs : int
        Pairs of triangles that pass through each other.
    complete : bool
        All pairs were compared and counted; if not, there may be more.
    place_mm : (3,) tuple of float or None
        Where one of them does, near the middle of all; None without any.
    """

    pairs: int
    complete: bool
    place_mm: tuple[float, float, float] | None

    @property
    def words(self) -> str:
        """How many and where, as a sentence; empty without any."""
        if self.place_mm is None:
            return ""
        pairs = counted(self.pairs, "pair", "pairs")
        more = "" if self.complete else "At least "
        verb = "passes" if self.pairs == 1 else "pass"
        return (
            f"{more}{pairs} of triangles {verb} through each other, as at "
            f"{place_words(self.place_mm, digits=2)} mm."
        )


class _Boxes(NamedTuple):
    """Bounding boxes of the nodes of a level, (3, n) each; empty ones are inside out."""

    low: NDArray[np.float32]
    high: NDArray[np.float32]


def self_intersections(mesh: TriangleMesh) -> SelfIntersections:
    """Count the pairs of triangles without a common vertex that pass through each other.

    O(m log m) for a surface; bounded by ``MAX_COMPARED`` where triangles crowd.

    Parameters
    ----------
    mesh : TriangleMesh
        Equal vertices merged; otherwise neighbours, too, are compared.
    """
    faces = np.flatnonzero(~degenerate_faces(mesh))
    if not len(faces):
        return SelfIntersections(0, True, None)
    faces = faces[curve_order(mesh.triangles[faces].mean(axis=1))]
    corners = mesh.vertices - mesh.bounds.mean(axis=0)
    depth = DEPTH_SHARE * float(np.abs(mesh.bounds).max())
    levels = _levels(corners[mesh.faces[faces]], depth)
    places: list[FloatArray] = []
    waiting = [(0, np.zeros((1, 2), dtype=np.int64))]
    found = compared = 0
    while waiting and found < MAX_PAIRS and compared < MAX_COMPARED:
        level, pairs = waiting.pop()
        if level + 1 < len(levels):
            waiting += [(level + 1, part) for part in _children(pairs, levels[level + 1])]
            continue
        pairs = faces[pairs[pairs[:, 0] != pairs[:, 1]]]
        pairs = pairs[~_share_vertex(mesh.faces, pairs)]
        compared += len(pairs)
        place = _crossing_places(corners, mesh.faces, pairs, depth)
        found += len(place)
        places.append(place)
    middle = _central(np.concatenate(places)) if found else None
    place_mm = None if middle is None else middle + mesh.bounds.mean(axis=0)
    return SelfIntersections(
        found,
        not waiting,
        None if place_mm is None else (float(place_mm[0]), float(place_mm[1]), float(place_mm[2])),
    )


def _levels(triangles: FloatArray, depth: float) -> list[_Boxes]:
    """Return the boxes of every level, the root first, the triangles (m, 3, 3) last."""
    count = 1 << (len(triangles) - 1).bit_length()
    low = np.full((3, count), np.inf, dtype=np.float32)
    high = np.full((3, count), -np.inf, dtype=np.float32)
    # A depth to spare on either side, more than float32 rounds away.
    low[:, : len(triangles)] = triangles.min(axis=1).T - depth
    high[:, : len(triangles)] = triangles.max(axis=1).T + depth
    levels = [_Boxes(low, high)]
    while low.shape[1] > 1:
        low = np.minimum(low[:, 0::2], low[:, 1::2])
        high = np.maximum(high[:, 0::2], high[:, 1::2])
        levels.append(_Boxes(low, high))
    return levels[::-1]


def _children(pairs: IntArray, boxes: _Boxes) -> list[IntArray]:
    """Return the pairs of the next level whose boxes meet, cut into bearable parts."""
    same = pairs[:, 0] == pairs[:, 1]
    own, one, other = 2 * pairs[same, 0], 2 * pairs[~same, 0], 2 * pairs[~same, 1]
    first = np.concatenate([own, one, one, one + 1, one + 1])
    second = np.concatenate([own + 1, other, other + 1, other, other + 1])
    for low, high in zip(boxes.low, boxes.high, strict=True):
        meets = (low.take(first) <= high.take(second)) & (low.take(second) <= high.take(first))
        first, second = first[meets], second[meets]
    found = np.stack(
        [np.concatenate([own, own + 1, first]), np.concatenate([own, own + 1, second])], axis=1
    )
    return [found[k : k + _AT_ONCE] for k in range(0, len(found), _AT_ONCE)]


def _share_vertex(faces: IntArray, pairs: IntArray) -> BoolArray:
    one, other = faces[pairs[:, 0]], faces[pairs[:, 1]]
    shares = np.zeros(len(pairs), dtype=bool)
    for k in range(3):
        shares |= (one == other[:, k, None]).any(axis=1)
    return shares


def _crossing_places(
    corners: FloatArray, faces: IntArray, pairs: IntArray, depth: float
) -> FloatArray:
    """Return a point for each pair of triangles that pass through each other, (k, 3)."""
    one, other = corners[faces[pairs[:, 0]]], corners[faces[pairs[:, 1]]]
    for first, second in ((0, 1), (1, 0)):
        away = _heights((one, other)[first], (one, other)[second])
        both_sides = (away.min(axis=1) < -depth) & (away.max(axis=1) > depth)
        one, other = one[both_sides], other[both_sides]
    place = np.full((len(one), 3), np.nan)
    for edges, triangle in ((one, other), (other, one)):
        away = _heights(edges, triangle)
        for k in range(3):
            begin, end = edges[:, k], edges[:, (k + 1) % 3]
            through = _passes(begin, end, away[:, k], away[:, (k + 1) % 3], triangle, depth)
            place = np.where(np.isnan(place), through, place)
    found: FloatArray = place[np.isfinite(place[:, 0])]
    return found


def _heights(points: FloatArray, triangle: FloatArray) -> FloatArray:
    """Return the heights of points (k, 3, 3) above the planes of triangles (k, 3, 3), (k, 3)."""
    heights: FloatArray = np.einsum("kci,ki->kc", points - triangle[:, :1], _normals(triangle))
    return heights


def _passes(
    begin: FloatArray,
    end: FloatArray,
    height_begin: FloatArray,
    height_end: FloatArray,
    triangle: FloatArray,
    depth: float,
) -> FloatArray:
    """Return where edges pass through triangles, (k, 3); NaN where they do not.

    The ends must lie on both sides of the plane and the place within the outline, all of it
    deeper than ``depth``: what ends on another triangle, or runs along its rim, only touches it.
    """
    place = np.full_like(begin, np.nan)
    sides = np.minimum(np.abs(height_begin), np.abs(height_end)) > depth
    sides &= (height_begin > 0) != (height_end > 0)
    begin, end, triangle = begin[sides], end[sides], triangle[sides]
    share = height_begin[sides] / (height_begin - height_end)[sides]
    point = begin + share[:, None] * (end - begin)
    normal = _normals(triangle)
    inside = np.ones(len(point), dtype=bool)
    for k in range(3):
        side = triangle[:, (k + 1) % 3] - triangle[:, k]
        inwards = np.cross(normal, side)
        within = np.einsum("ki,ki->k", point - triangle[:, k], inwards)
        inside &= within > depth * np.linalg.norm(side, axis=1)
    place[np.flatnonzero(sides)[inside]] = point[inside]
    return place


def _normals(triangle: FloatArray) -> FloatArray:
    normal = np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0])
    unit: FloatArray = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    return unit


def _central(points: FloatArray) -> FloatArray:
    """Return the point nearest to the middle of points (k, 3)."""
    central: FloatArray = points[((points - points.mean(axis=0)) ** 2).sum(axis=1).argmin()]
    return central
