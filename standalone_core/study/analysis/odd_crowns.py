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

JUDGED_BY = "mean_abs_um"
"""What a tolerance is held against."""

ALWAYS = "whole"
"""Judged even where the plan does not name it."""

_SHOWN = 3  # areas that a reason names


def odd_crowns(cohort: Cohort) -> tuple[OddCrown, ...]:
    """Judge every crown by its distance from the others, by what it is judged by, and by its fit.

    Distances are those of pairs laid on each other, in each area and as a whole, point by point:
    they tell a surface of another form, which no number of the crown need show. Its mean absolute
    deviation where that has a tolerance, and the primary measure, tell a crown that is worse than
    its group in the way in which all its crowns are off. Where no pair could be superimposed,
    measures of all areas stand in. How crowns fit is judged by its numbers, where enough crowns of
    a group have one. The plan's ``odd_false_alarm`` holds for each group and all of it together.
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
    places = _places(cohort) if apart else tuple((area, COMPARED_BY) for area in areas)
    measured_at = (*_with_values(cohort, group, places), *_fit_judged(cohort, group))
    found = find_odd(
        {place_key(*place): cohort.values(group, *place) for place in measured_at},
        maps=maps if apart else {},
        names=[crown.name for crown in crowns],
        false_alarms=cohort.plan.analysis.odd_false_alarm,
    )
    return [OddCrown(unit.name, group, unit, odd_reason(unit)) for unit in found.units]


def _places(cohort: Cohort) -> Places:
    """Return what crowns are judged by: where there is a tolerance, and the primary measure."""
    plan, limit_um = cohort.plan.analysis, cohort.plan.check.tolerances.limit_um
    judged = [(area, JUDGED_BY) for area in cohort.areas if limit_um(area) > 0]
    primary = (plan.primary_area, plan.primary_measure)
    if primary in cohort.places and primary[1].endswith("_um"):
        judged.append(primary)
    return tuple(dict.fromkeys(judged))


def _fit_judged(cohort: Cohort, group: str) -> Places:
    return _with_values(cohort, group, cohort.fit_pairs)


def _with_values(cohort: Cohort, group: str, places: Places) -> Places:
    """Return the places whose numbers show what is usual in a group; few crowns show nothing."""
    return tuple(
        place
        for place in places
        if np.count_nonzero(~np.isnan(cohort.values(group, *place))) >= LEAST
    )


def place_key(area: str, measure: str) -> str:
    """Name area and measure for :attr:`.Sign.measure`, where maps have their area."""
    return f"{measure} {area}"


def _place(key: str) -> tuple[str, str]:
    """Return the area and measure of such a name."""
    measure, _, area = key.partition(" ")
    return area, measure


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
    value = f"{_figures(sign.value)} µm"
    if sign.of_map:
        what = f"{area_words(sign.measure)}: its surface lies {value} from the others' mean"
    else:
        area, measure = _place(sign.measure)
        if measure in FIT_MEASURES:
            what = f"{fit_words(area, measure)} {value}"
        else:
            what = f"{MEASURE_WORDS[measure]} ({area_words(area)}) {value}"
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
