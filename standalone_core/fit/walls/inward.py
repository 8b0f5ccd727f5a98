"""Directions into the material, along which a wall's thickness is measured."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...surface.closest import SurfaceIndex

_CREASE_COS = math.cos(math.radians(40.0))
"""A face that turns farther than this from its vertex's normal meets the others in a crease; less
far, the roughness of a scan turns one too."""
_PROBE = 1e-3
"""Radius of the ball that shows whether a direction leads into the material, of a face's size."""
_FITS = 0.99
"""Of its radius, how deep the middle of a ball lies that touches the surface only in one place."""


class Lines(NamedTuple):
    """Places and directions; several for a place in a crease.

    Attributes
    ----------
    point : (k,) int
        Vertex of the mesh.
    inward : (k, 3) float
        Unit vector into the material.
    """

    point: IntArray
    inward: FloatArray


def lines_inward(index: SurfaceIndex, chosen: BoolArray) -> Lines:
    """Return the directions into the material at some vertices of a mesh.

    Against the vertex's normal; and where faces meet in a crease around which the material lies, as
    along the edges of a box's hollow, also against the normals of these faces: slantwise between
    them the way is longer than the wall on either side is thick. A direction counts if a tiny ball
    that touches the place there lies in the material.

    Parameters
    ----------
    index : SurfaceIndex
        Of the mesh, faces turned outward.
    chosen : (n,) bool
    """
    mesh = index.mesh
    point = np.flatnonzero(chosen & mesh.used_vertices)
    face, corner = np.nonzero(chosen[mesh.faces] & (mesh.face_areas > 0.0)[:, None])
    vertex = mesh.faces[face, corner]
    turned = np.einsum("ij,ij->i", mesh.face_normals[face], mesh.vertex_normals[vertex])
    crease = turned < _CREASE_COS
    vertex, normal = _each_once(vertex[crease], mesh.face_normals[face[crease]])
    fits = _leads_in(index, mesh.vertices[vertex], -normal)
    return Lines(
        np.concatenate([point, vertex[fits]]),
        -np.concatenate([mesh.vertex_normals[point], normal[fits]]),
    )


def _each_once(vertex: IntArray, normal: FloatArray) -> tuple[IntArray, FloatArray]:
    """Of faces in one plane at a vertex only one."""
    key = np.column_stack([vertex, np.round(normal, 6)])
    first = np.sort(np.unique(key, axis=0, return_index=True)[1])
    return vertex[first], normal[first]


def _leads_in(index: SurfaceIndex, points: FloatArray, inward: FloatArray) -> BoolArray:
    """Whether a tiny ball that touches each place, (k,), lies in the material."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    radius = _PROBE * index.mesh.mean_edge_mm
    signed = index.closest(points + radius * inward, signed=True).signed_mm
    assert signed is not None  # it was asked for
    fits: BoolArray = signed <= -_FITS * radius
    return fits


def least_of_each(lines: Lines, values: FloatArray) -> IntArray:
    """Return the line (p,) with the least value of each place that has a finite one."""
    found = np.flatnonzero(np.isfinite(values))
    order = found[np.lexsort((values[found], lines.point[found]))]
    first = np.diff(lines.point[order], prepend=-1) > 0
    return order[first]
