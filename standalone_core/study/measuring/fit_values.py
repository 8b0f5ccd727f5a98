"""The numbers of one crown's fit that a study compares."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ...fit.contacts.result import Contacts, ToothContact
from ...fit.result import FitResult
from ..fit_plan import FIT_MEASURES
from .crown_fit import FitValue


def fit_values(result: FitResult) -> tuple[FitValue, ...]:
    """Return the values of :data:`~.fit_plan.FIT_MEASURES` that a fit has; NaN where a part of it
    could not be measured."""
    return tuple(_values(result))


def _values(result: FitResult) -> Iterator[FitValue]:
    if result.margin is not None:
        yield FitValue("margin", "marginal_gap_um", result.margin.mean_um)
        yield FitValue("margin", "marginal_gap_most_um", result.margin.most_um)
        yield FitValue("margin", "absolute_discrepancy_um", result.margin.absolute_mean_um)
    if result.gap is not None:
        for space in result.gap.areas:
            if space.area in FIT_MEASURES["cement_space_um"]:
                yield FitValue(space.area, "cement_space_um", space.mean_um)
    if result.seat is not None:
        yield FitValue("whole", "above_intended_um", result.seat.above_intended_um)
    if result.walls is not None:
        for wall in result.walls.areas:
            yield FitValue(wall.area, "least_wall_um", 1e3 * wall.least_mm)
    if result.contacts is not None:
        for place, gap_um in _contacts(result.contacts).items():
            yield FitValue(place, "contact_gap_um", gap_um)


def _contacts(contacts: Contacts) -> dict[str, float]:
    """The deepest contact, else the narrowest gap, by where it is; NaN where nothing is near."""
    found: dict[str, float] = {}
    for row in contacts.rows:
        place = _place(row)
        least = min(found.get(place, math.inf), _or_infinite(row.gap_um))
        found[place] = least
    return {place: gap if math.isfinite(gap) else math.nan for place, gap in found.items()}


def _or_infinite(gap_um: float) -> float:
    return gap_um if math.isfinite(gap_um) else math.inf


def _place(row: ToothContact) -> str:
    if row.kind == "occlusal":
        return "contact_occlusal"
    side = row.side if row.side in ("mesial", "distal") else row.tooth
    return f"contact_{side}"
