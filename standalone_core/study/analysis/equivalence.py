"""Tests of equivalence against the plan's margins, as rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...mesh.triangle_mesh import FloatArray
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
    margin = plan.equivalence_of(area)
    if not measure.endswith("_um"):
        return _untested(np.nan, plan, NO_LENGTH)
    if not margin > 0:
        return _untested(np.nan, plan, NO_MARGIN)
    if plan.alpha >= 0.5:
        return _untested(margin, plan, f"There is no interval of 1 − 2α for α = {plan.alpha:g}.")
    if lead == "ranks":
        return _by_ranks(second, first, margin, plan.alpha)
    found = compare_with_margin(second, first, margin, alpha=plan.alpha)
    return EquivalenceRow(
        margin=margin,
        low=found.ci_low,
        high=found.ci_high,
        level=found.confidence,
        p_value=found.p_equivalence,
        p_holm=found.p_equivalence,
        equivalent=False,
        reason=found.reason,
    )


def _by_ranks(second: FloatArray, first: FloatArray, margin: float, alpha: float) -> EquivalenceRow:
    found = shift_with_margin(second, first, margin, alpha=alpha)
    return EquivalenceRow(
        margin=margin,
        low=found.shift.ci_low,
        high=found.shift.ci_high,
        level=found.shift.confidence,
        p_value=found.p_equivalence,
        p_holm=found.p_equivalence,
        equivalent=False,
        reason=found.reason,
        lead="ranks",
    )


def corrected_row(row: EquivalenceRow, p_holm: float, alpha: float) -> EquivalenceRow:
    """Return the row with its corrected p-value and what it then says."""
    return replace(row, p_holm=p_holm, equivalent=p_holm <= alpha)


def _untested(margin: float, plan: AnalysisPlan, reason: str) -> EquivalenceRow:
    nan = np.nan
    return EquivalenceRow(margin, nan, nan, 1 - 2 * plan.alpha, nan, nan, False, reason)
