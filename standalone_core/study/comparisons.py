"""Groups compared two by two: trueness, the crown as the unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..mesh.triangle_mesh import FloatArray
from ..progress import Progress, Steps
from ..statistics.equivalence import decide
from ..statistics.two_groups import TwoGroups, compare_two
from ..words.names import measured_in
from .cohort import Cohort
from .comparison_results import Comparison, EffectRow, EquivalenceRow, RankRow, WelchRow
from .equivalence_rows import corrected_row, equivalence_row
from .families import Corrected, correct, is_primary
from .wording import LEAD_WORDS, Contrast, contrast_sentence

ScannerLimits = Mapping[tuple[str, str], float]


@dataclass(frozen=True)
class _Draft:
    """One comparison before its p-values are corrected."""

    area: str
    measure: str
    first: str
    second: str
    primary: bool
    values: tuple[FloatArray, FloatArray]
    found: TwoGroups
    equivalence: EquivalenceRow


@dataclass(frozen=True)
class _Leading:
    """What the leading test says."""

    difference: float
    low: float
    high: float
    p_value: float
    reason: str


def comparison_steps(cohort: Cohort, limits: ScannerLimits) -> Steps[tuple[Comparison, ...]]:
    """Compare every pair of groups in every area by every measure, step by step.

    Parameters
    ----------
    cohort : Cohort
    limits : mapping of (area, measure) to float
        Smallest difference that the scanner can show; may lack any.

    Returns
    -------
    tuple of Comparison
        The primary ones first, then by pair of groups, area and measure.
    """
    wanted = [
        (first, second, area, measure)
        for first, second in cohort.group_pairs
        for area in cohort.areas
        for measure in cohort.measures
    ]
    drafts = []
    for i, (first, second, area, measure) in enumerate(wanted):
        yield Progress("Comparing the groups", i / len(wanted))
        drafts.append(_draft(cohort, first, second, area, measure))
    drafts.sort(key=lambda draft: not draft.primary)
    primary = [draft.primary for draft in drafts]
    leading = [_leading(cohort, draft) for draft in drafts]
    different = correct([lead.p_value for lead in leading], primary)
    equal = correct([draft.equivalence.p_value for draft in drafts], primary)
    return tuple(
        _finished(cohort, draft, lead, p, q, limits.get((draft.area, draft.measure), np.nan))
        for draft, lead, p, q in zip(drafts, leading, different, equal, strict=True)
    )


def _draft(cohort: Cohort, first: str, second: str, area: str, measure: str) -> _Draft:
    plan = cohort.plan.analysis
    a, b = cohort.values(first, area, measure), cohort.values(second, area, measure)
    return _Draft(
        area=area,
        measure=measure,
        first=first,
        second=second,
        primary=is_primary(plan, area, measure),
        values=(a, b),
        found=compare_two(b, a, confidence=plan.confidence),
        equivalence=equivalence_row(b, a, plan, area, measure, plan.lead),
    )


def _leading(cohort: Cohort, draft: _Draft) -> _Leading:
    welch, ranks, shift = draft.found.welch, draft.found.mann_whitney, draft.found.shift
    # The statistics are told of the second group first, since differences are second minus first.
    names = {"the first has": draft.second, "the second has": draft.first}
    reason = welch.reason if cohort.plan.analysis.lead == "welch" else ranks.reason
    for words, group in names.items():
        reason = reason.replace(words, f"{cohort.title(group)} has")
    if cohort.plan.analysis.lead == "welch":
        return _Leading(welch.difference, welch.ci_low, welch.ci_high, welch.p, reason)
    return _Leading(shift.estimate, shift.ci_low, shift.ci_high, ranks.p, reason)


def _finished(
    cohort: Cohort, draft: _Draft, lead: _Leading, p: Corrected, q: Corrected, limit: float
) -> Comparison:
    plan = cohort.plan.analysis
    equivalence = corrected_row(draft.equivalence, q.p_holm, plan.alpha)
    outcome = decide(p.p_holm, q.p_holm, plan.alpha)
    contrast = Contrast(
        what=measured_in(draft.area, draft.measure),
        measure=draft.measure,
        first=cohort.title(draft.first),
        second=cohort.title(draft.second),
        difference=lead.difference,
        low=lead.low,
        high=lead.high,
        confidence=plan.confidence,
        p_holm=p.p_holm,
        family=p.family,
        test=LEAD_WORDS[plan.lead],
        equivalence=equivalence,
        alpha=plan.alpha,
        reason=lead.reason,
    )
    a, b = draft.values
    return Comparison(
        area=draft.area,
        measure=draft.measure,
        first=draft.first,
        second=draft.second,
        n_first=draft.found.n_b,
        n_second=draft.found.n_a,
        mean_first=_mean(a),
        mean_second=_mean(b),
        difference=lead.difference,
        low=lead.low,
        high=lead.high,
        lead=plan.lead,
        p_value=lead.p_value,
        p_holm=p.p_holm,
        family=p.family,
        primary=draft.primary,
        welch=_welch_row(draft.found),
        ranks=_rank_row(draft.found),
        effects=_effect_row(draft.found),
        equivalence=equivalence,
        outcome=outcome,
        sentence=contrast_sentence(outcome, contrast),
        scanner_limit=limit,
        below_scanner=abs(lead.difference) < limit,
        reason=lead.reason,
    )


def _welch_row(found: TwoGroups) -> WelchRow:
    test = found.welch
    return WelchRow(
        test.difference, test.ci_low, test.ci_high, test.t, test.df, test.p, test.reason
    )


def _rank_row(found: TwoGroups) -> RankRow:
    test, shift = found.mann_whitney, found.shift
    return RankRow(
        u=test.u,
        p_value=test.p,
        method=test.method,
        shift=shift.estimate,
        low=shift.ci_low,
        high=shift.ci_high,
        reason=" ".join(dict.fromkeys(filter(None, (test.reason, shift.reason)))),
    )


def _effect_row(found: TwoGroups) -> EffectRow:
    g, delta = found.hedges_g, found.cliff_delta
    return EffectRow(g.g, g.ci_low, g.ci_high, delta.delta, delta.ci_low, delta.ci_high)


def _mean(values: FloatArray) -> float:
    there = values[~np.isnan(values)]
    return float(there.mean()) if len(there) else float("nan")
