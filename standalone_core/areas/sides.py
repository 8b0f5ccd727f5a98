"""Which faces of a crown are external and which belong to the intaglio."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.triangle_mesh import TriangleMesh
from .min_cut import cheapest_parting, enclosed_by, largest_part, without_islands
from .settings import AreaSettings

_COVER_CELL_SHARE = 0.25  # so that a slope of 70° does not cover itself within a cell
_FLAT_COST = 0.02  # what a sharp edge still costs, as a share of a flat one
_TIE_COST_PER_MM = 2.0  # pull of a face by its normal, per mm² of face, against edge lengths


def external_faces(
    mesh: TriangleMesh,
    surface_points: FloatArray,
    axis: FloatArray,
    centre_mm: FloatArray,
    settings: AreaSettings,
) -> BoolArray:
    """Part a closed crown along its rim into external surface and intaglio.

    Faces that clearly look outward, or up with nothing above them, are external; faces that
    clearly look inward, or up at the roof, are intaglio. Between them the boundary is the
    cheapest of all closed boundaries, where a millimetre along a sharp convex edge costs next
    to nothing. Islands go to the side around them.

    Parameters
    ----------
    mesh : TriangleMesh
    surface_points : (n, 3) float
        Points all over the surface, dense, mm.
    axis : (3,) float
        Path of insertion.
    centre_mm : (3,) float
        Middle of the cavity's mouth.
    settings : AreaSettings

    Returns
    -------
    (m,) bool
    """
    outward = _outward_share(mesh, axis, centre_mm)
    up = mesh.face_normals @ axis
    upward = up > settings.upward_share
    covered = _covered(mesh, upward, surface_points, axis, settings.cover_mm)
    external = (~upward & (outward > settings.outward_share)) | (upward & ~covered)
    intaglio = (~upward & (outward < -settings.outward_share)) | (upward & covered)
    pairs = mesh.graph.face_pairs
    external = largest_part(external, pairs, mesh.face_areas)  # slopes of the roof look outward
    open_ = _with_unknown(pairs, ~external & ~intaglio)
    intaglio |= enclosed_by(intaglio, external, pairs[open_])  # the roof
    open_ = open_[_with_unknown(pairs[open_], ~external & ~intaglio)]
    length, turn = edge_turns(mesh, open_)
    ease = np.exp(-np.maximum(turn, 0.0) / np.deg2rad(settings.sharp_edge_deg))
    pull = (outward - settings.rim_outward_share) * mesh.face_areas * _TIE_COST_PER_MM
    external = cheapest_parting(
        external, intaglio, pairs[open_], length * (_FLAT_COST + ease), pull
    )
    return without_islands(external, pairs, mesh.face_areas)


def _with_unknown(pairs: IntArray, unknown: BoolArray) -> IntArray:
    return np.flatnonzero(unknown[pairs[:, 0]] | unknown[pairs[:, 1]])


def _outward_share(mesh: TriangleMesh, axis: FloatArray, centre_mm: FloatArray) -> FloatArray:
    """Component of each face's normal away from the crown's middle line.

    The line goes through the middle of the mouth and the middle of the surface: front teeth
    lean against their path of insertion.
    """
    arm = mesh.vertices[mesh.faces[:, 0]] - centre_mm
    middle = mesh.face_areas @ arm
    # At most 60° of lean: a middle beside the mouth does not turn the line over.
    rise = max(float(middle @ axis), 0.5 * float(np.linalg.norm(middle)), 1e-12)
    lean = middle / rise
    arm -= (arm @ axis)[:, None] * lean
    length = np.maximum(np.linalg.norm(arm, axis=1), 1e-12)
    share: FloatArray = np.einsum("ij,ij->i", mesh.face_normals, arm) / length
    return share


def _covered(
    mesh: TriangleMesh,
    chosen: BoolArray,
    surface_points: FloatArray,
    axis: FloatArray,
    cover_mm: float,
) -> BoolArray:
    """Which of the chosen faces have surface at least ``cover_mm`` above them, (m,)."""
    frame = np.linalg.svd(axis[None])[2]  # two directions across the axis in rows 1 and 2
    frame[0] = axis
    height, *places = frame @ surface_points.T
    cell = _COVER_CELL_SHARE * cover_mm
    low, high = np.min(places, axis=1), np.max(places, axis=1)
    rows_of_cells, width = ((high - low) / cell).astype(np.int64) + 1
    order = np.argsort(height)  # the last write, the highest, stays
    top = np.full(rows_of_cells * width, -np.inf)
    top[_cells(places, low, cell, width)[order]] = height[order]
    rows = np.flatnonzero(chosen)
    corner_height, *corners = frame @ mesh.vertices[mesh.faces[rows, 0]].T
    covered = np.zeros(len(mesh), dtype=bool)
    covered[rows] = top[_cells(corners, low, cell, width)] > corner_height + cover_mm
    return covered


def _cells(places: list[FloatArray], low: FloatArray, cell: float, width: int) -> IntArray:
    """Number of the square cell that each place (two coordinates) lies in."""
    first, second = (
        ((place - start) / cell).astype(np.int64) for place, start in zip(places, low, strict=True)
    )
    numbers: IntArray = first * width + second
    return numbers


def edge_turns(mesh: TriangleMesh, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """Length (mm) and turn (radians, convex > 0) of the edge between pairs of faces.

    ``rows`` says which of the graph's ``face_pairs``.
    """
    graph = mesh.graph
    side = graph.inner_sides[rows, 0]
    along = mesh.vertices[graph.side_ends[side]] - mesh.vertices[graph.side_starts[side]]
    length = np.linalg.norm(along, axis=1)
    first, second = (mesh.face_normals[graph.face_pairs[rows, k]] for k in (0, 1))
    sine = np.einsum("ij,ij->i", np.cross(first, second), along)
    cosine = np.einsum("ij,ij->i", first, second)
    return length, np.arctan2(sine / np.maximum(length, 1e-12), cosine)
