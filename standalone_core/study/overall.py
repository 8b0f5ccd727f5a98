"""Three or more groups at once, with all pairs after it."""

from __future__ import annotations

import numpy as np

from ..progress import Progress, Steps
from ..statistics.many_groups import DunnPair, GamesHowellPair, ManyGroups, compare_many
from ..words.names import measured_in
from ..words.text import listed
from .cohort import Cohort
from .comparison_results import OverallRow, PostHocRow
from .families import Corrected, correct, is_primary
from .plan import Lead
from .wording import OVERALL_WORDS, p_words


def overall_steps(cohort: Cohort) -> Steps[tuple[OverallRow, ...]]:
    """Compare all groups at once per area and measure, step by step; fewer than three: nothing.

    Groups with fewer than two crowns that have the number are left out of a row.
    """
    if len(cohort.groups) < 3:
        return ()
    places = [(area, measure) for area in cohort.areas for measure in cohort.measures]
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
    lead = cohort.plan.analysis.lead
    if many is None:
        return _no_row(area, measure, lead, primary)
    anova, kruskal = many.welch_anova, many.kruskal_wallis
    return OverallRow(
        area=area,
        measure=measure,
        groups=tuple(many.n),
        lead=lead,
        p_value=_leading_p(cohort, many),
        p_holm=p.p_holm,
        primary=primary,
        welch_f=anova.f,
        welch_df1=anova.df_between,
        welch_df2=anova.df_within,
        welch_p=anova.p,
        kruskal_h=kruskal.h,
        kruskal_df=kruskal.df,
        kruskal_p=kruskal.p,
        post_hoc=tuple(map(_post_hoc, many.games_howell, many.dunn)),
        sentence=_sentence(cohort, area, measure, many, p),
        reason=anova.reason if lead == "welch" else kruskal.reason,
    )


def _no_row(area: str, measure: str, lead: Lead, primary: bool) -> OverallRow:
    nan, reason = np.nan, "Fewer than three groups have two or more crowns with this number."
    return OverallRow(
        area=area,
        measure=measure,
        groups=(),
        lead=lead,
        p_value=nan,
        p_holm=nan,
        primary=primary,
        welch_f=nan,
        welch_df1=nan,
        welch_df2=nan,
        welch_p=nan,
        kruskal_h=nan,
        kruskal_df=nan,
        kruskal_p=nan,
        post_hoc=(),
        sentence=f"{measured_in(area, measure)}: not compared at once. {reason}",
        reason=reason,
    )


def _post_hoc(means: GamesHowellPair, ranks: DunnPair) -> PostHocRow:
    """Turn a pair's results round: second minus first."""
    return PostHocRow(
        first=means.first,
        second=means.second,
        difference=-means.difference,
        low=-means.ci_high,
        high=-means.ci_low,
        games_howell_p=means.p,
        dunn_z=-ranks.z,
        dunn_p=ranks.p,
        dunn_p_holm=ranks.p_holm,
    )


def _sentence(cohort: Cohort, area: str, measure: str, many: ManyGroups, p: Corrected) -> str:
    plan, where = cohort.plan.analysis, measured_in(area, measure)
    names = listed([cohort.title(group) for group in many.n])
    reason = many.welch_anova.reason if plan.lead == "welch" else many.kruskal_wallis.reason
    if reason:
        return f"{where}: {names} were not compared at once. {reason}"
    over = f" after correction for {p.family} comparisons" if p.family > 1 else ""
    test = f"({OVERALL_WORDS[plan.lead]}, {p_words(p.p_holm)}{over})"
    if p.p_holm <= plan.alpha:
        return f"{where}: at least one of {names} differs from the others {test}."
    return f"{where}: that any of {names} differs from the others is not shown {test}."
