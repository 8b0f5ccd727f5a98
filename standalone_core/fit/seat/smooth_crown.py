"""A crown whose measuring points lie on the smooth surface that its own triangles stand for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...mesh.refine import evaluation_mesh
from ...mesh.triangle_mesh import TriangleMesh
from ...surface.closest import SurfaceIndex
from ..crown import FitCrown
from .facets import Facets


def smooth_crown(crown: FitCrown) -> FitCrown:
    """Lift the points that were placed on long edges off these, onto the smooth surface.

    Points in the middle of a large triangle lie as far below the surface as the triangle does;
    held against a die they would lift or lower a crown by that over the sine of its taper. A
    crown none of whose edges was divided is returned as it is.

    Parameters
    ----------
    crown : FitCrown

    Returns
    -------
    FitCrown
        Point for point; its points are now its mesh's own vertices.
    """
    evaluation = crown.evaluation
    count = len(evaluation.design.vertices)
    if len(evaluation.points) == count:
        return crown
    facets = Facets(evaluation.design)
    face, weights = evaluation.point_face[count:], evaluation.point_barycentric[count:]
    points = evaluation.points.copy()
    points[count:] += facets.above_mm(face, weights)[:, None] * facets.normals(face, weights)
    mesh = TriangleMesh(points, evaluation.mesh.faces, evaluation.design.name)
    longest = float(np.linalg.norm(np.ptp(points, axis=0)))
    area_set = replace(crown.area_set, evaluation=evaluation_mesh(mesh, longest))
    index = SurfaceIndex(mesh, threads=crown.index.threads)
    return replace(crown, area_set=area_set, index=index)
