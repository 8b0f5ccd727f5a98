"""Second layers of a scan's surface, and the areas of the design that they lie over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..areas.area_set import AreaSet
from ..arrays import FloatArray
from ..mesh.layers import DoubleLayer
from .places import place

_MIN_SHARE = 0.01
"""A layer over less than this share of an area does not change what is said of it."""
_EVERYWHERE = 0.5
"""A layer over more of the crown than this lies over every area."""


@dataclass(frozen=True)
class LayerBeside:
    """A second layer of the scan's surface that leaves areas undecided.

    Attributes
    ----------
    area_mm2, distance_um : float
        Its size, and its distance from the first layer.
    place_mm : (3,) tuple of float
        In the design's frame.
    areas : tuple of str
        The areas of which it covers too much.
    """

    area_mm2: float
    distance_um: float
    place_mm: tuple[float, float, float]
    areas: tuple[str, ...]


def layers_beside(
    layers: Sequence[DoubleLayer], T_design_scan: FloatArray, area_set: AreaSet
) -> tuple[LayerBeside, ...]:
    """Say which areas the second layers of a scan lie over, the largest layer first.

    A layer lies over the areas of the evaluation point nearest to its middle, or over all if it
    is larger than half of the crown.

    Parameters
    ----------
    layers : sequence of DoubleLayer
        In the scan's frame.
    T_design_scan : (4, 4) float
    area_set : AreaSet
    """
    points, weights = area_set.evaluation.points, area_set.evaluation.weights_mm2
    found = []
    for layer in sorted(layers, key=lambda layer: -layer.area_mm2):
        where = T_design_scan[:3, :3] @ np.array(layer.place_mm) + T_design_scan[:3, 3]
        nearest = int(np.argmin(np.linalg.norm(points - where, axis=1)))
        everywhere = layer.area_mm2 > _EVERYWHERE * float(weights.sum())
        over = tuple(
            name
            for name, area in area_set.areas.items()
            if (everywhere or area.points[nearest])
            and layer.area_mm2 > _MIN_SHARE * float(weights[area.points].sum())
        )
        found.append(LayerBeside(layer.area_mm2, layer.distance_um, place(where), over))
    return tuple(found)
