"""Why the crowns of each group deviate: what they share, its size, and what would remain."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from ...arrays import FloatArray
from ...causes.correction import corrections_of
from ...causes.notes import notes_of
from ...causes.remaining import remaining_of
from ...causes.result import Cause, Correction
from ...causes.rows import rows_of
from ...causes.sentences import not_stated
from ...causes.words import SCANNER_CLAUSE
from ...words.names import NO_TOLERANCE, NOT_DECIDABLE, WITHIN
from ..measuring.cause_predictions import PredictedVerdict
from ..measuring.results import StudyRun
from ..measuring.shared_causes import LEAST_CROWNS, GroupCauses, StudyCauses
from .cause_comparisons import cause_comparisons, comparison_notes
from .cause_sentences import group_sentences
from .cohort import Cohort
from .results.analysis import OddCrown
from .results.causes import CausePrediction, CausesAnalysis, GroupWhy, SharedCause
from .shared_case import SharedCase, sized_by_crowns


def causes_analysis(
    cohort: Cohort, run: StudyRun, odd: Sequence[OddCrown]
) -> CausesAnalysis | None:
    """Tell why the crowns deviate, group by group, and compare the groups by cause.

    Parameters
    ----------
    cohort : Cohort
    run : StudyRun
    odd : sequence of OddCrown
        Odd crowns stay in; sizes without them stand beside.

    Returns
    -------
    CausesAnalysis or None
        None where causes were not looked for.
    """
    found = run.causes
    if found is None:
        return None
    flagged = {crown.crown for crown in odd if crown.odd}
    groups = tuple(
        _why(cohort, found, found.groups[name], flagged)
        for name in cohort.groups
        if name in found.groups
    )
    comparisons = cause_comparisons(cohort, found.common)
    return CausesAnalysis(
        groups=groups,
        comparisons=comparisons,
        repeatability_um=found.repeatability_um,
        least_um=found.least_um,
        notes=comparison_notes(cohort, comparisons),
    )


def _why(
    cohort: Cohort, study: StudyCauses, group: GroupCauses, flagged: Collection[str]
) -> GroupWhy:
    """Return what is told of one group."""
    start = GroupWhy(
        group=group.group,
        title=cohort.title(group.group),
        crowns=group.crowns,
        left_out=tuple(group.left_out.items()),
        reason=group.reason,
    )
    if group.case is None or group.parts is None:
        sentence = f"Causes that its crowns share were not looked for: {group.reason}."
        return replace(start, sentences=(sentence,))
    confidence = cohort.plan.analysis.confidence
    shared = sized_by_crowns(group.case, group.sizes, confidence, group.parts.mean_share)
    corrections = _corrections(shared)
    causes = [
        _shared_cause(shared, group, row, flagged, confidence)
        for row in rows_of(shared, corrections)
    ]
    found = group.case.found
    remaining = remaining_of(
        found.best, found.fitted, found.values, found.weights, study.repeatability_um
    )
    missing = [
        SharedCause(group.group, len(group.crowns), row, np.nan) for row in not_stated(group.case)
    ]
    why = replace(
        start,
        causes=(*causes, *missing),
        corrections=corrections,
        notes=notes_of(shared.fields, _mean_cells(shared), shared.facts, found.rule.confounded),
        predicted=_predictions(group),
        remaining=remaining,
        total_um=group.parts.total_um,
        causes_um=group.parts.causes_um,
        shared_um=group.parts.shared_um,
        between_um=group.parts.between_um,
        share_together=found.share_together * group.parts.mean_share,
    )
    return replace(why, sentences=group_sentences(why, study.least_um))


def _corrections(case: SharedCase) -> tuple[Correction, ...]:
    """Return the next factors of a way of production, with intervals over crowns."""
    kinds = tuple(case.found.member(place).cause for place in case.scale_places)
    found = corrections_of(case.facts, case.strain, kinds, case.build_axis, case.main)
    if case.fields.settings.scanner_scale_permille is None:
        return tuple(replace(one, condition=SCANNER_CLAUSE) for one in found)
    return found


def _shared_cause(
    case: SharedCase, group: GroupCauses, row: Cause, flagged: Collection[str], confidence: float
) -> SharedCause:
    """Return a stated row with how it scatters between crowns."""
    values = case.crowns_values(row)
    return SharedCause(
        group=group.group,
        n=len(values),
        cause=row,
        sd_between=float(values.std(ddof=1)),
        values=tuple(values.tolist()),
        without_odd=_without(group, row, flagged, confidence),
    )


def _without(
    group: GroupCauses, row: Cause, flagged: Collection[str], confidence: float
) -> tuple[float, float, float] | None:
    """Return a row's size without odd crowns; None where that says nothing new."""
    kept = np.array([name not in flagged for name in group.crowns])
    if kept.all() or np.count_nonzero(kept) < LEAST_CROWNS:
        return None
    assert group.case is not None
    sizes = {place: values[kept] for place, values in group.sizes.items()}
    rest = sized_by_crowns(group.case, sizes, confidence, 1.0)
    same = [r for r in rows_of(rest, ()) if (r.family, r.cause) == (row.family, row.cause)]
    return (same[0].estimate, same[0].low, same[0].high) if same else None


def _mean_cells(case: SharedCase) -> FloatArray:
    cells = np.full(len(case.found.measured), np.nan)
    cells[case.found.measured] = case.found.values
    return cells


def _predictions(group: GroupCauses) -> tuple[CausePrediction, ...]:
    """Count over crowns what is predicted of each."""
    rows: dict[tuple[str, str], list[PredictedVerdict]] = {}
    for one in group.predicted:
        rows.setdefault((one.without, one.area), []).append(one)
    found = []
    for (without, area), crowns in rows.items():
        judged = [one for one in crowns if one.verdict not in (NO_TOLERANCE, NOT_DECIDABLE)]
        found.append(
            CausePrediction(
                group=group.group,
                without=without,
                area=area,
                limit_um=crowns[0].limit_um,
                n=len(judged),
                within=sum(one.verdict == WITHIN for one in judged),
                would_be_within=sum(one.predicted == WITHIN for one in judged),
                mean_abs_um=float(np.mean([one.mean_abs_um for one in crowns])),
                predicted_um=float(np.mean([one.predicted_um for one in crowns])),
            )
        )
    return tuple(found)
