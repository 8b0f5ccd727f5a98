"""Precision: what the pairs of each group come to, and groups compared by permuting crowns."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from ..mesh.triangle_mesh import FloatArray
from ..progress import Progress, Steps
from ..statistics.equivalence import decide
from ..statistics.permutation import PrecisionTest, compare_distances, distances_from_pairs
from ..words.names import measured_in
from ..words.text import count_words
from .cohort import Cohort, measured
from .comparison_results import EquivalenceRow, PrecisionComparison
from .descriptions import pair_summary, summary
from .equivalence_rows import corrected_row, equivalence_row
from .families import Corrected, correct
from .group_results import PrecisionRow
from .wording import Contrast, contrast_sentence

DISTANCES = frozenset(
    {"mean_abs_um", "rms_um", "half_p90_p10_um", "sd_um", "hausdorff_um", "hausdorff_both_um"}
)
"""Measures of a pair that say how far two crowns are apart; signed ones and shares do not."""

NO_DISTANCE = "This measure of a pair is not a distance, so it says nothing about spread."
TEST = "permutation of crowns"


@dataclass(frozen=True)
class _Draft:
    """One comparison before its p-values are corrected."""

    area: str
    measure: str
    first: str
    second: str
    distances: tuple[FloatArray, FloatArray]
    found: PrecisionTest
    equivalence: EquivalenceRow


def precision_rows(cohort: Cohort) -> tuple[PrecisionRow, ...]:
    """Describe the precision of every group, area and measure."""
    return tuple(
        _row(cohort, group, area, measure)
        for group in cohort.groups
        for area in cohort.areas
        for measure in cohort.measures
    )


def precision_comparison_steps(
    cohort: Cohort, limits: Mapping[tuple[str, str], float]
) -> Steps[tuple[PrecisionComparison, ...]]:
    """Compare the precision of every pair of groups, step by step.

    Only by measures that are distances. Holm over all of them.

    Parameters
    ----------
    cohort : Cohort
    limits : mapping of (area, measure) to float
        Smallest difference that the scanner can show; may lack any.
    """
    measures = [measure for measure in cohort.measures if measure in DISTANCES]
    wanted = list(product(cohort.group_pairs, cohort.areas, measures))
    drafts = []
    for i, (pair, area, measure) in enumerate(wanted):
        yield Progress("Comparing the groups' precision", i / len(wanted))
        drafts.append(_draft(cohort, *pair, area, measure))
    none = [False] * len(drafts)
    different = correct([draft.found.p for draft in drafts], none)
    equal = correct([draft.equivalence.p_value for draft in drafts], none)
    return tuple(
        _finished(cohort, draft, p, q, limits.get((draft.area, draft.measure), np.nan))
        for draft, p, q in zip(drafts, different, equal, strict=True)
    )


def crown_distances(cohort: Cohort, group: str, area: str, measure: str) -> FloatArray:
    """Return how far each crown lies from its group's middle, from the superimposed pairs.

    A crown without pairs, or of a pair that could not be superimposed, is NaN; of two such
    crowns the one with fewer pairs, or else the later one, so that as many as possible stay.

    Returns
    -------
    (n,) float
        In the order of the cohort's crowns.
    """
    names = [crown.name for crown in cohort.crowns[group]]
    table = np.full((len(names), len(names)), np.nan)
    np.fill_diagonal(table, 0.0)
    place = {name: i for i, name in enumerate(names)}
    for pair in cohort.pairs[group]:
        i, j = place[pair.first], place[pair.second]
        table[i, j] = table[j, i] = measured(pair.superimposed, area, measure)
    kept = _complete(table)
    distances = np.full(len(names), np.nan)
    distances[kept] = distances_from_pairs(table[np.ix_(kept, kept)])
    return distances


def _complete(table: FloatArray) -> list[int]:
    """Return rows of a table that have no gaps among themselves."""
    kept = list(range(len(table)))
    while True:
        gaps = np.isnan(table[np.ix_(kept, kept)]).sum(axis=1)
        if not gaps.any():
            return kept
        worst = np.flatnonzero(gaps == gaps.max())[-1]
        kept.pop(int(worst))


def _row(cohort: Cohort, group: str, area: str, measure: str) -> PrecisionRow:
    pairs, spread = cohort.pairs[group], cohort.dispersions[group]
    apart = [measured(pair.superimposed, area, measure) for pair in pairs]
    failed = sum(1 for pair in pairs if pair.reason)
    reason = f"{count_words(failed, 'pair')} could not be superimposed." if failed else ""
    if len(cohort.crowns[group]) < 2:
        reason = "A single crown has no pair."
    return PrecisionRow(
        group=group,
        area=area,
        measure=measure,
        superimposed=pair_summary(apart),
        design_frame=pair_summary([measured(p.design_frame, area, measure) for p in pairs]),
        dispersion=summary(
            [measured(one.measures, area, measure) for one in spread],
            cohort.plan.analysis.confidence,
        ),
        reason=reason,
    )


def _draft(cohort: Cohort, first: str, second: str, area: str, measure: str) -> _Draft:
    plan = cohort.plan.analysis
    a, b = (crown_distances(cohort, group, area, measure) for group in (first, second))
    key = zlib.crc32("/".join((first, second, area, measure)).encode())
    found = compare_distances(
        {second: b, first: a},
        rng=np.random.default_rng([plan.seed, key]),
        permutations=plan.resamples,
        confidence=plan.confidence,
    )
    equivalence = equivalence_row(b, a, plan, area, measure)
    return _Draft(area, measure, first, second, (a, b), found, equivalence)


def _finished(
    cohort: Cohort, draft: _Draft, p: Corrected, q: Corrected, limit: float
) -> PrecisionComparison:
    plan, found = cohort.plan.analysis, draft.found
    equivalence = corrected_row(draft.equivalence, q.p_holm, plan.alpha)
    outcome = decide(p.p_holm, q.p_holm, plan.alpha)
    sentence = contrast_sentence(
        outcome,
        Contrast(
            what=f"{measured_in(draft.area, draft.measure)}, distance from the group's middle",
            measure=draft.measure,
            first=cohort.title(draft.first),
            second=cohort.title(draft.second),
            difference=found.difference,
            low=found.ci_low,
            high=found.ci_high,
            confidence=plan.confidence,
            p_holm=p.p_holm,
            family=p.family,
            test=TEST,
            equivalence=equivalence,
            alpha=plan.alpha,
            reason=found.reason,
        ),
    )
    return PrecisionComparison(
        area=draft.area,
        measure=draft.measure,
        first=draft.first,
        second=draft.second,
        n_first=_count(draft.distances[0]),
        n_second=_count(draft.distances[1]),
        mean_first=found.dispersion[draft.first],
        mean_second=found.dispersion[draft.second],
        difference=found.difference,
        low=found.ci_low,
        high=found.ci_high,
        p_value=found.p,
        p_holm=p.p_holm,
        family=p.family,
        permutations=found.permutations,
        exact=found.exact,
        equivalence=equivalence,
        outcome=outcome,
        sentence=sentence,
        scanner_limit=limit,
        below_scanner=abs(found.difference) < limit,
        reason=found.reason,
    )


def _count(values: Sequence[float] | FloatArray) -> int:
    return int(np.count_nonzero(~np.isnan(values)))
