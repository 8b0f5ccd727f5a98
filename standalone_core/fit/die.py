"""The prepared tooth, or its model, that a crown sits on."""

from __future__ import annotations

from dataclasses import dataclass

from ..areas.area_set import MarginLine
from ..arrays import FloatArray
from ..mesh.triangle_mesh import TriangleMesh
from ..surface.closest import SurfaceIndex


@dataclass(frozen=True, eq=False)
class FitDie:
    """A die in its own frame, which is that of the fit.

    Attributes
    ----------
    mesh : TriangleMesh
        After repair, faces turned outward, mm. It may be open below and may be a part of a
        larger scan.
    index : SurfaceIndex
        Of the mesh.
    axis : (3,) float
        Path of insertion, a unit vector to occlusal.
    finish_line : MarginLine or None
        Where the preparation ends, on the die; None if nobody gave it.
    """

    mesh: TriangleMesh
    index: SurfaceIndex
    axis: FloatArray
    finish_line: MarginLine | None = None
