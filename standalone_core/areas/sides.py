"""Which faces of a crown are external and which belong to the intaglio."""

from __future__ import annotations

import numpy as np

from ..mesh.graph import mesh_graph
from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray, TriangleMesh
from .min_cut import cheapest_parting, enclosed_by, largest_part, without_islands
from .settings import AreaSettings

_FLAT_COST = 0.02  # what a sharp edge still costs, as a share of a flat one
_TIE_COST_PER_MM = 2.0  # pull of a face by its normal, per mm² of face, against edge lengths


def external_faces(
    mesh: TriangleMesh, axis: FloatArray, centre_mm: FloatArray, settings: AreaSettings
) -> BoolArray:
    """Part a closed crown along its rim into external surface and intaglio.

    Faces that clearly look outward or up are external, faces that clearly look inward are
    intaglio. Between them the boundary is the cheapest of all closed boundaries, where a millimetre
    along a sharp convex edge costs next to nothing. Islands go to the side around them.

    Parameters
    ----------
    mesh : TriangleMesh
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
    external = (outward > settings.outward_share) | (up > settings.upward_share)
    intaglio = (outward < -settings.outward_share) & ~external
    pairs = mesh_graph(mesh).face_pairs
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
    """Component of each face's normal away from the axis line."""
    arm = mesh.vertices[mesh.faces[:, 0]] - centre_mm
    arm -= (arm @ axis)[:, None] * axis
    length = np.maximum(np.linalg.norm(arm, axis=1), 1e-12)
    share: FloatArray = np.einsum("ij,ij->i", mesh.face_normals, arm) / length
    return share


def edge_turns(mesh: TriangleMesh, rows: IntArray) -> tuple[FloatArray, FloatArray]:
    """Length (mm) and turn (radians, convex > 0) of the edge between pairs of faces.

    ``rows`` says which of the graph's ``face_pairs``.
    """
    graph = mesh_graph(mesh)
    side = graph.inner_sides[rows, 0]
    along = mesh.vertices[graph.side_ends[side]] - mesh.vertices[graph.side_starts[side]]
    length = np.linalg.norm(along, axis=1)
    first, second = (mesh.face_normals[graph.face_pairs[rows, k]] for k in (0, 1))
    sine = np.einsum("ij,ij->i", np.cross(first, second), along)
    cosine = np.einsum("ij,ij->i", first, second)
    return length, np.arctan2(sine / np.maximum(length, 1e-12), cosine)
