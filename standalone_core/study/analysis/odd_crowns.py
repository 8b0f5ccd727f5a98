"""Crowns unlike the others of their group: flagged with the reason, never dropped."""

from __future__ import annotations

import numpy as np

from ...arrays import FloatArray
from ...statistics.odd import LEAST, OddUnit, Sign, find_odd
from ...words.names import MEASURE_WORDS, area_words
from ...words.text import capital, count_words
from .cohort import Cohort, measured
from .results.analysis import OddCrown

COMPARED_BY = "rms_um"
"""How far apart two crowns are in an area: a root mean square is a distance between maps."""

ALWAYS = "whole"
"""Judged even where the plan does not name it."""

_SHOWN = 3  # areas that a reason names


def odd_crowns(cohort: Cohort) -> tuple[OddCrown, ...]:
    """Judge every crown by its distance from the others in each area and as a whole.

    Distances are those of pairs laid on each other, point by point: they show more than a measure
    of each crown, above all in small groups. Where no pair could be superimposed, the crowns'
    measures stand in. The plan's ``odd_false_alarm`` holds for each group and all areas together.
    """
    return tuple(row for group in cohort.groups for row in _judged(cohort, group))


def _judged(cohort: Cohort, group: str) -> list[OddCrown]:
    crowns = cohort.crowns[group]
    if len(crowns) < LEAST:
        reason = f"Not judged: the group has only {count_words(len(crowns), 'crown')}."
        return [OddCrown(crown.name, group, None, reason) for crown in crowns]
    areas = tuple(dict.fromkeys((*cohort.areas, ALWAYS)))
    maps = {area: _pair_table(cohort, group, area) for area in areas}
    apart = not all(np.isnan(table).all() for table in maps.values())
    found = find_odd(
        {} if apart else {area: cohort.values(group, area, COMPARED_BY) for area in areas},
        maps=maps if apart else {},
        names=[crown.name for crown in crowns],
        false_alarms=cohort.plan.analysis.odd_false_alarm,
    )
    return [OddCrown(unit.name, group, unit, odd_reason(unit)) for unit in found.units]


def odd_reason(unit: OddUnit) -> str:
    """Say what is unusual about a crown; empty if nothing is."""
    if unit.worst is None:
        return f"Not judged: fewer than {LEAST} units with a value, this one among them."
    if not unit.odd:
        return ""
    parts = [sign_words(sign) for sign in unit.signs[:_SHOWN]]
    more = len(unit.signs) - _SHOWN
    if more > 0:
        parts.append(f"and {more} more")
    return f"{capital('; '.join(parts))}."


def sign_words(sign: Sign) -> str:
    """Say what is unusual about a crown in one area."""
    area, value = area_words(sign.measure), f"{_figures(sign.value)} µm"
    if sign.of_map:
        what = f"{area}: its surface lies {value} from the others' mean"
    else:
        what = f"{MEASURE_WORDS[COMPARED_BY]} ({area}) {value}"
    return (
        f"{what}, against a median of {_figures(sign.usual)} µm "
        f"({_figures(sign.low)} to {_figures(sign.high)})"
    )


def _figures(value: float) -> str:
    """Write a value with three figures, or all that stand before the point."""
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _pair_table(cohort: Cohort, group: str, area: str) -> FloatArray:
    """Return the distances between crowns laid on each other, NaN where there is none."""
    names = [crown.name for crown in cohort.crowns[group]]
    table = np.full((len(names), len(names)), np.nan)
    for pair in cohort.pairs[group]:
        i, j = names.index(pair.first), names.index(pair.second)
        table[i, j] = table[j, i] = measured(pair.superimposed, area, COMPARED_BY)
    return table
