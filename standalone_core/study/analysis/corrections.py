"""Which p-values are corrected together.

Every comparison of the plan is one claim: each pair of groups in each area by each measure. All
of them form one family, corrected by Holm, but for the plan's primary comparison: chosen
beforehand, it is only corrected over its own pairs of groups, so not at all for two groups.
Claims of equivalence are corrected in the same way, among themselves. Comparisons of fit are a
family of their own; the primary one may be one of them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...statistics.multiplicity import holm
from ...words.names import MEASURE_WORDS, area_words
from ...words.text import count_words
from ..fit_plan import FIT_MEASURES
from ..plan import AnalysisPlan
from .cohort import Cohort
from .fit_cohort import seated_cohort
from .fit_words import fit_words
from .results.comparisons import Corrected


def is_primary(plan: AnalysisPlan, area: str, measure: str) -> bool:
    """Return whether this is the comparison that the study was made for."""
    return (area, measure) == (plan.primary_area, plan.primary_measure)


def correct(p_values: Sequence[float], primary: Sequence[bool]) -> tuple[Corrected, ...]:
    """Correct p-values by Holm, the primary ones apart; NaN is no test and does not count.

    Returns
    -------
    tuple of Corrected
        In the order given.
    """
    p, first = np.array(p_values, dtype=np.float64), np.array(primary, dtype=bool)
    corrected, family = np.full(len(p), np.nan), np.zeros(len(p), dtype=int)
    for members in (first, ~first):
        corrected[members] = holm(p[members])
        family[members] = np.count_nonzero(~np.isnan(p[members]))
    return tuple(Corrected(float(q), int(k)) for q, k in zip(corrected, family, strict=True))


def multiplicity_words(cohort: Cohort) -> str:
    """Say what is corrected over what."""
    plan, pairs = cohort.plan.analysis, len(cohort.group_pairs)
    if not pairs:
        return "There is one group only: nothing is compared, so nothing is corrected."
    areas, measures = len(cohort.areas), len(cohort.measures)
    over = f"{areas} areas × {measures} measures" + (f" × {pairs} pairs of groups" * (pairs > 1))
    text = (
        f"p-values of trueness are corrected by Holm's method over {over}; claims of equivalence "
        f"in the same way among themselves, and so is precision. "
    )
    if len(cohort.groups) > 2:
        text += (
            f"Tests of all groups at once are corrected over {areas} areas × {measures} measures. "
        )
    text += _fit_family(cohort)
    if plan.primary_measure in FIT_MEASURES:
        return text + _primary_of_fit(cohort)
    here = plan.primary_area in cohort.areas and plan.primary_measure in cohort.measures
    name = f"{area_words(plan.primary_area)}, {MEASURE_WORDS[plan.primary_measure]}"
    if not here:
        return text + f"The plan's primary comparison ({name}) could not be made."
    if pairs == 1:
        return text + f"The plan's primary comparison ({name}) is no part of these: not corrected."
    return (
        text + f"The plan's primary comparison ({name}) is no part of these: corrected over its "
        f"{pairs} pairs of groups only."
    )


def _fit_family(cohort: Cohort) -> str:
    """Say over what comparisons of fit are corrected; nothing where there are none."""
    seated = seated_cohort(cohort)
    if seated is None or len(seated.groups) < 2:
        return ""
    pairs = len(seated.group_pairs)
    over = f"{count_words(len(seated.fit_pairs), 'number')} of a crown's fit" + (
        f" × {pairs} pairs of groups" * (pairs > 1)
    )
    return f"Comparisons of fit are a family of their own, corrected alike over {over}. "


def _primary_of_fit(cohort: Cohort) -> str:
    plan, seated = cohort.plan.analysis, seated_cohort(cohort)
    place = plan.primary_area, plan.primary_measure
    name = f"The plan's primary comparison ({fit_words(*place)})"
    pairs = 0 if seated is None else len(seated.group_pairs)
    if seated is None or not pairs or place not in seated.fit_pairs:
        return f"{name}, one of fit, could not be made. Trueness has none."
    corrected = (
        "not corrected" if pairs == 1 else f"corrected over its {pairs} pairs of groups only"
    )
    return f"{name} is one of fit, so trueness has none; it is no part of these: {corrected}."
