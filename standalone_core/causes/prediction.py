"""What the areas would measure after a correction: a prediction, never a measurement."""

from __future__ import annotations

import numpy as np

from ..areas.area_set import AreaSet
from ..arrays import FloatArray
from ..deviation.tolerances import Tolerances
from .result import PredictedArea


def superimposed_anew(
    deviation_mm: FloatArray, rigid: FloatArray, weights: FloatArray
) -> FloatArray:
    """Return deviations after the rigid motion that makes their mean square least.

    Parameters
    ----------
    deviation_mm : (n,) float
        NaN where not measured.
    rigid : (n, 6) float
        What small motions do, mm per unit.
    weights : (n,) float
        mm².
    """
    counts = np.isfinite(deviation_mm)
    if np.count_nonzero(counts) < rigid.shape[1]:
        return deviation_mm
    root = np.sqrt(weights[counts])[:, None]
    motion = np.linalg.lstsq(rigid[counts] * root, deviation_mm[counts] * root[:, 0], rcond=None)[0]
    return deviation_mm - rigid @ motion


def predicted_areas(
    area_set: AreaSet,
    deviation_mm: FloatArray,
    corrected_mm: FloatArray,
    tolerances: Tolerances,
    without: str,
) -> tuple[PredictedArea, ...]:
    """Return what areas with a tolerance would measure without a cause.

    Parameters
    ----------
    area_set : AreaSet
    deviation_mm : (n,) float
        As measured from design to scan, mm; NaN where not.
    corrected_mm : (n,) float
        The same without the cause, superimposed anew.
    tolerances : Tolerances
    without : str
        Which cause, by name.
    """
    weights = area_set.evaluation.weights_mm2
    rows = []
    for name, area in area_set.areas.items():
        limit = tolerances.limit_um(name)
        used = area.points & np.isfinite(deviation_mm)
        if not np.isfinite(limit) or not used.any():
            continue
        now, then = (
            1e3 * float(np.average(np.abs(values[used]), weights=weights[used]))
            for values in (deviation_mm, corrected_mm)
        )
        rows.append(PredictedArea(without, name, now, then, float(limit)))
    return tuple(rows)
