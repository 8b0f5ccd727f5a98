"""The smooth surface that flat triangles stand for: how far above them it lies, and its normal.

Along an edge from x₁ to x₂ with normals n₁, n₂ at its ends, a surface bends by the normal
curvature (n₂ − n₁)·(x₂ − x₁) / |x₂ − x₁|². So at barycentric weights λ it lies

    ½ Σ λᵢ λⱼ (nⱼ − nᵢ)·(xⱼ − xᵢ)    over the pairs of corners i < j

above the triangle, to second order: the sag κ L²/8 in the middle of an edge, as in
``deviation.facet_sag`` but place by place and with the curvature along each edge. Crown and die are
each inside out to the other: on a wall of 5° two sags of 1 µm would lift the crown by 20 µm.
Beside a sharp edge the normals at a triangle's corners are those of its own side of it.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ...arrays import BoolArray, FloatArray, IntArray, ragged
from ...mesh.triangle_mesh import TriangleMesh

SHARP_DEG = 20.0
"""Triangles at a corner whose normals differ by more than this lie on two sides of a sharp edge."""

_PAIRS = ((0, 1), (1, 2), (2, 0))


class Facets:
    """A mesh's triangles with the bend of the surface along their edges.

    Attributes
    ----------
    sharp : (m,) bool
        Triangles with a corner on a sharp edge.
    corner_normals : (m, 3, 3) float
        Unit normals of the surface at the triangles' corners.
    bend_mm : (m, 3) float
        (nⱼ − nᵢ)·(xⱼ − xᵢ) along their sides 0–1, 1–2, 2–0.
    edge_bend_mm : (e,) float
        The same of the mesh's edges; of the two sides of a sharp one the smaller.
    most_mm : float
        More than this the surface nowhere lies above a triangle.
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        self.mesh = mesh
        self.corner_normals = mesh.vertex_normals[mesh.faces]
        level = np.einsum("fki,fi->fk", self.corner_normals, mesh.face_normals).min(axis=1)
        self.sharp: BoolArray = level < float(np.cos(np.deg2rad(0.5 * SHARP_DEG)))
        self._part_sides(np.flatnonzero(self.sharp))
        corners = mesh.triangles
        self.bend_mm = np.zeros(mesh.faces.shape)
        for k, (i, j) in enumerate(_PAIRS):
            turn = self.corner_normals[:, j] - self.corner_normals[:, i]
            self.bend_mm[:, k] = np.einsum("fi,fi->f", turn, corners[:, j] - corners[:, i])
        self.edge_bend_mm = np.full(len(mesh.graph.edges), np.inf)
        whole = ~mesh.graph.collapsed
        np.minimum.at(self.edge_bend_mm, mesh.graph.face_edges[whole], self.bend_mm[whole])
        self.most_mm = float(np.maximum(self.bend_mm, 0.0).sum(axis=1).max(initial=0.0)) / 8.0

    @cached_property
    def sides_by_corner(self) -> tuple[IntArray, IntArray]:
        """Where the sides of each vertex start, (n + 1,), in a list of sides 3 f + k, (3 m,)."""
        corner = self.mesh.faces.ravel()
        order = np.argsort(corner, kind="stable")
        starts = np.searchsorted(corner[order], np.arange(len(self.mesh.vertices) + 1))
        return starts.astype(np.int64), order

    def _part_sides(self, faces: IntArray) -> None:
        """Give corners of some triangles the normal of those around that look their way."""
        mesh = self.mesh
        starts, around = self.sides_by_corner
        corner = mesh.faces[faces].ravel()
        row, place = ragged(starts[corner + 1] - starts[corner])
        side = around[starts[corner[row]] + place]
        own, other = mesh.face_normals[faces[row // 3]], mesh.face_normals[side // 3]
        like = np.einsum("ki,ki->k", own, other) > np.cos(np.deg2rad(SHARP_DEG))
        weight = mesh.corner_angles.ravel()[side] * like
        sums = np.empty((len(corner), 3))
        for k in range(3):
            sums[:, k] = np.bincount(row, weight * other[:, k], len(corner))
        length = np.linalg.norm(sums, axis=1, keepdims=True)
        unit = np.divide(sums, length, out=np.zeros_like(sums), where=length > 0)
        self.corner_normals[faces] = unit.reshape(-1, 3, 3)

    def above_mm(self, face: IntArray, weights: FloatArray) -> FloatArray:
        """How far the surface lies above triangles (k,) at barycentric weights (k, 3), mm.

        On a sharp edge itself, what its less bent side has.
        """
        rim: BoolArray = self.sharp[face] & on_rim(weights)
        above = np.zeros(len(face))
        for k, (i, j) in enumerate(_PAIRS):
            edge = self.mesh.graph.face_edges[face, k]
            bend = np.where(rim, self.edge_bend_mm[edge], self.bend_mm[face, k])
            above += 0.5 * weights[:, i] * weights[:, j] * bend
        return above

    def normals(self, face: IntArray, weights: FloatArray) -> FloatArray:
        """Unit normals of the surface there, (k, 3)."""
        normal = np.einsum("kc,kci->ki", weights, self.corner_normals[face])
        length = np.linalg.norm(normal, axis=1, keepdims=True)
        unit: FloatArray = np.divide(normal, length, out=normal, where=length > 0)
        return unit

    def along_edges_mm(self, edges: IntArray, share: FloatArray) -> FloatArray:
        """How far the surface lies above edges (k,) of the mesh at shares (k,) of their way, mm."""
        above: FloatArray = 0.5 * share * (1.0 - share) * self.edge_bend_mm[edges]
        return above


def on_rim(weights: FloatArray) -> BoolArray:
    """Whether places of barycentric weights (k, 3) lie on the rim of their triangle, (k,)."""
    rim: BoolArray = weights.min(axis=1, initial=1.0) < 1e-12
    return rim
