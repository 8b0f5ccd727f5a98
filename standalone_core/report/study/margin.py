"""How the margins of a study's groups run: a row per group, with its worst crown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...deviation.margin_summary import MarginSummary
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.results import Crown, StudyRun
from ..check.margin_words import margin_line


@dataclass(frozen=True)
class MarginRow:
    """One group's margins.

    Attributes
    ----------
    group : str
    n : int
        Crowns with a margin profile.
    mean_abs_um, p95_abs_um, beyond_mm, longest_mm : float
        Means over the crowns of those measures; of the longest run the longest of all.
    worst, line : str
        The crown with the longest run beyond (of equals the one with the larger 95th
        percentile), and what its profile says.
    """

    group: str
    n: int
    mean_abs_um: float
    p95_abs_um: float
    beyond_mm: float
    longest_mm: float
    worst: str
    line: str


def margin_rows(run: StudyRun, analysis: StudyAnalysis) -> tuple[MarginRow, ...]:
    """Describe the margins of every group that has a margin profile."""
    rows = []
    for group in analysis.groups:
        found = [(c, c.margin) for c in run.crowns_of(group) if c.margin is not None]
        if found:
            rows.append(_row(group, found))
    return tuple(rows)


def _row(group: str, found: list[tuple[Crown, MarginSummary]]) -> MarginRow:
    margins = [margin for _, margin in found]
    crown, worst = max(
        found, key=lambda pair: (pair[1].longest_mm, np.nan_to_num(pair[1].p95_abs_um))
    )
    return MarginRow(
        group=group,
        n=len(found),
        mean_abs_um=_mean([margin.mean_abs_um for margin in margins]),
        p95_abs_um=_mean([margin.p95_abs_um for margin in margins]),
        beyond_mm=_mean([margin.beyond_mm for margin in margins]),
        longest_mm=max(margin.longest_mm for margin in margins),
        worst=crown.name,
        line=margin_line(worst),
    )


def _mean(values: list[float]) -> float:
    """Mean of the numbers that exist; NaN of none."""
    known = [value for value in values if np.isfinite(value)]
    return float(np.mean(known)) if known else float("nan")
