"""What every cause would do to a study's design, kept: workers and later runs need not find it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields as attributes_of
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arrays import FloatArray
from ...causes.design_fields import CauseFields, Fields, cause_fields_steps
from ...causes.settings import CausesSettings, ProductionFacts
from ...measure import ReadyDesign
from ...progress import Steps
from .result_store import ResultStore, key_of

_WHOLE = ("along_mm", "centre", "cell", "cell_points", "cell_inside")
_AT = "_at"
_DENSE = 0.5
"""Columns with a smaller share of other numbers than 0 are kept by their places."""


def fields_key(areas: str, settings: CausesSettings, searched: tuple[ProductionFacts, ...]) -> str:
    """Return under which fields are kept.

    Parameters
    ----------
    areas : str
        Under which the areas are kept, which stands for their content and the design's.
    settings : CausesSettings
    searched : tuple of ProductionFacts
        What corners are looked at for.
    """
    tried = [settings.cell_mm, settings.rim_mm, settings.fossa_ball_mm, settings.warp_reach_mm]
    return key_of("fields", areas, tried, list(searched))


def kept_fields_steps(
    store: ResultStore,
    areas: str,
    ready: ReadyDesign,
    settings: CausesSettings,
    searched: tuple[ProductionFacts, ...],
) -> Steps[CauseFields]:
    """Return a design's fields, worked out and kept where that has not been done yet."""
    key = fields_key(areas, settings, searched)
    found = load_fields(store, key, ready, settings)
    if found is not None:
        return found
    made = yield from cause_fields_steps(ready.area_set, ready.prepared.index, settings, searched)
    _save(store, key, made)
    return made


def _save(store: ResultStore, key: str, made: CauseFields) -> None:
    arrays: dict[str, NDArray[Any]] = {name: getattr(made, name) for name in _WHOLE}
    shapes: dict[str, list[float] | None] = {}
    for one in attributes_of(Fields):
        held: FloatArray | Mapping[float, FloatArray] = getattr(made.fields, one.name)
        if isinstance(held, Mapping):
            shapes[one.name] = list(held)
            for number, column in enumerate(held.values()):
                arrays |= _packed(f"{one.name}_{number}", column)
        else:
            shapes[one.name] = None
            arrays |= _packed(one.name, held)
    store.save(key, {"shapes": shapes, "cell_mm": made.cell_mm}, arrays)


def _packed(name: str, column: FloatArray) -> dict[str, NDArray[Any]]:
    places = np.flatnonzero(column) if column.ndim == 1 else np.arange(len(column))
    if column.ndim > 1 or len(places) > _DENSE * len(column):
        return {name: column}
    return {name: column[places], f"{name}{_AT}": places.astype(np.int32)}


def load_fields(
    store: ResultStore, key: str, ready: ReadyDesign, settings: CausesSettings
) -> CauseFields | None:
    """Return kept fields; None if there are none."""
    entry = store.load(key)
    if entry is None:
        return None
    record, arrays = entry
    count = len(ready.evaluation.points)

    def column(name: str) -> NDArray[Any]:
        if f"{name}{_AT}" not in arrays:
            return arrays[name]
        whole = np.zeros(count)
        whole[arrays[f"{name}{_AT}"]] = arrays[name]
        return whole

    held: dict[str, Any] = {
        name: column(name)
        if shapes is None
        else {shape: column(f"{name}_{number}") for number, shape in enumerate(shapes)}
        for name, shapes in record["shapes"].items()
    }
    whole = {name: arrays[name] for name in _WHOLE}
    return CauseFields(
        area_set=ready.area_set,
        settings=settings,
        fields=Fields(**held),
        cell_mm=record["cell_mm"],
        **whole,
    )
