"""How much of each area differs between two groups, from the maps of point-by-point tests."""

from __future__ import annotations

import math

import numpy as np

from ...arrays import BoolArray, FloatArray
from ...shares import short_share
from ...words.names import area_words
from ...words.text import capital, micrometres
from ..measuring.results import DifferenceMap, StudyRun
from .cohort import Cohort
from .results.analysis import DifferenceShare

CAVEAT = (
    "This map shows where groups may differ; it does not say that they differ there. Each point "
    "is tested by itself (Welch), and of all points marked about the share α is expected to be "
    "marked wrongly (Benjamini–Hochberg). Neighbouring points are not independent, a best fit "
    "spreads an error over the whole surface, and whether a difference matters is not asked. "
    "Conclusions come from the comparisons per area, in which each crown counts once."
)


def difference_shares(cohort: Cohort, run: StudyRun) -> tuple[DifferenceShare, ...]:
    """Return the share of every area whose points differ, per pair of groups."""
    weights = run.area_set.evaluation.weights_mm2
    return tuple(
        _share(cohort, found, area, run.area_set.areas[area].points, weights)
        for found in run.differences
        for area in cohort.areas
    )


def _share(
    cohort: Cohort, found: DifferenceMap, area: str, inside: BoolArray, weights: FloatArray
) -> DifferenceShare:
    alpha = cohort.plan.analysis.alpha
    tested = inside & np.isfinite(found.q_value)
    differing = tested & (np.nan_to_num(found.q_value, nan=1.0) <= alpha)
    surface, tested_mm2 = float(weights[inside].sum()), float(weights[tested].sum())
    differing_mm2 = float(weights[differing].sum())
    mean = math.nan
    if differing_mm2 > 0:
        apart = found.difference_um[differing] * weights[differing]
        mean = float(apart.sum()) / differing_mm2
    first, second = cohort.title(found.first), cohort.title(found.second)
    share = differing_mm2 / tested_mm2 if tested_mm2 > 0 else math.nan
    return DifferenceShare(
        first=found.first,
        second=found.second,
        area=area,
        tested=tested_mm2 / surface if surface > 0 else math.nan,
        differing=share,
        mean_um=mean,
        sentence=_sentence(area, first, second, share, mean, alpha),
    )


def _sentence(
    area: str, first: str, second: str, share: float, mean_um: float, alpha: float
) -> str:
    name = capital(area_words(area))
    if math.isnan(share):
        return f"{name}: no point could be tested between {second} and {first}."
    if math.isnan(mean_um):
        return f"{name}: no point is marked as differing between {second} and {first}."
    return (
        f"{name}: {short_share(share)} of the tested surface is marked as differing between "
        f"{second} and {first} (q ≤ {alpha:g}), by {micrometres(mean_um, signed=True)} µm in "
        f"the mean."
    )
