"""How far repeated scans lie from the other crowns of their group: what the scanner adds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from ...areas.area_set import AreaSet
from ...arrays import FloatArray
from ...check_settings import CheckSettings
from ...deviation.field import COUNTED, TOO_FAR, DeviationField
from ...deviation.measures import AreaMeasures, measure_areas
from ...measure import ReadyDesign
from ...progress import Progress, Steps
from .group_maps import group_map
from .result_store import ResultStore, still_kept
from .results import Crown, RepeatScan
from .scan_job import load_deviations

LEAST_OTHERS = 2
"""Crowns of which a mean surface is taken."""


def from_others_steps(
    repeats: Sequence[RepeatScan],
    groups: Mapping[str, Sequence[Crown]],
    ready: ReadyDesign,
    store: ResultStore,
    settings: CheckSettings,
) -> Steps[tuple[RepeatScan, ...]]:
    """Measure every repeated scan against the other crowns of its crown's group, step by step.

    From scan to scan of a crown this varies as the crown's distance from its group's middle does:
    what it says is how far the scanner moves that distance, not how large it is. Crowns that
    belong to no group, or to one with fewer than :data:`LEAST_OTHERS` others, are left as they are.
    """
    means: dict[str, FloatArray] = {}
    found = []
    for number, repeat in enumerate(repeats):
        yield Progress("Comparing repeated scans", number / len(repeats))
        others = _others(repeat.crown, groups)
        if len(others) < LEAST_OTHERS:
            found.append(repeat)
            continue
        if repeat.crown not in means:
            means[repeat.crown] = _mean_mm(others, ready, store, settings)
        field = still_kept(load_deviations(store, repeat.scan.key, ready.evaluation, settings))
        rows = distance_from_others(
            field, means[repeat.crown], len(others), ready.area_set, weighted=settings.weighted
        )
        found.append(replace(repeat, from_others=rows))
    return tuple(found)


def distance_from_others(
    field: DeviationField,
    mean_mm: FloatArray,
    others: int,
    area_set: AreaSet,
    *,
    weighted: bool,
) -> tuple[AreaMeasures, ...]:
    """Measure how far one crown is from the mean of n others, per area.

    Times √((n + 1)/n), as distances from the middle of a group of n + 1 are: such a middle, a
    spatial median, does not follow a crown that moves away from it.

    Parameters
    ----------
    field : DeviationField
        The crown's, ``design_to_scan``, at p points.
    mean_mm : (p,) float
        Mean deviation of the others; NaN where none counts.
    others : int
        How many they are, n.
    area_set : AreaSet
    weighted : bool
    """
    apart = (field.deviation_mm - mean_mm) * np.sqrt((others + 1) / others)
    status = np.where(np.isfinite(apart), COUNTED, TOO_FAR).astype(np.uint8)
    distance = replace(field, deviation_mm=apart, status=status, foot_mm=None)
    return measure_areas([distance], area_set, weighted=weighted)


def _others(crown: str, groups: Mapping[str, Sequence[Crown]]) -> tuple[Crown, ...]:
    """Return the other crowns of a crown's group; none for a crown that is in no group."""
    for crowns in groups.values():
        if any(one.name == crown for one in crowns):
            return tuple(one for one in crowns if one.name != crown)
    return ()


def _mean_mm(
    crowns: Sequence[Crown], ready: ReadyDesign, store: ResultStore, settings: CheckSettings
) -> FloatArray:
    fields = (
        still_kept(load_deviations(store, crown.key, ready.evaluation, settings))
        for crown in crowns
    )
    deviations = (field.deviation_mm for field in fields)
    found = group_map("", deviations, np.nan, len(ready.evaluation.points))
    return np.asarray(1e-3 * found.mean_um)
