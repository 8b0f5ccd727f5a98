"""Contact zones: where a crown touches its mesial and distal neighbours."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..mesh.geodesics import geodesic_distance, polyline_sources
from ..mesh.triangle_mesh import TriangleMesh


def contact_points(
    mesh: TriangleMesh,
    axial: BoolArray,
    direction: FloatArray,
    *,
    radius_mm: float,
    depth_mm: float,
) -> BoolArray:
    """Find the zone about the place of the axial surface that stands out most in a direction.

    Parameters
    ----------
    mesh : TriangleMesh
        The evaluation mesh.
    axial : (n',) bool
        Axial points.
    direction : (3,) float
        Unit vector across the path of insertion, towards the neighbour.
    radius_mm : float
        Radius of the zone along the surface.
    depth_mm : float
        The zone's middle is that of all places that stand at most this far behind the
        outermost one.

    Returns
    -------
    (n',) bool
    """
    if not axial.any():
        return np.zeros(len(axial), dtype=bool)
    reach = np.where(axial, mesh.vertices @ direction, -np.inf)
    touched = np.flatnonzero(reach > reach.max() - depth_mm)
    weight = mesh.vertex_areas[touched]
    if not weight.sum() > 0:
        weight = np.ones(len(touched))
    middle = weight @ mesh.vertices[touched] / weight.sum()
    source = polyline_sources(mesh, middle[None], closed=False)
    distance = geodesic_distance(mesh, source, limit_mm=radius_mm)
    return axial & np.isfinite(distance)
