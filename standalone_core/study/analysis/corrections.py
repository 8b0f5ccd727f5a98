"""Which p-values are corrected together.

Every comparison of the plan is one claim: each pair of groups in each area by each measure. All
of them form one family, corrected by Holm, but for the plan's primary comparison: chosen
beforehand, it is only corrected over its own pairs of groups, so not at all for two groups.
Claims of equivalence are corrected in the same way, among themselves.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...statistics.multiplicity import holm
from ...words.names import MEASURE_WORDS, area_words
from ..plan import AnalysisPlan
from .cohort import Cohort
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
