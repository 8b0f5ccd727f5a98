"""Precision: what the pairs of each group come to, and groups compared by permuting crowns."""

from __future__ import annotations

import zlib
from itertools import product

import numpy as np

from ...arrays import FloatArray
from ...progress import Progress, Steps
from ...statistics.describe import describe
from ...statistics.permutation import compare_distances, distances_from_pairs
from ...words.names import measured_in
from ...words.text import count_words
from ..cannot_show import DISTANCES
from .cohort import Cohort, measured
from .comparisons import ScannerLimits, decided, scanner_limit
from .corrections import correct
from .descriptions import summary
from .equivalence import equivalence_row
from .results.comparisons import Corrected, PrecisionComparison
from .results.groups import PrecisionRow

NO_DISTANCE = "This measure of a pair is not a distance, so it says nothing about spread."
TEST = "permutation of crowns"


def precision_rows(cohort: Cohort) -> tuple[PrecisionRow, ...]:
    """Describe the precision of every group, area and measure."""
    return tuple(
        _row(cohort, group, area, measure)
        for group in cohort.groups
        for area in cohort.areas
        for measure in cohort.measures
    )


def precision_comparison_steps(
    cohort: Cohort, limits: ScannerLimits
) -> Steps[tuple[PrecisionComparison, ...]]:
    """Compare the precision of every pair of groups, step by step.

    Only by measures that are distances. Holm over all of them.

    Parameters
    ----------
    cohort : Cohort
    limits : mapping of (area, measure) to callable
        See :data:`~.comparisons.ScannerLimits`, of trueness in the plan's direction; a crown's
        distance from the middle of its group is taken to vary from scan to scan as much.
    """
    measures = [measure for measure in cohort.measures if measure in DISTANCES]
    wanted = list(product(cohort.group_pairs, cohort.areas, measures))
    rows = []
    for i, (pair, area, measure) in enumerate(wanted):
        yield Progress("Comparing the groups' precision", i / len(wanted))
        rows.append(_compared(cohort, *pair, area, measure))
    none = [False] * len(rows)
    different = correct([row.p_value for row in rows], none)
    equal = correct([row.equivalence.p_value for row in rows], none)
    return tuple(
        decided(
            cohort,
            row,
            p,
            q,
            scanner_limit(limits, row, *(_measured(row, g) for g in (row.first, row.second))),
            f"{measured_in(row.area, row.measure)}, distance from the group's middle",
            TEST,
        )
        for row, p, q in zip(rows, different, equal, strict=True)
    )


def _measured(row: PrecisionComparison, group: str) -> int:
    return int(np.count_nonzero(~np.isnan(row.test.distances.get(group, ()))))


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
        superimposed=describe(apart),
        design_frame=describe([measured(p.design_frame, area, measure) for p in pairs]),
        dispersion=summary(
            [measured(one.measures, area, measure) for one in spread],
            cohort.plan.analysis.confidence,
        ),
        reason=reason,
    )


def _compared(
    cohort: Cohort, first: str, second: str, area: str, measure: str
) -> PrecisionComparison:
    """Return a comparison before its p-values are corrected."""
    plan = cohort.plan.analysis
    a, b = (crown_distances(cohort, group, area, measure) for group in (first, second))
    key = zlib.crc32("/".join((first, second, area, measure)).encode())
    test = compare_distances(
        {second: b, first: a},
        rng=np.random.default_rng([plan.seed, key]),
        permutations=plan.resamples,
        confidence=plan.confidence,
    )
    return PrecisionComparison(
        area=area,
        measure=measure,
        first=first,
        second=second,
        test=test,
        corrected=Corrected(np.nan, 0),
        equivalence=equivalence_row(b, a, cohort.plan, area, measure),
        outcome="not_computed",
        reason=str(test.reason),
    )
