"""Mean curvature at the vertices of a mesh: where it is convex, where concave, and how much."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from ..arrays import FloatArray
    from .triangle_mesh import TriangleMesh

MAX_COTANGENT = 20.0
"""Largest size of a cotangent, that of 3°: slivers count no more than such a triangle."""


def mean_curvature(
    mesh: TriangleMesh, rounds: int = 1, *, most_per_mm: float | None = None
) -> FloatArray:
    """Return the mean curvature at every vertex, positive on convex places.

    H n = Σⱼ (cot α + cot β)(x − xⱼ) / 4A over the neighbours j of x, α and β the angles opposite
    to the edge and A the area nearer to x than to any other corner: the cotangent form of the
    gradient of area (Pinkall & Polthier 1993), over the mixed area of Meyer, Desbrun, Schröder &
    Barr 2003; both from memory. A sphere of radius R has 1/R, a cylinder 1/(2R). On a crease the
    curvature is spread over the faces beside it, so that its integral is right. O(faces).

    Parameters
    ----------
    mesh : TriangleMesh
        n vertices; its faces turned outwards.
    rounds : int
        How often every value is replaced by the mean of itself and the mean of its neighbours.
    most_per_mm : float, optional
        Larger sizes are cut to this, 1/mm, before smoothing; none by default.

    Returns
    -------
    (n,) float
        1/mm; 0 on open borders, where it is not defined, and at vertices without area.
    """
    cotangents = _cotangents(mesh)
    area = _mixed_areas(mesh, cotangents)
    pull = np.einsum("ij,ij->i", _area_gradient(mesh, cotangents), _normals(mesh))
    defined = (area > 0) & ~mesh.graph.border_vertices
    curvature = np.zeros(len(area))
    np.divide(pull, 2.0 * area, out=curvature, where=defined)
    if most_per_mm is not None:
        curvature = np.clip(curvature, -most_per_mm, most_per_mm)
    return np.where(defined, _smoothed(mesh, curvature, rounds), 0.0)


def summed_normals(mesh: TriangleMesh) -> FloatArray:
    """Sum of the normals of the faces around each vertex, weighted by area, (n, 3)."""
    sums, normals, corners = np.empty_like(mesh.vertices), mesh.face_cross, mesh.faces.ravel()
    for axis in range(3):
        sums[:, axis] = np.bincount(corners, np.repeat(normals[:, axis], 3), len(sums))
    return sums


def _normals(mesh: TriangleMesh) -> FloatArray:
    """Unit normal at each vertex by the faces' areas, (n, 3): a sliver's does not count."""
    sums = summed_normals(mesh)
    length = np.linalg.norm(sums, axis=1, keepdims=True)
    normals: FloatArray = np.divide(sums, length, out=np.zeros_like(sums), where=length > 0)
    return normals


def _cotangents(mesh: TriangleMesh) -> FloatArray:
    """Cotangent of each corner's angle, (m, 3); of a sliver no more than ``MAX_COTANGENT``.

    0 where two corners of a face are the same.
    """
    corners = [mesh.vertices.take(mesh.faces[:, k], axis=0) for k in range(3)]
    twice_area = 2.0 * mesh.face_areas
    cotangents = np.empty(mesh.faces.shape)
    for k in range(3):
        to_next, to_last = corners[(k + 1) % 3] - corners[k], corners[k - 1] - corners[k]
        inner = np.einsum("ij,ij->i", to_next, to_last)
        with np.errstate(divide="ignore", invalid="ignore"):
            cotangents[:, k] = inner / twice_area
    return np.clip(np.nan_to_num(cotangents), -MAX_COTANGENT, MAX_COTANGENT)


def _mixed_areas(mesh: TriangleMesh, cotangents: FloatArray) -> FloatArray:
    """Area of each vertex, (n,), mm²: what is nearest to it; of an obtuse face half or a quarter.

    In a face without an obtuse angle the corner C has (a² cot A + b² cot B) / 8 with a = |BC|,
    and a² = 2F (cot B + cot C), F the face's area.
    """
    sums = cotangents.sum(axis=1, keepdims=True)
    twice_area = 2.0 * mesh.face_areas[:, None]
    of_side = twice_area * (sums - cotangents) * cotangents / 8.0
    shares = of_side.sum(axis=1, keepdims=True) - of_side
    obtuse = (cotangents < 0.0).any(axis=1)
    halves = np.where(cotangents[obtuse] < 0.0, 0.25, 0.125)
    shares[obtuse] = twice_area[obtuse] * halves
    areas = np.bincount(mesh.faces.ravel(), shares.ravel(), len(mesh.vertices))
    return areas.astype(np.float64, copy=False)


def _area_gradient(mesh: TriangleMesh, cotangents: FloatArray) -> FloatArray:
    """Gradient of the surface's area at each vertex, Σⱼ (cot α + cot β)(x − xⱼ) / 2, (n, 3)."""
    from scipy.sparse import csr_matrix

    count = len(mesh.vertices)
    start, end = mesh.faces[:, [1, 2, 0]].ravel(), mesh.faces[:, [2, 0, 1]].ravel()
    one_way = csr_matrix((0.5 * cotangents.ravel(), (start, end)), shape=(count, count))
    weights = one_way + one_way.T
    own = weights @ np.ones(count)
    gradient: FloatArray = own[:, None] * mesh.vertices - weights @ mesh.vertices
    return gradient


def _smoothed(mesh: TriangleMesh, values: FloatArray, rounds: int) -> FloatArray:
    """Mean of each value and the mean of its neighbours along edges, again and again."""
    if not rounds:
        return values
    first, second = mesh.graph.edges.T
    count = len(values)
    neighbours = np.bincount(first, minlength=count) + np.bincount(second, minlength=count)
    for _ in range(rounds):
        sums = np.bincount(first, values[second], count) + np.bincount(second, values[first], count)
        mean = np.divide(sums, neighbours, out=values.copy(), where=neighbours > 0)
        values = 0.5 * (values + mean)
    return values
