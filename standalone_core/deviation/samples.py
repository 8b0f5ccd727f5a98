"""Where the deviations of a field are summed: at its points, or all over its faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..mesh.triangle_mesh import TriangleMesh
from .field import DeviationField

_OWN_CORNER = 0.5  # besides a sixth of every corner: barycentric 2/3, 1/6, 1/6


@dataclass(frozen=True, eq=False)
class Samples:
    """Counted deviations from low to high, and what each stands for.

    Attributes
    ----------
    deviation_mm : (k,) float
        Ascending.
    weights_mm2 : (k,) float
    point : (k,) int
        The field's point that says which areas a sample lies in.
    """

    deviation_mm: FloatArray
    weights_mm2: FloatArray
    point: IntArray

    def inside(self, points: BoolArray) -> tuple[FloatArray, FloatArray]:
        """Deviations (mm, ascending) and weights (mm²) of the samples of some points, (n,)."""
        if points.all():
            return self.deviation_mm, self.weights_mm2
        rows = np.flatnonzero(points.take(self.point))
        return self.deviation_mm.take(rows), self.weights_mm2.take(rows)


def samples_of(field: DeviationField, *, over_faces: bool = True) -> Samples:
    """Return what the measures of a field are sums of.

    A field with faces is integrated over these, its deviation taken as linear over each: at
    three places of a face, (2/3, 1/6, 1/6) and its like, each with a third of the face's area.
    For polynomials up to degree 2 this is the integral itself (Strang & Fix 1973, from memory),
    so that mean, RMS and SD are those of the piecewise linear deviation: ∫d² over a face is
    A/12 (Σ dᵢ² + (Σ dᵢ)²). At the vertices alone, independent noise of variance σ² would enter
    the mean square in full; over the surface of the scan it is σ²/2.

    Each place belongs to its nearest corner: it counts where that corner counts, and lies in the
    areas where that corner lies, so that counted area and coverage are those of the points. The
    value is interpolated from the corners that count, with weights that again sum to 1.

    Parameters
    ----------
    field : DeviationField
    over_faces : bool
        Integrate over the faces if the field has any; else take its points as they are.

    Returns
    -------
    Samples
    """
    if field.faces is None or not over_faces:
        ranking = np.argsort(field.deviation_mm, kind="stable")[: np.count_nonzero(field.counted)]
        return Samples(field.deviation_mm[ranking], field.weights_mm2[ranking], ranking)
    faces = field.faces
    areas = TriangleMesh(field.points_mm, faces).face_areas
    counts = field.counted[faces]
    corners = np.where(counts, field.deviation_mm[faces], 0.0)
    first, second, third = corners.T
    share = _OWN_CORNER + counts.sum(axis=1) / 6.0
    values = (_OWN_CORNER * corners + ((first + second + third) / 6.0)[:, None]) / share[:, None]
    rows = np.flatnonzero(counts)
    deviation = values.ravel().take(rows)
    order = _ascending(deviation)
    rows = rows.take(order)
    return Samples(
        deviation_mm=deviation.take(order),
        weights_mm2=(areas / 3.0).take(rows // 3),
        point=faces.ravel().take(rows),
    )


def _ascending(values: FloatArray) -> IntArray:
    """Return the stable order of values; three times as fast where no two are the same."""
    order: IntArray = np.argsort(values)
    ascending = values.take(order)
    if (ascending[1:] == ascending[:-1]).any():
        order = np.argsort(values, kind="stable")
    return order
