"""The smooth surface that flat triangles stand for: how far above them it lies, and its normal.

Along an edge from x₁ to x₂ with normals n₁, n₂ at its ends, a surface bends by the normal
curvature (n₂ − n₁)·(x₂ − x₁) / |x₂ − x₁|². So at barycentric weights λ it lies

    ½ Σ λᵢ λⱼ (nⱼ − nᵢ)·(xⱼ − xᵢ)    over the pairs of corners i < j

above the triangle, to second order: the sag κ L²/8 in the middle of an edge, as in
``deviation.facet_sag`` but place by place and with the curvature along each edge. Crown and die are
each inside out to the other: on a wall of 5° two sags of 1 µm would lift the crown by 20 µm.
Where a triangle meets its neighbours at a sharp edge it stands for itself.
"""

from __future__ import annotations

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray
from ...mesh.triangle_mesh import TriangleMesh

SHARP_DEG = 20.0
"""A corner's normal this far from the triangle's own lies on a sharp edge."""

_PAIRS = ((0, 1), (1, 2), (2, 0))


class Facets:
    """A mesh's triangles with the bend of the surface along their edges.

    Attributes
    ----------
    smooth : (m,) bool
        Triangles without a sharp edge.
    bend_mm : (m, 3) float
        (nⱼ − nᵢ)·(xⱼ − xᵢ) along their sides 0–1, 1–2, 2–0; 0 where not smooth.
    most_mm : float
        More than this the surface nowhere lies above a triangle.
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        self.mesh = mesh
        normals, corners = mesh.vertex_normals[mesh.faces], mesh.triangles
        level = np.einsum("fki,fi->fk", normals, mesh.face_normals).min(axis=1)
        self.smooth: BoolArray = level > np.cos(np.deg2rad(SHARP_DEG))
        self.bend_mm = np.zeros(mesh.faces.shape)
        for k, (i, j) in enumerate(_PAIRS):
            turn, side = normals[:, j] - normals[:, i], corners[:, j] - corners[:, i]
            self.bend_mm[:, k] = np.einsum("fi,fi->f", turn, side) * self.smooth
        self.most_mm = float(np.maximum(self.bend_mm, 0.0).sum(axis=1).max(initial=0.0)) / 8.0

    def above_mm(self, face: IntArray, weights: FloatArray) -> FloatArray:
        """How far the surface lies above triangles (k,) at barycentric weights (k, 3), mm."""
        above = np.zeros(len(face))
        for k, (i, j) in enumerate(_PAIRS):
            above += 0.5 * weights[:, i] * weights[:, j] * self.bend_mm[face, k]
        return above

    def normals(self, face: IntArray, weights: FloatArray) -> FloatArray:
        """Unit normals of the surface there, (k, 3); the triangle's own where it is not smooth."""
        at_corners = self.mesh.vertex_normals[self.mesh.faces[face]]
        normal = np.einsum("kc,kci->ki", weights, at_corners)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        return np.where(self.smooth[face, None], normal, self.mesh.face_normals[face])

    def along_edges_mm(self, edges: IntArray, share: FloatArray) -> FloatArray:
        """How far the surface lies above edges (k, 2) at shares (k,) of their way, mm."""
        start, end = edges.T
        normals, vertices = self.mesh.vertex_normals, self.mesh.vertices
        turn, side = normals[end] - normals[start], vertices[end] - vertices[start]
        level = np.einsum("ki,ki->k", normals[start], normals[end])
        bend = np.einsum("ki,ki->k", turn, side) * (level > np.cos(np.deg2rad(2.0 * SHARP_DEG)))
        above: FloatArray = 0.5 * share * (1.0 - share) * bend
        return above
