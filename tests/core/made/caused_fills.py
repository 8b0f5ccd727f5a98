"""Filled fossae of known depth: under a ball, and by smoothing, which no ball describes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from cuspwise.standalone_core.arrays import FloatArray
from cuspwise.standalone_core.demo.production_errors import BallFill, ProductionErrors
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from made.caused import Flaws, normal_parts
from made.caused_shapes import CausedDesign
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.linalg import splu

SMOOTHED_OVER_MM = 0.35
STEEP = 0.2, 0.5
"""Between which cosines to the path of insertion the filling by smoothing sets in."""


@cache
def filled_under_ball(
    design: CausedDesign, deepest_um: float, radius_mm: float = 0.9, side: str = "external"
) -> Flaws:
    """The share of what a ball leaves that is so many µm along the normal where it is most."""
    assert side in ("external", "intaglio")
    whole = BallFill(radius_mm, 1.0, side)  # type: ignore[arg-type]
    deepest = float(normal_parts(design, ProductionErrors(fills=(whole,))).max())
    part = BallFill(radius_mm, 1e-3 * deepest_um / deepest, side)  # type: ignore[arg-type]
    return Flaws(ProductionErrors(fills=(part,)))


@cache
def filled_by_smoothing(design: CausedDesign, deepest_um: float) -> Flaws:
    """Hollows of the occlusal surface filled as far as smoothing lifts them, deepest as given."""
    lifted = _lifted_by_smoothing(design)
    return Flaws(shifts=(AtPoints(design, 1e-3 * deepest_um / lifted.max() * lifted),))


@dataclass(frozen=True, eq=False)
class AtPoints:
    """A shift given at a design's points, mm, linear over its faces between them."""

    design: CausedDesign
    values_mm: FloatArray

    def __call__(self, points: FloatArray, normals: FloatArray) -> FloatArray:
        """Shift along the normals, (n,), mm."""
        if points is self.design.points:
            return self.values_mm
        feet = self.design.ready.prepared.index.closest(points, max_distance_mm=0.5)
        corners = self.values_mm[self.design.mesh.faces[feet.face]]
        shift: FloatArray = np.einsum("ij,ij->i", feet.barycentric, corners)
        return np.where(feet.face < 0, 0.0, np.nan_to_num(shift))


@cache
def _lifted_by_smoothing(design: CausedDesign) -> FloatArray:
    """How far heat flow of the surface over :data:`SMOOTHED_OVER_MM` lifts its points, mm.

    One implicit step, (M + t L) x' = M x, t = σ²/2 (Desbrun et al., "Implicit fairing of
    irregular meshes", SIGGRAPH 1999; from memory). Only what faces occlusal on the outside, and
    only upwards.
    """
    mass = diags(design.weights_mm2)
    flow = csc_matrix(mass + 0.5 * SMOOTHED_OVER_MM**2 * cotangent_laplacian(design.mesh))
    smoothed = splu(flow).solve(mass @ design.points)
    lifted = np.einsum("ij,ij->i", smoothed - design.points, design.normals)
    low, high = STEEP
    t = np.clip((design.normals[:, 2] - low) / (high - low), 0.0, 1.0)
    lifted *= design.external * t**2 * (3.0 - 2.0 * t)
    return np.maximum(lifted, 0.0)


def cotangent_laplacian(mesh: TriangleMesh) -> csc_matrix:
    """Stiffness (n, n) of linear elements: xᵀ L x is the integral of the squared gradient."""
    rows, columns, values = [], [], []
    for k in range(3):
        at, i, j = mesh.faces[:, k], mesh.faces[:, (k + 1) % 3], mesh.faces[:, (k + 2) % 3]
        u, v = mesh.vertices[i] - mesh.vertices[at], mesh.vertices[j] - mesh.vertices[at]
        twice_area = np.linalg.norm(np.cross(u, v), axis=1)
        half_cotangent = 0.5 * np.einsum("ij,ij->i", u, v) / twice_area
        rows += [i, j, i, j]
        columns += [j, i, i, j]
        values += [-half_cotangent, -half_cotangent, half_cotangent, half_cotangent]
    n = len(mesh.vertices)
    where = np.concatenate(rows), np.concatenate(columns)
    return csc_matrix(coo_matrix((np.concatenate(values), where), (n, n)))
