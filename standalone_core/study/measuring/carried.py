"""A crown as its points nearest to the design's: what the pairs of a study compare."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...arrays import BoolArray, FloatArray
from ...deviation.field import DeviationField
from ...mesh.refine import EvaluationMesh
from ...mesh.triangle_mesh import TriangleMesh


@dataclass(frozen=True, eq=False)
class CarriedCrown:
    """A crown's points nearest to those of the design, one for each.

    Attributes
    ----------
    field : DeviationField
        Of the crown at the design's points, with its feet.
    normals : (n, 3) float
        Of the surface that the points make, joined as the design's are; 0 where a point does not
        count or stands for no area.
    """

    field: DeviationField
    normals: FloatArray

    @property
    def points_mm(self) -> FloatArray:
        """Where the points are, (n, 3); the design's own where they do not count."""
        return points_of(self.field)

    @property
    def used(self) -> BoolArray:
        """Which points, (n,), count and stand for some area."""
        used: BoolArray = self.field.counted & np.logical_or.reduce(self.normals != 0.0, axis=1)
        return used


def points_of(field: DeviationField) -> FloatArray:
    """Return a crown's points nearest to the design's, (n, 3); the latter where none counts."""
    assert field.foot_mm is not None  # it was measured
    return np.where(field.counted[:, None], field.foot_mm, field.points_mm)


def carried_surface(field: DeviationField, evaluation: EvaluationMesh) -> TriangleMesh:
    """Return the surface that a crown's points make, joined as the design's."""
    faces = evaluation.mesh.faces
    if not field.counted.all():
        faces = faces[np.logical_and.reduce(field.counted[faces], axis=1)]
    return TriangleMesh(points_of(field), faces)
