"""Each group against the tolerances: how many crowns are within, and will the next one be."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist

import numpy as np
from scipy import special

from ...shares import short_share
from ...statistics.assumptions import ShapiroWilk, shapiro_wilk
from ...statistics.tolerance import ShareWithin, ToleranceLimit, upper_tolerance_limit, wilson
from ...words.names import NOT_DECIDABLE, OUTSIDE, WITHIN, area_words
from ...words.text import listed, micrometres, plural
from ..measuring.results import Crown
from .cohort import Cohort
from .results.groups import ToleranceRow
from .sentences import p_words

_NAMED = 6  # crowns outside that a sentence names


def tolerance_rows(cohort: Cohort) -> tuple[ToleranceRow, ...]:
    """Hold every group against the tolerance of every area.

    A group *meets* a tolerance if none of its crowns is outside and the one-sided tolerance limit
    of its mean absolute deviations (the larger of both directions of each crown) lies within: then
    at least the plan's ``next_crown_content`` of all crowns made this way are within, with its
    ``confidence``. It *does not* if so few crowns within would be that rare, by the binomial
    distribution, were that content within. Between the two so few crowns decide nothing.

    The areas of a group share 1 − confidence equally (Bonferroni), so that the chance of even one
    wrong claim about a group is no more than that.
    """
    return tuple(_row(cohort, group, area) for group in cohort.groups for area in cohort.areas)


def confidence_each(cohort: Cohort) -> float:
    """Return how sure each claim about a group is, so that all of them are as sure as planned."""
    tolerances = cohort.plan.check.tolerances
    limits = [area for area in cohort.areas if tolerances.limit_um(area) > 0]
    return 1 - (1 - cohort.plan.analysis.confidence) / max(len(limits), 1)


def _row(cohort: Cohort, group: str, area: str) -> ToleranceRow:
    plan, tolerances = cohort.plan.analysis, cohort.plan.check.tolerances
    crowns = cohort.crowns[group]
    words = [_verdict(crown, area) for crown in crowns]
    within, outside = words.count(WITHIN), words.count(OUTSIDE)
    out = tuple(c.name for c, word in zip(crowns, words, strict=True) if word == OUTSIDE)
    share = wilson(within, within + outside, confidence=plan.confidence)
    values = [
        np.nan if word == NOT_DECIDABLE else judged_um(crown, area)
        for crown, word in zip(crowns, words, strict=True)
    ]
    normality = shapiro_wilk(values)
    ahead = upper_tolerance_limit(
        values, content=plan.next_crown_content, confidence=confidence_each(cohort)
    )
    limit = tolerances.limit_um(area)
    meets = _meets(share, ahead, limit, outside)
    doubtful = bool(meets) and normality.p <= plan.alpha and not _by_any_model(values, ahead, limit)
    return ToleranceRow(
        group=group,
        area=area,
        tolerance_um=limit,
        source=tolerances.source(area),
        share=share,
        undecided=words.count(NOT_DECIDABLE),
        outside=out,
        next_crown=ahead,
        normality=normality,
        meets=meets,
        rests_on_model=doubtful,
        sentence=_sentence(cohort.title(group), area, limit, share, out, ahead, meets)
        + (_rests_on_model(normality) if doubtful else ""),
    )


def _verdict(crown: Crown, area: str) -> str:
    return next((v.verdict for v in crown.verdicts if v.area == area), NOT_DECIDABLE)


def judged_um(crown: Crown, area: str) -> float:
    """Return the mean absolute deviation that a crown is judged by: the larger direction's."""
    found = [v for v in crown.verdicts if v.area == area]
    return float(np.fmax(found[0].mean_abs_um, found[0].back_mean_abs_um)) if found else np.nan


def _meets(share: ShareWithin, ahead: ToleranceLimit, limit_um: float, outside: int) -> bool | None:
    """A crown outside by unmatched surface has a mean below the limit: it is not shown to meet."""
    if np.isnan(limit_um):
        return None
    if ahead.limit <= limit_um and not outside:
        return True
    so_few = float(special.bdtr(share.within, share.n, ahead.content)) if share.n else 1.0
    return False if so_few <= 1 - ahead.confidence else None


def _sentence(
    title: str,
    area: str,
    limit_um: float,
    share: ShareWithin,
    outside: Sequence[str],
    ahead: ToleranceLimit,
    meets: bool | None,
) -> str:
    where = f"{title}, {area_words(area)}"
    if np.isnan(limit_um):
        return f"{where}: no tolerance is set."
    if not share.n:
        return f"{where}: no crown could be judged."
    counted = (
        f"{share.within} of {share.n} crowns are within {limit_um:g} µm"
        f"{outside_words(outside, share.within)} "
        f"({short_share(share.confidence)} interval of the share {short_share(share.ci_low)} to "
        f"{short_share(share.ci_high)})"
    )
    if ahead.reason:
        return (
            f"{where}: {counted}. What the next crown will be cannot be predicted: {ahead.reason}"
        )
    future = (
        f"{short_share(ahead.content)} of all crowns made this way lie below "
        f"{micrometres(ahead.limit)} µm, {short_share(ahead.confidence)} sure, if they are spread "
        f"normally"
    )
    if meets is None:
        end = "not shown to meet it"
    else:
        end = "meets the tolerance" if meets else "does not meet the tolerance"
    return f"{where}: {counted}; {future}: {end}."


def _by_any_model(values: Sequence[float], ahead: ToleranceLimit, limit_um: float) -> bool:
    """Return whether the limit is so far off that it holds whatever the values' distribution.

    Cantelli's inequality: of any distribution at least the share c lies below its mean and
    √(c/(1 − c)) standard deviations; of a normal one, below its mean and z(c). The uncertainty of
    mean and spread is allowed for as the normal tolerance limit does it, in that proportion.
    """
    content = ahead.content
    wider = (content / (1 - content)) ** 0.5 / NormalDist().inv_cdf(content)
    mean = float(np.nanmean(values))
    return bool(limit_um >= mean + wider * (ahead.limit - mean))


def _rests_on_model(normality: ShapiroWilk) -> str:
    return (
        f" That rests on the normal model, which these values speak against (Shapiro–Wilk "
        f"{p_words(normality.p)})."
    )


def outside_words(names: Sequence[str], within: int = 1) -> str:
    """Name the crowns that are not within, unless all are: ", not m3 and m5"; many are counted.

    Examples
    --------
    >>> outside_words(["m3", "m5"]), outside_words([]), outside_words(["m3", "m5"], within=0)
    (', not m3 and m5', '', '')
    """
    if not names or not within:
        return ""
    more = len(names) - _NAMED
    if more <= 0:
        return f", not {listed(names)}"
    return f", not {', '.join(names[:_NAMED])} and {more} more {plural('crown', more)}"
