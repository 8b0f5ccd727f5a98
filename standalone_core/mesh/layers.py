"""Surface that lies over other surface of the same mesh: double layers, overlapping pieces.

A line through the surface of a solid goes in and comes out by turns, whatever the solid's shape:
thin walls, folds, undercuts and sharp rims all keep that order. Two crossings in a row that both
go in, or both come out, are surface lying over surface. If they are close and parallel they are a
double layer, such as two passes of a scanner that were not joined well. If they belong to two
closed pieces, these pieces overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..readable import place_words
from .columns import Crossings, crossings_along_axes
from .graph import components
from .shells import MAX_OPENING_SHARE
from .triangle_mesh import TriangleMesh

# All ours, no source. Scanners' passes that were not joined lie some 10 to 300 µm apart.
MAX_LAYER_GAP_MM = 0.35
# Sheets of one piece nearer than this are folds that noise of a few µm makes in fine meshes.
MIN_LAYER_GAP_MM = 0.003
MAX_LAYER_ANGLE_DEG = 30.0
MIN_LAYER_AREA_MM2 = 0.5
MIN_OVERLAP_MM = 0.003
SPACING_MM = 0.25
MOST_TOLD = 3

# Lines meet a surface that leans by up to 55° (the most to the nearest axis) 1.7 spacings apart.
_BESIDE = 2.0


@dataclass(frozen=True)
class DoubleLayer:
    """A place where a second sheet lies over the surface, facing the same way.

    Attributes
    ----------
    area_mm2 : float
        Of one of the two sheets, from a raster of lines.
    distance_um : float
        Between the sheets: the median.
    most_um : float
        The largest, of those up to ``MAX_LAYER_GAP_MM``.
    place_mm : (3,) tuple of float
        A point near the middle of the place, between the sheets.
    """

    area_mm2: float
    distance_um: float
    most_um: float
    place_mm: tuple[float, float, float]

    @property
    def words(self) -> str:
        """What and where it is, as a sentence."""
        return (
            f"A second layer of surface lies over {self.area_mm2:.1f} mm², about "
            f"{self.distance_um:.0f} µm (up to {self.most_um:.0f} µm) from the first, facing the "
            f"same way, around {place_words(self.place_mm, digits=2)} mm. What is measured there "
            "may belong to either."
        )


@dataclass(frozen=True)
class PieceOverlap:
    """Two closed pieces that take up the same space.

    Attributes
    ----------
    pieces : (2,) tuple of int
        Their numbers in ``mesh.graph.piece_of_face``.
    volume_mm3 : float
        Of the space that both take up, from a raster of lines.
    place_mm : (3,) tuple of float
        A point within that space.
    """

    pieces: tuple[int, int]
    volume_mm3: float
    place_mm: tuple[float, float, float]

    @property
    def words(self) -> str:
        """What and where it is, as a sentence."""
        return (
            f"Two pieces overlap: {self.volume_mm3:.3g} mm³ around "
            f"{place_words(self.place_mm, digits=2)} mm belong to both."
        )


@dataclass(frozen=True)
class Overlaps:
    """Where surface lies over surface, largest first.

    Attributes
    ----------
    layers : tuple of DoubleLayer
    pieces : tuple of PieceOverlap
    """

    layers: tuple[DoubleLayer, ...] = ()
    pieces: tuple[PieceOverlap, ...] = ()

    @property
    def words(self) -> tuple[str, ...]:
        """What there is, a sentence each; of many, the largest."""
        return (*_largest(self.layers, "double layers"), *_largest(self.pieces, "overlaps"))


def find_overlaps(mesh: TriangleMesh, outward: BoolArray | None = None) -> Overlaps:
    """Find double layers and overlapping pieces. O(m), and O(k log k) in the k lines' crossings.

    Parameters
    ----------
    mesh : TriangleMesh
    outward : (m,) bool, optional
        Faces wound counter-clockwise seen from outside; all by default.
    """
    if not len(mesh) or not np.isfinite(np.prod(mesh.bounds[1] - mesh.bounds[0])):
        return Overlaps()
    every = crossings_along_axes(mesh, SPACING_MM)
    stacks = [_Stack.of(mesh, found, outward) for found in every]
    return Overlaps(_layers(stacks), _pieces(mesh, stacks))


@dataclass(frozen=True, eq=False)
class _Stack:
    """Crossings along an axis with what is known of each, (k,) or (k, 3)."""

    found: Crossings
    upward: BoolArray
    normals: FloatArray
    piece: IntArray

    @classmethod
    def of(cls, mesh: TriangleMesh, found: Crossings, outward: BoolArray | None) -> _Stack:
        normals = mesh.face_normals[found.face]
        if outward is not None:
            normals = np.where(outward[found.face][:, None], normals, -normals)
        piece = mesh.graph.piece_of_face[found.face]
        return cls(found, normals[:, found.axis] > 0, normals, piece)

    def kept(self, mask: BoolArray) -> _Stack:
        """Return the stack of some of its crossings."""
        found = self.found
        part = Crossings(
            found.axis,
            found.spacing_mm,
            found.line[mask],
            found.face[mask],
            found.points_mm[mask],
        )
        return _Stack(part, self.upward[mask], self.normals[mask], self.piece[mask])

    @property
    def repeats(self) -> BoolArray:
        """Whether a crossing and the next one on its line go the same way, (k − 1,)."""
        same: BoolArray = self.found.follows & (self.upward[1:] == self.upward[:-1])
        return same


def _layers(stacks: list[_Stack]) -> tuple[DoubleLayer, ...]:
    from scipy.spatial import cKDTree

    points, areas, gaps = (
        np.concatenate(parts) for parts in zip(*map(_layer_samples, stacks), strict=True)
    )
    if areas.sum() < MIN_LAYER_AREA_MM2:
        return ()
    reach = _BESIDE * stacks[0].found.spacing_mm
    near = cKDTree(points).query_pairs(reach, output_type="ndarray").astype(np.int64)
    patch = components(near, len(points))
    found = []
    for k in np.flatnonzero(np.bincount(patch, weights=areas) >= MIN_LAYER_AREA_MM2):
        mine = patch == k
        found.append(_double_layer(points[mine], areas[mine], gaps[mine]))
    return tuple(sorted(found, key=lambda layer: -layer.area_mm2))


def _layer_samples(stack: _Stack) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return middles (k, 3), areas (k,) and distances (k,) where parallel sheets are close.

    Each place counts along the axis that it faces most, where it stands for the most lines.
    """
    lower = np.flatnonzero(stack.repeats)
    axis, spacing = stack.found.axis, stack.found.spacing_mm
    normals = stack.normals[lower] + stack.normals[lower + 1]
    length = np.linalg.norm(normals, axis=1)
    facing = np.abs(normals[:, axis]) / np.maximum(length, np.finfo(float).tiny)
    rise = stack.found.heights_mm[lower + 1] - stack.found.heights_mm[lower]
    gap = rise * facing
    is_layer = length >= 2.0 * np.cos(np.radians(0.5 * MAX_LAYER_ANGLE_DEG))
    is_layer &= np.abs(normals).argmax(axis=1) == axis
    is_layer &= gap <= MAX_LAYER_GAP_MM
    is_layer &= (gap >= MIN_LAYER_GAP_MM) | (stack.piece[lower] != stack.piece[lower + 1])
    lower, gap, facing = lower[is_layer], gap[is_layer], facing[is_layer]
    middles = 0.5 * (stack.found.points_mm[lower] + stack.found.points_mm[lower + 1])
    return middles, spacing**2 / facing, gap


