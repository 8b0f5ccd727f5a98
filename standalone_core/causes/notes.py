"""What could not be looked for, and why."""

from __future__ import annotations

import numpy as np

from ..areas.area_set import AreaSet
from ..arrays import FloatArray
from ..shares import share_words
from .corner_fields import usable_bur_mm
from .correction import factor_question
from .design_fields import CauseFields
from .settings import ProductionFacts

_MOST_MISSING = 0.1


def notes_of(fields: CauseFields, values: FloatArray, facts: ProductionFacts) -> tuple[str, ...]:
    """Return what a reader must know of what was not looked for.

    Parameters
    ----------
    fields : CauseFields
    values : (c,) float
        The cells' mean deviations; NaN where not measured.
    facts : ProductionFacts
    """
    notes = [factor_question(facts)]
    area_set, measured = fields.area_set, np.isfinite(values)
    inside = fields.cell_inside
    if not inside.any() or measured[inside].mean() < 0.5:
        notes.append(
            "Without the intaglio, scale and growth of the outside look alike: they are not told "
            "apart. Scan the intaglio, too."
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


def _extent_mm(area_set: AreaSet) -> float:
    return float(np.ptp(area_set.evaluation.points, axis=0).max())
