"""Three or more groups at once, with all pairs after it."""

from __future__ import annotations

import numpy as np

from ...progress import Progress, Steps
from ...statistics.many_groups import ManyGroups, compare_many
from ...words.text import listed
from .cohort import Cohort, Places
from .fit_words import measured_words
from .results.comparisons import OverallRow
from .sentences import OVERALL_WORDS, p_words

TOO_FEW_GROUPS = "Fewer than three groups have two or more crowns with this number."


def overall_steps(cohort: Cohort, places: Places | None = None) -> Steps[tuple[OverallRow, ...]]:
    """Compare all groups at once per area and measure, step by step; fewer than three: nothing.

    Groups with fewer than two crowns that have the number are left out of a row. What is compared
    is ``places``, or every area by every measure of trueness; nothing is claimed of it, since the
    plan's order holds the claims, pair by pair.
    """
    if len(cohort.groups) < 3:
        return ()
    places = cohort.places if places is None else places
    found: list[ManyGroups | None] = []
    for i, (area, measure) in enumerate(places):
        yield Progress("Comparing all groups", i / len(places))
        found.append(_compared(cohort, area, measure))
    return tuple(_row(cohort, *place, many) for place, many in zip(places, found, strict=True))


def _compared(cohort: Cohort, area: str, measure: str) -> ManyGroups | None:
    groups = {
        group: values
        for group, values in cohort.by_group(area, measure).items()
        if np.count_nonzero(~np.isnan(values)) > 1
    }
    if len(groups) < 3:
        return None
    return compare_many(groups, confidence=cohort.plan.analysis.confidence)


def _row(cohort: Cohort, area: str, measure: str, many: ManyGroups | None) -> OverallRow:
    plan, where = cohort.plan.analysis, measured_words(area, measure)
    primary = (area, measure) == plan.order[0]
    if many is None:
        sentence = f"{where}: not compared at once. {TOO_FEW_GROUPS}"
        return OverallRow(area, measure, plan.lead, primary, None, sentence, TOO_FEW_GROUPS)
    test = many.welch_anova if plan.lead != "ranks" else many.kruskal_wallis
    sentence = _sentence(cohort, where, many, test.p, str(test.reason))
    return OverallRow(area, measure, plan.lead, primary, many, sentence, str(test.reason))


def _sentence(cohort: Cohort, where: str, many: ManyGroups, p: float, reason: str) -> str:
    names = listed([cohort.title(group) for group in many.n])
    if reason:
        return f"{where}: {names} were not compared at once. {reason}"
    test = OVERALL_WORDS[cohort.plan.analysis.lead]
    return f"{where}, {names} at once: {test}, {p_words(p)}, unadjusted and exploratory."
