"""Crowns unlike the others of their group: flagged with the reason, never dropped."""

from __future__ import annotations

import numpy as np

from ..mesh.triangle_mesh import FloatArray
from ..statistics.odd import LEAST, find_odd
from ..words.names import MEASURE_WORDS, area_words
from ..words.text import capital, count_words
from .analysis_results import OddCrown
from .cohort import Cohort, measured

JUDGED_BY = "rms_um"
"""How far apart two crowns are in an area: a root mean square is a distance between maps."""

ALWAYS = "whole"
"""Judged even where the plan does not name it."""


def odd_crowns(cohort: Cohort) -> tuple[OddCrown, ...]:
    """Judge every crown by its distance from the others in each area and as a whole.

    Distances are those of pairs laid on each other, point by point: they tell more than a measure
    of each crown, above all in small groups. Where no pair could be superimposed, the crowns'
    measures stand in. The plan's ``odd_false_alarm`` holds for each group and all areas together.
    """
    return tuple(row for group in cohort.groups for row in _judged(cohort, group))


def _judged(cohort: Cohort, group: str) -> list[OddCrown]:
    crowns, nan = cohort.crowns[group], float("nan")
    if len(crowns) < LEAST:
        reason = f"Not judged: the group has only {count_words(len(crowns), 'crown')}."
        return [OddCrown(crown.name, group, False, nan, nan, reason) for crown in crowns]
    areas = dict.fromkeys((*cohort.areas, ALWAYS))
    maps = {area_words(area): _pair_table(cohort, group, area) for area in areas}
    apart = not all(np.isnan(table).all() for table in maps.values())
    measures = {
        f"{MEASURE_WORDS[JUDGED_BY]} ({area_words(area)})": cohort.values(group, area, JUDGED_BY)
        for area in areas
    }
    found = find_odd(
        {} if apart else measures,
        maps=maps if apart else {},
        names=[crown.name for crown in crowns],
        false_alarms=cohort.plan.analysis.odd_false_alarm,
    )
    return [
        OddCrown(unit.name, group, unit.odd, unit.score, unit.limit, _sentence(unit.reason))
        for unit in found.units
    ]


def _sentence(reason: str) -> str:
    return f"{capital(reason.rstrip('.'))}." if reason else ""


def _pair_table(cohort: Cohort, group: str, area: str) -> FloatArray:
    """Return the distances between crowns laid on each other, NaN where there is none."""
    names = [crown.name for crown in cohort.crowns[group]]
    table = np.full((len(names), len(names)), np.nan)
    for pair in cohort.pairs[group]:
        i, j = names.index(pair.first), names.index(pair.second)
        table[i, j] = table[j, i] = measured(pair.superimposed, area, JUDGED_BY)
    return table
