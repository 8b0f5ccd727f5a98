"""Areas that somebody named: whether they are there, and which faces lie in them."""

from __future__ import annotations

import numpy as np

from ..errors import AreaError
from ..mesh.triangle_mesh import BoolArray
from .area_set import AreaSet


def faces_to_fit(area_set: AreaSet, names: tuple[str, ...]) -> BoolArray | None:
    """Return the faces of the evaluation mesh whose corners all lie in the named areas, (m',)."""
    if not names:
        return None
    points = np.zeros(len(area_set.evaluation.points), dtype=bool)
    for name in names:
        if name not in area_set.areas:
            raise no_area(name, area_set)
        points |= area_set.areas[name].points
    faces: BoolArray = np.all(points[area_set.evaluation.mesh.faces], axis=1)
    return faces


def no_area(name: str, area_set: AreaSet) -> AreaError:
    """Return the error for an area that is not there."""
    return AreaError(
        area_set.missing.get(name, f"There is no area called {name!r}."),
        subject=name,
        remedy=f"Choose from {', '.join(area_set.areas)}.",
    )
