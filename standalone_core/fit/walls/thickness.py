"""Thickness of the material along given lines."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...arrays import FloatArray
from ...mesh.triangle_mesh import TriangleMesh
from ...progress import Progress, Steps
from .balls import BallFitter
from .boxes import BoxTree
from .rays import ways_out


class Thickness(NamedTuple):
    """Along lines.

    Attributes
    ----------
    ray_mm, ball_mm : (k,) float
        NaN where the ray does not leave the material.
    """

    ray_mm: FloatArray
    ball_mm: FloatArray

    @property
    def least_mm(self) -> FloatArray:
        """The smaller of the two, (k,)."""
        return np.minimum(self.ray_mm, self.ball_mm)


def thickness_steps(
    mesh: TriangleMesh, points: FloatArray, inward: FloatArray, least_angle_deg: float
) -> Steps[Thickness]:
    """Measure by the straight way and by the inscribed ball, both exactly on the facets.

    Parameters
    ----------
    mesh : TriangleMesh
        Faces turned outward; mm.
    points, inward : (k, 3) float
        Places on its surface, and unit vectors into the material.
    least_angle_deg : float
        See :class:`.balls.BallFitter`.
    """
    yield Progress("Measuring straight through the walls", 0.0)
    tree = BoxTree.of(mesh)
    ray = ways_out(mesh, tree, points, inward)
    yield Progress("Fitting balls into the walls", 0.3)
    ball, there = np.full_like(ray, np.nan), np.flatnonzero(np.isfinite(ray))
    fitter = BallFitter(mesh, least_angle_deg)
    ball[there] = fitter.diameters(points[there], inward[there], ray[there])
    return Thickness(ray, ball)
