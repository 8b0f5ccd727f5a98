"""Crowns unlike the others of their group: flagged with the reason, never dropped."""

from __future__ import annotations

import numpy as np

from ...arrays import FloatArray
from ...statistics.odd import LEAST, OddUnit, Sign, find_odd
from ...words.names import MEASURE_WORDS, area_words
from ...words.text import capital, count_words, signed_number
from ..fit_plan import FIT_MEASURES
from .cohort import Cohort, Places, measured
from .fit_words import fit_words
from .results.analysis import OddCrown

COMPARED_BY = "rms_um"
"""How far apart two crowns are in an area: a root mean square is a distance between maps."""

ALWAYS = "whole"
"""Judged even where the plan does not name it."""

_SHOWN = 3  # areas that a reason names


def odd_crowns(cohort: Cohort) -> tuple[OddCrown, ...]:
    """Judge every crown by its distance from the others in each area, as a whole, and by its fit.

    Distances are those of pairs laid on each other, point by point: they show more than a measure
    of each crown, above all in small groups. Where no pair could be superimposed, the crowns'
    measures stand in. How crowns fit is judged by its numbers, where enough crowns of a group have
    one. The plan's ``odd_false_alarm`` holds for each group and all of it together.
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
    forms = {} if apart else {area: cohort.values(group, area, COMPARED_BY) for area in areas}
    fits = {fit_key(*place): cohort.values(group, *place) for place in _fit_judged(cohort, group)}
    found = find_odd(
        forms | fits,
        maps=maps if apart else {},
        names=[crown.name for crown in crowns],
        false_alarms=cohort.plan.analysis.odd_false_alarm,
    )
    return [OddCrown(unit.name, group, unit, odd_reason(unit)) for unit in found.units]


def _fit_judged(cohort: Cohort, group: str) -> Places:
    """Return the numbers of fit that show what is usual in a group; few crowns show nothing."""
    return tuple(
        place
        for place in cohort.fit_pairs
        if np.count_nonzero(~np.isnan(cohort.values(group, *place))) >= LEAST
    )


def fit_key(area: str, measure: str) -> str:
    """Name area and measure of fit for :attr:`.Sign.measure`, where deviations have their area."""
    return f"{measure} {area}"


def _fit_place(key: str) -> tuple[str, str] | None:
    """Return the area and measure of such a name; None if it is an area's."""
    measure, _, area = key.partition(" ")
    return (area, measure) if area and measure in FIT_MEASURES else None


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
    """Say what is unusual about a crown in one area, or in one number of its fit."""
    area, value = area_words(sign.measure), f"{_figures(sign.value)} µm"
    place = None if sign.of_map else _fit_place(sign.measure)
    if place is not None:
        what = f"{fit_words(*place)} {value}"
    elif sign.of_map:
        what = f"{area}: its surface lies {value} from the others' mean"
    else:
        what = f"{MEASURE_WORDS[COMPARED_BY]} ({area}) {value}"
    return (
        f"{what}, against a median of {_figures(sign.usual)} µm "
        f"({_figures(sign.low)} to {_figures(sign.high)})"
    )


def _figures(value: float) -> str:
    """Write a value with three figures, or all that stand before the point."""
    return signed_number(value, ".0f" if abs(value) >= 100 else ".3g")


def _pair_table(cohort: Cohort, group: str, area: str) -> FloatArray:
    """Return the distances between crowns laid on each other, NaN where there is none."""
    names = [crown.name for crown in cohort.crowns[group]]
    table = np.full((len(names), len(names)), np.nan)
    for pair in cohort.pairs[group]:
        i, j = names.index(pair.first), names.index(pair.second)
        table[i, j] = table[j, i] = measured(pair.superimposed, area, COMPARED_BY)
    return table
