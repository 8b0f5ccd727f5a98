"""Two nested spheres: a crown whose scale and growth follow from two numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh
from cuspwise.standalone_core.arrays import BoolArray, FloatArray
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh


@dataclass(frozen=True, eq=False)
class NestedSpheres:
    """A ball of radius R₁ with a cavity of radius R₂ about the same middle, the origin.

    With a scale of e and growth of o on both, a place outside deviates by d₁ = e R₁ + o, one in
    the cavity, whose normal points to the middle, by d₂ = -e R₂ + o.

    Attributes
    ----------
    outer_mm, inner_mm : float
        R₁, R₂.
    mesh : TriangleMesh
        n vertices on the spheres, turned outward from the material.
    normals : (n, 3) array
        Of the spheres.
    external : (n,) bool
        Which vertices lie outside.
    """

    outer_mm: float
    inner_mm: float
    mesh: TriangleMesh
    normals: FloatArray
    external: BoolArray

    @property
    def points(self) -> FloatArray:
        """The vertices, (n, 3), mm."""
        return self.mesh.vertices

    def deviation_mm(self, permille: float, growth_um: float) -> tuple[float, float]:
        """d₁ outside and d₂ in the cavity, mm."""
        e, o = 1e-3 * permille, 1e-3 * growth_um
        return e * self.outer_mm + o, -e * self.inner_mm + o

    def scale_and_growth(self, outer_mm: float, inner_mm: float) -> tuple[float, float]:
        """Scale in ‰ and growth in µm from d₁ and d₂ in mm."""
        both = self.outer_mm + self.inner_mm
        scale = (outer_mm - inner_mm) / both
        growth = (outer_mm * self.inner_mm + inner_mm * self.outer_mm) / both
        return 1e3 * scale, 1e3 * growth


def nested_spheres(
    outer_mm: float = 5.0, inner_mm: float = 4.2, subdivisions: int = 5
) -> NestedSpheres:
    """Make nested spheres of 10,242 vertices each, or a quarter for each subdivision less."""
    ball = trimesh.creation.icosphere(subdivisions=subdivisions, radius=1.0)
    unit = ball.vertices / np.linalg.norm(ball.vertices, axis=1, keepdims=True)
    n = len(unit)
    return NestedSpheres(
        outer_mm,
        inner_mm,
        TriangleMesh(
            np.vstack([outer_mm * unit, inner_mm * unit]),
            np.vstack([ball.faces, ball.faces[:, ::-1] + n]),
            "nested spheres",
        ),
        np.vstack([unit, -unit]),
        np.arange(2 * n) < n,
    )
