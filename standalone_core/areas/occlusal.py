"""Occlusal and axial surface: what of the external surface faces the antagonist, and the rest."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.curvature import summed_normals
from ..mesh.refine import EvaluationMesh
from .min_cut import largest_part


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
    normals = evaluation.interpolate(summed_normals(evaluation.design))
    least = np.cos(np.deg2rad(slope_deg)) * np.linalg.norm(normals, axis=1)
    facing = external & (normals @ axis > least)
    edges = face_sides(evaluation.mesh.faces[external[evaluation.mesh.faces[:, 0]]])
    weights = evaluation.weights_mm2
    table = largest_part(facing, edges, weights)
    axial = largest_part(external & ~table, edges, weights)
    return external & ~axial


def face_sides(faces: IntArray) -> IntArray:
    """Vertex pairs along the sides of faces, (3 m, 2); inner edges come twice."""
    return np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
