"""What is wrong with the crown and the teeth beside it that one should know before a fit."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..arrays import FloatArray
from ..mesh.health import counted
from ..mesh.triangle_mesh import TriangleMesh
from ..superimpose.rigid import apply
from ..surface.closest import SurfaceIndex
from .crown import FitCrown

_LEAST_HOLE_MM = 1.0
"""A hole in the intaglio with a rim at least this long is told; a smaller one is of few points."""
_GROSS_MM = 0.3
"""A proximal contact is never this deep: ours, no source; 0.03 is called tight."""
_SEARCH_MM = 2.0
_POINTS = 20_000


def intaglio_holes(crown: FitCrown) -> tuple[str, ...]:
    """Say where a crown's intaglio is open.

    A hole is an open border of the mesh all of which lies on the intaglio, away from the margin
    line: what an intaglio without an outside has there is its edge.

    Parameters
    ----------
    crown : FitCrown

    Returns
    -------
    tuple of str
        Empty if it is whole.
    """
    mesh, holes = crown.evaluation.mesh, []
    away = crown.margin_distance_mm > crown.area_set.settings.margin_band_mm
    for vertices in mesh.graph.border_loops:
        if crown.intaglio[vertices].all() and away[vertices].any():
            ring = mesh.vertices[vertices]
            length = float(np.linalg.norm(ring - np.roll(ring, -1, axis=0), axis=1).sum())
            if length >= _LEAST_HOLE_MM:
                holes.append(length)
    if not holes:
        return ()
    several = counted(len(holes), "hole", "holes")
    return (
        f"The intaglio has {several}, the largest {max(holes) / np.pi:.1f} mm wide: there nothing "
        f"holds the crown off the die, and neither gap nor wall is measured. Scan the inside "
        f"again if that is more than a channel for a screw.",
    )


def crossing_teeth(
    crown: FitCrown, T_die_crown: FloatArray, teeth: Iterable[tuple[str, TriangleMesh]]
) -> tuple[str, ...]:
    """Say which neighbours cut into a crown deeper than any contact.

    Parameters
    ----------
    crown : FitCrown
    T_die_crown : (4, 4) float
        Where it lies.
    teeth : iterable of (name, mesh)
        In the die's frame.

    Returns
    -------
    tuple of str
        A sentence for each.
    """
    outside = np.flatnonzero(~crown.intaglio)
    outside = outside[:: max(1, len(outside) // _POINTS)]
    points = apply(T_die_crown, crown.evaluation.points[outside])
    sentences = []
    for name, mesh in teeth:
        found = SurfaceIndex(mesh).closest(points, max_distance_mm=_SEARCH_MM, signed=True)
        assert found.signed_mm is not None  # it was asked for
        inside = found.found & ~found.on_border & (found.signed_mm < 0.0)
        depth = float(-found.signed_mm[inside].min(initial=0.0))
        if depth > _GROSS_MM:
            sentences.append(
                f"{name} cuts {depth:.1f} mm into the crown: it may hold the prepared tooth too, "
                f"be inside out, or lie in another frame. Give the neighbour alone, as it lies "
                f"beside the die."
            )
    return tuple(sentences)
