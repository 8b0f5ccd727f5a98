"""How the deviations of each area are spread: shares of its surface per class of deviation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...areas.area_set import AreaSet
from ...arrays import FloatArray
from ...deviation.field import DeviationField
from ...deviation.samples import samples_of

CLASSES = 60


@dataclass(frozen=True, eq=False)
class Histogram:
    """The spread of one area's deviations.

    Attributes
    ----------
    area : str
    limit_um : float
        The classes run from −limit to +limit, all of one width.
    shares : (k,) float
        Share of the area's counted surface in each class, from the lowest to the highest.
    below, above : float
        Share beyond −limit and +limit.
    """

    area: str
    limit_um: float
    shares: FloatArray
    below: float
    above: float

    @property
    def class_um(self) -> float:
        """Width of a class, µm."""
        return 2.0 * self.limit_um / len(self.shares)


def area_histograms(
    field: DeviationField, area_set: AreaSet, limit_um: float, classes: int = CLASSES
) -> tuple[Histogram, ...]:
    """Sort the counted surface of every area into classes of deviation.

    Parameters
    ----------
    field : DeviationField
        Sorted as it is measured: at its points, or over its faces if it has any.
    area_set : AreaSet
    limit_um : float
        Half the range of the classes; what lies beyond is told apart by sign.
    classes : int
        Their number; even, so that zero is a bound.

    Returns
    -------
    tuple of Histogram
        One per area with at least one counted point.
    """
    samples = samples_of(field)
    value_um, weight = 1e3 * samples.deviation_mm, samples.weights_mm2
    # Class 0 and the last one hold what lies beyond the limits; +limit itself still lies inside.
    bound = np.floor((value_um + limit_um) * (classes / (2.0 * limit_um))).astype(np.int64) + 1
    bound[value_um == limit_um] = classes
    index = np.clip(bound, 0, classes + 1)
    found = []
    for name, area in area_set.areas.items():
        inside = field.inside(area)[samples.point]
        sums = np.bincount(index[inside], weights=weight[inside], minlength=classes + 2)
        total = float(sums.sum())
        if total > 0.0:
            shares = sums / total
            found.append(
                Histogram(name, limit_um, shares[1:-1], float(shares[0]), float(shares[-1]))
            )
    return tuple(found)
