"""Areas that somebody named: whether they are there, and which faces lie in them."""

from __future__ import annotations

import numpy as np

from ..arrays import BoolArray
from ..errors import AreaError
from ..words.names import area_words
from .area_set import AreaSet


def faces_to_fit(area_set: AreaSet, names: tuple[str, ...]) -> BoolArray | None:
    """Return the faces of the evaluation mesh whose corners all lie in the named areas, (m',)."""
    if not names:
        return None
    points = np.zeros(len(area_set.evaluation.points), dtype=bool)
    for name in names:
        if name not in area_set.areas:
            raise no_area(name, area_set, "fit_areas")
        points |= area_set.areas[name].points
    faces: BoolArray = np.all(points[area_set.evaluation.mesh.faces], axis=1)
    return faces


def no_area(name: str, area_set: AreaSet, *arguments: str) -> AreaError:
    """Return the error for an area that is not there, asked for by these arguments."""
    why = area_set.missing.get(name)
    missing = f"It has no {area_words(name)}. {why}"
    return AreaError(
        f"It has no area called {name!r}." if why is None else missing,
        subject=area_set.evaluation.design.name,
        remedy=f"Choose from {', '.join(area_set.areas)}.",
        arguments=arguments,
    )
