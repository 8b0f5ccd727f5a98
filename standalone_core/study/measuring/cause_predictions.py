"""What each crown would measure without a cause that its group shares: a prediction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...arrays import FloatArray
from ...causes.case import Case
from ...causes.find import fields_by_cause
from ...causes.prediction import predicted_areas, superimposed_anew
from ...causes.result import PredictedArea
from ...check_settings import CheckSettings
from .crowns import judged
from .results import Crown

ALL = "all"
"""Stands for all stated causes together."""


@dataclass(frozen=True)
class PredictedVerdict:
    """One area of one crown without a cause of its group.

    Attributes
    ----------
    crown : str
    without : str
        The cause, by name; ``all`` for all stated ones.
    area : str
    mean_abs_um, predicted_um : float
        From design to scan, as measured, and without what the cause makes in the group's mean.
    limit_um : float
        The area's tolerance.
    verdict, predicted : str
        As measured, and by the same rules without the cause.
    """

    crown: str
    without: str
    area: str
    mean_abs_um: float
    predicted_um: float
    limit_um: float
    verdict: str
    predicted: str


def predicted_verdicts(
    case: Case, crown: Crown, deviation_mm: FloatArray, settings: CheckSettings
) -> tuple[PredictedVerdict, ...]:
    """Predict a crown's measures and verdicts without each stated cause, and without all.

    What the cause makes in the group's mean is subtracted and the rest superimposed anew. From
    scan to design the mean absolute deviation is taken to change by as much; what else verdicts
    look at (unmatched surface, missing margin) is taken to stay.

    Parameters
    ----------
    case : Case
        Of the group's mean crown.
    crown : Crown
    deviation_mm : (n,) float
        From design to scan as measured, mm; NaN where not.
    settings : CheckSettings
        The study's.
    """
    area_set = case.fields.area_set
    weights, rigid = area_set.evaluation.weights_mm2, case.fields.fields.rigid
    without = dict(fields_by_cause(case))
    if len(without) > 1:
        without[ALL] = np.sum(list(without.values()), axis=0)
    now = {one.area: one.verdict for one in crown.verdicts}
    rows: list[PredictedVerdict] = []
    for name, made in without.items():
        corrected = superimposed_anew(deviation_mm - made, rigid, weights)
        areas = predicted_areas(area_set, deviation_mm, corrected, settings.tolerances, name)
        then = _judged_anew(crown, areas, settings)
        rows += [
            PredictedVerdict(
                crown=crown.name,
                without=name,
                area=one.area,
                mean_abs_um=one.mean_abs_um,
                predicted_um=one.predicted_um,
                limit_um=one.limit_um,
                verdict=now[one.area],
                predicted=then[one.area],
            )
            for one in areas
            if one.area in now
        ]
    return tuple(rows)


def _judged_anew(
    crown: Crown, areas: Sequence[PredictedArea], settings: CheckSettings
) -> dict[str, str]:
    """Return the verdict of each area after its measures have changed."""
    changes = {one.area: one.predicted_um - one.mean_abs_um for one in areas}
    measures = tuple(
        replace(row, mean_abs_um=max(row.mean_abs_um + changes.get(row.area, 0.0), 0.0))
        for row in crown.measures
    )
    then = judged(replace(crown, measures=measures), settings)
    return {one.area: one.verdict for one in then.verdicts}
