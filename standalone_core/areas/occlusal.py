"""Occlusal and axial surface: what of the external surface faces the antagonist, and the rest."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from ..mesh.refine import EvaluationMesh
from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray


def occlusal_points(
    evaluation: EvaluationMesh, external: BoolArray, axis: FloatArray, slope_deg: float
) -> BoolArray:
    """Find the external surface whose slope against the path of insertion is small enough.

    It is taken in one piece, the largest, and steeper places inside it (walls of fissures)
    belong to it. Normals are interpolated from the design's vertices, so that the boundary lies
    within edges and not on them.

    Parameters
    ----------
    evaluation : EvaluationMesh
    external : (n',) bool
        External points.
    axis : (3,) float
        Path of insertion.
    slope_deg : float
        Largest angle between normal and path of insertion.

    Returns
    -------
    (n',) bool
    """
    normals = evaluation.interpolate(evaluation.design.vertex_normals)
    length = np.maximum(np.linalg.norm(normals, axis=1), 1e-12)
    facing = external & (normals @ axis > np.cos(np.deg2rad(slope_deg)) * length)
    edges = face_sides(evaluation.mesh.faces)
    weights = evaluation.weights_mm2
    table = largest_part(facing, edges, weights)
    around = largest_part(~table, edges, weights)
    return external & ~around


def face_sides(faces: IntArray) -> IntArray:
    """Vertex pairs along the sides of faces, (3 m, 2); inner edges come twice."""
    return np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])


def largest_part(points: BoolArray, edges: IntArray, weights: FloatArray) -> BoolArray:
    """Keep the connected part of a set of points with the largest weight, (n,) bool."""
    if not points.any():
        return points.copy()
    part = part_of_points(points, edges)
    heaviest = np.bincount(part[points], weights=weights[points]).argmax()
    largest: BoolArray = points & (part == heaviest)
    return largest


def part_of_points(points: BoolArray, edges: IntArray) -> IntArray:
    """Number the connected parts of a set of points, (n,) int; −1 outside the set."""
    index = np.cumsum(points) - 1
    inside = index[edges[points[edges].all(axis=1)]]
    count = int(points.sum())
    ones = np.ones(len(inside), dtype=np.int8)
    graph = coo_matrix((ones, (inside[:, 0], inside[:, 1])), shape=(count, count))
    part = np.full(len(points), -1)
    part[points] = connected_components(graph, directed=False)[1]
    return part
