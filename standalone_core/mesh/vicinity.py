"""Short distances along a surface: from the few faces around a place, not from all of them."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray, IntArray
from .geodesics import GeodesicSources, geodesic_distance
from .triangle_mesh import TriangleMesh


def vicinity(
    mesh: TriangleMesh, points_mm: FloatArray, reach_mm: float
) -> tuple[TriangleMesh, IntArray]:
    """Return the faces near some points as a mesh of their own.

    A path along the surface is at least as long as its straight line: what lies within a distance
    of the points along the surface lies in the box about them that is that much larger.

    Parameters
    ----------
    mesh : TriangleMesh
    points_mm : (k, 3) float
        At least one.
    reach_mm : float
        Every face that comes into their box, made this much larger, is taken.

    Returns
    -------
    TriangleMesh, (n',) int
        The part, perhaps without any face, and the vertex of the whole that each of its is.
    """
    low, high = points_mm.min(axis=0) - reach_mm, points_mm.max(axis=0) + reach_mm
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    above = np.maximum(np.maximum(a, b), c) >= low
    below = np.minimum(np.minimum(a, b), c) <= high
    faces = mesh.faces[(above & below).all(axis=1)]
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[faces] = True
    place = np.cumsum(used) - 1
    return TriangleMesh(mesh.vertices[used], place[faces], mesh.name), np.flatnonzero(used)


def distance_from_place(
    mesh: TriangleMesh, place_mm: FloatArray, face: int, limit_mm: float
) -> FloatArray:
    """Distance along the surface from a place on one of its faces to every vertex.

    Parameters
    ----------
    mesh : TriangleMesh
    place_mm : (3,) float
        On the surface, mm.
    face : int
        Face that it lies on.
    limit_mm : float
        Farther vertices are left out.

    Returns
    -------
    (n,) float
        mm; infinite beyond the limit.
    """
    corners = np.unique(mesh.faces[face])
    straight = np.linalg.norm(mesh.vertices[corners] - place_mm, axis=1)
    sources = GeodesicSources(corners, straight, np.tile(place_mm, (len(corners), 1)))
    return geodesic_distance(mesh, sources, limit_mm=limit_mm)
