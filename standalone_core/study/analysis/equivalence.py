"""Tests of equivalence against the plan's limits, as rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...arrays import FloatArray
from ...statistics.equivalence import (
    Equivalence,
    ShiftWithin,
    compare_with_limit,
    shift_with_limit,
)
from ...statistics.trimmed import TRIM
from ..fit_plan import FIT_MEASURES
from ..plan import Lead, StudyPlan
from .results.comparisons import EquivalenceRow

NO_LIMIT = "No equivalence limit is set for this area."
NO_LIMIT_OF_FIT = "No equivalence limit is set for this measure of fit."
NO_LENGTH = "Equivalence limits are lengths, and this measure is a share."


def equivalence_row(
    second: FloatArray,
    first: FloatArray,
    plan: StudyPlan,
    area: str,
    measure: str,
    lead: Lead = "welch",
) -> EquivalenceRow:
    """Test whether ``second`` is within the limit of ``first``: the area's, or that of fit.

    Two one-sided tests: Welch's of means, Yuen's of trimmed means, or those of ranks of the shift;
    not adjusted yet, see :func:`adjusted_row`.
    """
    limit, alpha = plan.equivalence_of(area, measure), plan.analysis.alpha
    level = 1 - 2 * alpha
    if not measure.endswith("_um"):
        return EquivalenceRow(np.nan, level, untested=NO_LENGTH)
    if not limit > 0:
        return EquivalenceRow(
            np.nan, level, untested=NO_LIMIT_OF_FIT if measure in FIT_MEASURES else NO_LIMIT
        )
    if alpha >= 0.5:
        untested = f"There is no interval of 1 − 2α for α = {alpha:g}."
        return EquivalenceRow(limit, level, untested=untested)
    found: Equivalence | ShiftWithin
    if lead == "ranks":
        found = shift_with_limit(second, first, limit, alpha=alpha)
    else:
        trim = TRIM if lead == "trimmed" else 0.0
        found = compare_with_limit(second, first, limit, alpha=alpha, trim=trim)
    return EquivalenceRow(limit, level, lead, found)


def adjusted_row(row: EquivalenceRow, p_adjusted: float, alpha: float) -> EquivalenceRow:
    """Return the row with its adjusted p-value and what it then says."""
    return replace(row, p_adjusted=p_adjusted, equivalent=p_adjusted <= alpha)
