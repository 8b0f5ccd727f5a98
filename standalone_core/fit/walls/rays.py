"""Straight ways through the material of a closed surface: where they leave it."""

from __future__ import annotations

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...mesh.triangle_mesh import TriangleMesh
from .boxes import BoxTree

_START = 1e-9
"""Of the mesh's diagonal: faces nearer than this along a ray are those it starts on."""
_RIM = 1e-9
"""How far outside a face, as a share of it, a ray still hits it: none slips between two."""
_SMALL = 1e-300


def ways_out(
    mesh: TriangleMesh, tree: BoxTree, points: FloatArray, inward: FloatArray
) -> FloatArray:
    """Return how far it is from places on a surface straight through the material, (n,).

    Exact: each ray is cut with every face whose box it meets (Möller & Trumbore, "Fast, minimum
    storage ray/triangle intersection", J. Graphics Tools 2(1), 1997, from memory).

    Parameters
    ----------
    mesh : TriangleMesh
        Faces turned outward; mm.
    tree : BoxTree
        Of the mesh.
    points : (n, 3) float
        On the mesh, mm.
    inward : (n, 3) float
        Unit vectors into the material.

    Returns
    -------
    (n,) float
        mm; NaN where the ray meets nothing, or first meets a face from outside: it has left
        through an open border.
    """
    if not len(points):
        return np.zeros(0)
    slope = 1.0 / np.where(np.abs(inward) > _SMALL, inward, _SMALL).T
    start = np.ascontiguousarray(points.T)

    def meets(row: IntArray, low: FloatArray, high: FloatArray) -> BoolArray:
        enters, leaves = np.zeros(len(row)), np.full(len(row), np.inf)
        for k in range(3):
            origin, scale = start[k].take(row), slope[k].take(row)
            one, other = (low[k] - origin) * scale, (high[k] - origin) * scale
            np.maximum(enters, np.minimum(one, other), out=enters)
            np.minimum(leaves, np.maximum(one, other), out=leaves)
        return enters <= leaves * (1.0 + 1e-12) + 1e-12

    least = _START * mesh.diagonal_mm
    length = np.full(len(points), np.inf)
    leaving = np.zeros(len(points), dtype=bool)
    for row, face in tree.meeting(len(points), meets):
        way, outward = _cuts(mesh, face, points.take(row, axis=0), inward.take(row, axis=0))
        hit = way > least
        np.minimum.at(length, row[hit], way[hit])
        # Of faces met at the same place, as on an edge, one that is left decides.
        first = hit & (way <= length[row] + least)
        leaving[row[first & outward]] = True
    return np.where(leaving & np.isfinite(length), length, np.nan)


def _cuts(
    mesh: TriangleMesh, face: IntArray, start: FloatArray, along: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Way (k,) along each ray to its face, NaN past it; and whether the face is met from behind."""
    a, b, c = (mesh.vertices.take(mesh.faces[:, k].take(face), axis=0) for k in range(3))
    one, other, offset = b - a, c - a, start - a
    across = np.cross(along, other)
    size = np.einsum("ij,ij->i", one, across)
    inverse = np.divide(1.0, size, out=np.full_like(size, np.nan), where=np.abs(size) > _SMALL)
    turned = np.cross(offset, one)
    u = np.einsum("ij,ij->i", offset, across) * inverse
    v = np.einsum("ij,ij->i", along, turned) * inverse
    way = np.einsum("ij,ij->i", other, turned) * inverse
    inside = (u >= -_RIM) & (v >= -_RIM) & (u + v <= 1.0 + _RIM)
    # Seen from behind, the corners run the other way round: the determinant is negative.
    return np.where(inside, way, np.nan), size < 0.0
