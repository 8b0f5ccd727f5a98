"""Three or more groups at once, with all pairs after it."""

from __future__ import annotations

import numpy as np

from ...progress import Progress, Steps
from ...statistics.many_groups import ManyGroups, compare_many
from ...words.text import listed
from .cohort import Cohort, Places
from .corrections import correct, is_primary
from .fit_words import measured_words
from .results.comparisons import Corrected, OverallRow
from .sentences import OVERALL_WORDS, p_words

TOO_FEW_GROUPS = "Fewer than three groups have two or more crowns with this number."


def overall_steps(cohort: Cohort, places: Places | None = None) -> Steps[tuple[OverallRow, ...]]:
    """Compare all groups at once per area and measure, step by step; fewer than three: nothing.

    Groups with fewer than two crowns that have the number are left out of a row. What is compared
    is one family: ``places``, or every area by every measure of trueness.
    """
    if len(cohort.groups) < 3:
        return ()
    places = cohort.places if places is None else places
    found: list[ManyGroups | None] = []
    for i, (area, measure) in enumerate(places):
        yield Progress("Comparing all groups", i / len(places))
        found.append(_compared(cohort, area, measure))
    primary = [is_primary(cohort.plan.analysis, *place) for place in places]
    corrected = correct([_leading_p(cohort, many) for many in found], primary)
    return tuple(
        _row(cohort, *place, many, p, first)
        for place, many, p, first in zip(places, found, corrected, primary, strict=True)
    )


def _compared(cohort: Cohort, area: str, measure: str) -> ManyGroups | None:
    groups = {
        group: values
        for group, values in cohort.by_group(area, measure).items()
        if np.count_nonzero(~np.isnan(values)) > 1
    }
    if len(groups) < 3:
        return None
    return compare_many(groups, confidence=cohort.plan.analysis.confidence)


def _leading_p(cohort: Cohort, many: ManyGroups | None) -> float:
    if many is None:
        return np.nan
    welch = cohort.plan.analysis.lead == "welch"
    return many.welch_anova.p if welch else many.kruskal_wallis.p


def _row(
    cohort: Cohort, area: str, measure: str, many: ManyGroups | None, p: Corrected, primary: bool
) -> OverallRow:
    lead, where = cohort.plan.analysis.lead, measured_words(area, measure)
    if many is None:
        sentence = f"{where}: not compared at once. {TOO_FEW_GROUPS}"
        return OverallRow(area, measure, lead, primary, None, p, sentence, TOO_FEW_GROUPS)
    test = many.welch_anova if lead == "welch" else many.kruskal_wallis
    sentence = _sentence(cohort, where, many, p, str(test.reason))
    return OverallRow(area, measure, lead, primary, many, p, sentence, str(test.reason))


def _sentence(cohort: Cohort, where: str, many: ManyGroups, p: Corrected, reason: str) -> str:
    plan = cohort.plan.analysis
    names = listed([cohort.title(group) for group in many.n])
    if reason:
        return f"{where}: {names} were not compared at once. {reason}"
    over = f" after correction for {p.family} comparisons" if p.family > 1 else ""
    test = f"({OVERALL_WORDS[plan.lead]}, {p_words(p.p_holm)}{over})"
    if p.p_holm <= plan.alpha:
        return f"{where}: at least one of {names} differs from the others {test}."
    return f"{where}: that any of {names} differs from the others is not shown {test}."