def _double_layer(points: FloatArray, areas: FloatArray, gaps: FloatArray) -> DoubleLayer:
    return DoubleLayer(
        area_mm2=float(areas.sum()),
        distance_um=1e3 * float(np.median(gaps)),
        most_um=1e3 * float(gaps.max()),
        place_mm=_central(points, areas),
    )


def _pieces(mesh: TriangleMesh, stacks: list[_Stack]) -> tuple[PieceOverlap, ...]:
    """Return the pairs of closed pieces that take up the same space.

    Between two crossings in a row that both go in, of two pieces, a line has gone into both: the
    space from there to the next crossing belongs to both.
    """
    closed = _closed_pieces(mesh)
    if np.count_nonzero(closed) < 2:
        return ()
    spans = [_shared_spans(stack, closed, len(closed)) for stack in stacks]
    pairs, points, lengths, axes = (np.concatenate(parts) for parts in zip(*spans, strict=True))
    cell = stacks[0].found.spacing_mm ** 2
    found = []
    for pair in np.unique(pairs):
        mine = pairs == pair
        if cell * np.bincount(axes[mine]).max() >= MIN_LAYER_AREA_MM2:
            found.append(
                PieceOverlap(
                    pieces=(int(pair) // len(closed), int(pair) % len(closed)),
                    volume_mm3=cell * float(lengths[mine].sum()) / len(stacks),
                    place_mm=_central(points[mine], lengths[mine]),
                )
            )
    return tuple(sorted(found, key=lambda overlap: -overlap.volume_mm3))


def _closed_pieces(mesh: TriangleMesh) -> BoolArray:
    """Return which pieces are closed or nearly so in all their shells, (p,)."""
    piece, shells = mesh.graph.piece_of_face, mesh.shells
    closed = np.ones(int(piece.max(initial=-1)) + 1, dtype=bool)
    closed[piece[shells.opening_share[shells.shell_of_face] > MAX_OPENING_SHARE]] = False
    return closed


def _shared_spans(
    stack: _Stack, closed: BoolArray, piece_count: int
) -> tuple[IntArray, FloatArray, FloatArray, IntArray]:
    """Return pairs of pieces, middles (k, 3), lengths and axes of lines within both, (k,) each.

    A piece counts on a line only if it is entered as often as it is left there: a line that
    passes through a hole of a nearly closed one says nothing about it.
    """
    stack = stack.kept(closed[stack.piece])
    key = np.unique(stack.found.line * piece_count + stack.piece, return_inverse=True)[1]
    balance = np.bincount(key, weights=np.where(stack.upward, 1.0, -1.0))
    stack = stack.kept(balance[key] == 0)
    lower = np.flatnonzero(stack.repeats & (stack.piece[1:] != stack.piece[:-1]))
    # Going in looks down along the axis: the space shared begins at the second of the two.
    lower = lower[~stack.upward[lower]] + 1
    heights, points = stack.found.heights_mm, stack.found.points_mm
    length = heights[lower + 1] - heights[lower]
    lower, length = lower[length >= MIN_OVERLAP_MM], length[length >= MIN_OVERLAP_MM]
    one, other = stack.piece[lower - 1], stack.piece[lower]
    pair = np.minimum(one, other) * piece_count + np.maximum(one, other)
    middles = 0.5 * (points[lower] + points[lower + 1])
    return pair, middles, length, np.full(len(lower), stack.found.axis)


def _largest(found: Sequence[DoubleLayer | PieceOverlap], what: str) -> tuple[str, ...]:
    told = tuple(item.words for item in found[:MOST_TOLD])
    smaller = len(found) - len(told)
    return (*told, f"{smaller:,} smaller {what} of this kind.") if smaller else told


def _central(points: FloatArray, weights: FloatArray) -> tuple[float, float, float]:
    """Return the point nearest to the weighted middle of points (k, 3)."""
    middle = np.average(points, axis=0, weights=weights)
    x, y, z = points[np.argmin(((points - middle) ** 2).sum(axis=1))]
    return float(x), float(y), float(z)
