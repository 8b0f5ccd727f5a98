"""Every group described, per area and measure, and what its values look like."""

from __future__ import annotations

from collections.abc import Sequence

from ...arrays import FloatArray
from ...statistics.assumptions import check_assumptions
from ...statistics.describe import Description, describe
from ...words.names import area_words
from ...words.text import count_words
from ..fit_plan import FIT_MEASURES
from .cohort import Cohort, Places
from .results.groups import AssumptionRow, Summary, TruenessRow


def trueness_rows(cohort: Cohort, places: Places | None = None) -> tuple[TruenessRow, ...]:
    """Describe every group by every area and measure: those given, or all of trueness."""
    return tuple(
        _trueness(cohort, group, area, measure)
        for group in cohort.groups
        for area, measure in (cohort.places if places is None else places)
    )


def assumption_rows(cohort: Cohort, places: Places | None = None) -> tuple[AssumptionRow, ...]:
    """Test what tests of means assume, per area and measure; nothing for a single group.

    For information: which test leads was fixed beforehand and does not depend on it.
    """
    if len(cohort.groups) < 2:
        return ()
    places = cohort.places if places is None else places
    return tuple(_assumptions(cohort, area, measure) for area, measure in places)


def summary(values: Sequence[float] | FloatArray, confidence: float) -> Summary:
    """Describe independent values, NaN for those that are missing."""
    return Summary(tuple(float(value) for value in values), describe(values, confidence))


def _trueness(cohort: Cohort, group: str, area: str, measure: str) -> TruenessRow:
    values = cohort.values(group, area, measure)
    described = summary(values, cohort.plan.analysis.confidence)
    return TruenessRow(
        group=group,
        area=area,
        measure=measure,
        crowns=tuple(crown.name for crown in cohort.crowns[group]),
        summary=described,
        reason=_shortcoming(described.description, area, measure),
    )


def _shortcoming(described: Description, area: str, measure: str) -> str:
    if described.n == 0 and measure in FIT_MEASURES:
        return "No crown has this number."
    if described.n == 0:
        return f"No crown has a number for the area {area_words(area)}."
    sentences = []
    if described.missing:
        sentences.append(f"{count_words(described.missing, 'crown')} without a number.")
    if described.n == 1:
        sentences.append("A single crown shows no spread.")
    elif described.sd == 0.0:
        sentences.append("All crowns have the same number.")
    return " ".join(sentences)


def _assumptions(cohort: Cohort, area: str, measure: str) -> AssumptionRow:
    return AssumptionRow(area, measure, check_assumptions(cohort.by_group(area, measure)))
