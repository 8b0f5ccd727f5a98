"""Every group described: trueness per area and measure, and what its values look like."""

from __future__ import annotations

from collections.abc import Sequence

from ..mesh.triangle_mesh import FloatArray
from ..statistics.assumptions import check_assumptions
from ..statistics.describe import describe
from ..words.names import area_words
from ..words.text import count_words
from .cohort import Cohort
from .group_results import (
    AssumptionRow,
    NormalityTest,
    PairSummary,
    Summary,
    TruenessRow,
)


def trueness_rows(cohort: Cohort) -> tuple[TruenessRow, ...]:
    """Describe the trueness of every group, area and measure."""
    return tuple(
        _trueness(cohort, group, area, measure)
        for group in cohort.groups
        for area in cohort.areas
        for measure in cohort.measures
    )


def assumption_rows(cohort: Cohort) -> tuple[AssumptionRow, ...]:
    """Test what tests of means assume, per area and measure; nothing for a single group.

    For information: which test leads was fixed beforehand and does not depend on it.
    """
    if len(cohort.groups) < 2:
        return ()
    return tuple(
        _assumptions(cohort, area, measure) for area in cohort.areas for measure in cohort.measures
    )


def summary(values: Sequence[float] | FloatArray, confidence: float) -> Summary:
    """Describe independent values, NaN for those that are missing."""
    found = describe(values, confidence)
    return Summary(
        n=found.n,
        missing=found.missing,
        mean=found.mean,
        sd=found.sd,
        mean_low=found.ci_low,
        mean_high=found.ci_high,
        median=found.median,
        q1=found.q1,
        q3=found.q3,
        minimum=found.min,
        maximum=found.max,
        values=tuple(float(value) for value in values),
    )


def pair_summary(values: Sequence[float] | FloatArray) -> PairSummary:
    """Describe pairs, NaN for those that are missing."""
    found = describe(values)
    return PairSummary(found.n, found.missing, found.mean, found.sd, found.min, found.max)


def _trueness(cohort: Cohort, group: str, area: str, measure: str) -> TruenessRow:
    values = cohort.values(group, area, measure)
    described = summary(values, cohort.plan.analysis.confidence)
    return TruenessRow(
        group=group,
        area=area,
        measure=measure,
        crowns=tuple(crown.name for crown in cohort.crowns[group]),
        summary=described,
        reason=_shortcoming(described, area),
    )


def _shortcoming(described: Summary, area: str) -> str:
    if described.n == 0:
        return f"No crown has a number for the area {area_words(area)}."
    sentences = []
    if described.missing:
        sentences.append(f"{count_words(described.missing, 'crown')} without a number.")
    if described.n == 1:
        sentences.append("A single crown tells nothing about spread.")
    elif described.sd == 0.0:
        sentences.append("All crowns have the same number.")
    return " ".join(sentences)


def _assumptions(cohort: Cohort, area: str, measure: str) -> AssumptionRow:
    found = check_assumptions(cohort.by_group(area, measure))
    return AssumptionRow(
        area=area,
        measure=measure,
        normality=tuple(
            NormalityTest(group, test.n, test.w, test.p, test.reason)
            for group, test in found.normality.items()
        ),
        brown_forsythe_f=found.spread.f,
        brown_forsythe_p=found.spread.p,
        reason=found.spread.reason,
    )
