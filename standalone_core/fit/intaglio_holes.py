"""Holes in a crown's intaglio."""

from __future__ import annotations

import numpy as np

from ..mesh.health import counted
from .crown import FitCrown

_LEAST_HOLE_MM = 1.0
"""A hole with a rim at least this long is told; in smaller ones a few points are missing."""


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
