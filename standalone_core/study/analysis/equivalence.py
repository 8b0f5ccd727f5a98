"""Tests of equivalence against the plan's margins, as rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...arrays import FloatArray
from ...statistics.equivalence import compare_with_margin, shift_with_margin
from ..plan import AnalysisPlan, Lead
from .results.comparisons import EquivalenceRow

NO_MARGIN = "No equivalence margin is set for this area."
NO_LENGTH = "Margins are lengths, and this measure is a share."


def equivalence_row(
    second: FloatArray,
    first: FloatArray,
    plan: AnalysisPlan,
    area: str,
    measure: str,
    lead: Lead = "welch",
) -> EquivalenceRow:
    """Test whether ``second`` is within the area's margin of ``first``.

    Two one-sided tests, Welch's of the means or those of ranks of the shift; not corrected yet,
    see :func:`corrected_row`.
    """
    margin, level = plan.equivalence_of(area), 1 - 2 * plan.alpha
    if not measure.endswith("_um"):
        return EquivalenceRow(np.nan, level, untested=NO_LENGTH)
    if not margin > 0:
        return EquivalenceRow(np.nan, level, untested=NO_MARGIN)
    if plan.alpha >= 0.5:
        untested = f"There is no interval of 1 − 2α for α = {plan.alpha:g}."
        return EquivalenceRow(margin, level, untested=untested)
    test = shift_with_margin if lead == "ranks" else compare_with_margin
    found = test(second, first, margin, alpha=plan.alpha)
    return EquivalenceRow(margin, level, lead, found, p_holm=found.p_equivalence)


def corrected_row(row: EquivalenceRow, p_holm: float, alpha: float) -> EquivalenceRow:
    """Return the row with its corrected p-value and what it then says."""
    return replace(row, p_holm=p_holm, equivalent=p_holm <= alpha)
