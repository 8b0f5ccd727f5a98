"""What could not be looked for, and why."""

from __future__ import annotations

import numpy as np

from ..areas.area_set import AreaSet
from ..arrays import BoolArray, FloatArray
from ..shares import share_words
from .corner_fields import usable_bur_mm
from .correction import factor_question
from .design_fields import CauseFields
from .settings import ProductionFacts

_MOST_MISSING = 0.1
_SAG_THAT_MATTERS_UM = 1.5


def notes_of(
    fields: CauseFields, values: FloatArray, facts: ProductionFacts, confounded: bool | None
) -> tuple[str, ...]:
    """Return what a reader must know of what was not looked for.

    Parameters
    ----------
    fields : CauseFields
    values : (c,) float
        The cells' mean deviations; NaN where not measured.
    facts : ProductionFacts
    confounded : bool or None
        Whether scale and growth look alike; None where nothing was looked for.
    """
    notes = [factor_question(facts)]
    area_set, measured = fields.area_set, np.isfinite(values)
    if confounded:
        notes.append(_told_apart(fields.cell_inside, measured))
    if fields.cell_mm > fields.settings.cell_mm:
        notes.append(
            f"The surface is so large, or cells of {fields.settings.cell_mm:g} mm so small, that "
            f"cells of {fields.cell_mm:.2g} mm were taken."
        )
    missing = float(fields.cell_mm2[~measured].sum() / fields.cell_mm2.sum())
    if missing > _MOST_MISSING:
        notes.append(
            f"{share_words(missing, digits=0)} of the surface was not measured: causes there do "
            "not show, and intervals are wider."
        )
    if not fields.fields.rings:
        notes.append(
            "Without a margin line and a path of insertion no deformation of the margin is "
            "looked for."
        )
    if facts.build_direction is None and facts.way != "milled":
        notes.append(
            "Without a build direction, layer steps are not looked for, and scale along it only "
            "as a scale that differs per direction."
        )
    if facts.bur_radius_mm is not None and usable_bur_mm(facts, area_set.evaluation) is None:
        notes.append(
            f"A bur of {facts.bur_radius_mm:g} mm in radius is too large for a crown of "
            f"{_extent_mm(area_set):.1f} mm: its radius is searched instead. Give millimetres, "
            "and the radius, not the diameter."
        )
    return tuple(note for note in notes if note)


def about_sag(sag_mm: FloatArray, weights: FloatArray, edge_mm: float) -> tuple[str, ...]:
    """Tell what the scan's triangles alone read as, where that matters.

    Parameters
    ----------
    sag_mm : (n,) float
        What was taken off for it, mm.
    weights : (n,) float
        Areas.
    edge_mm : float
        The triangles' mean edge.
    """
    rms = 1e3 * float(np.sqrt(np.average(sag_mm**2, weights=weights)))
    if rms < _SAG_THAT_MATTERS_UM:
        return ()
    return (
        f"The scan's coarse triangles ({edge_mm:.2f} mm edges) alone read as {rms:.1f} µm RMS of "
        "worn cusps and filled fossae: that was taken off, and causes are held to be that much "
        "less sure.",
    )


def _told_apart(inside: BoolArray, measured: BoolArray) -> str:
    """Say why scale and growth cannot be told apart, and what would help."""
    if not (measured & ~inside).any():
        missing, alike = "external surface", "growth of the inside"
    elif inside.any():
        missing, alike = "intaglio", "growth of the outside"
    else:
        return "On this surface scale and growth look alike: they are not told apart."
    return (
        f"Without the {missing}, scale and {alike} look alike: they are not told apart. Scan the "
        f"{missing}, too."
    )


def _extent_mm(area_set: AreaSet) -> float:
    return float(np.ptp(area_set.evaluation.points, axis=0).max())
