"""Precision: how far each crown lies from its group's middle, and groups compared by that."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import product
from typing import TypeAlias

import numpy as np

from ...arrays import FloatArray
from ...progress import Progress, Steps
from ...statistics.describe import describe
from ...statistics.permutation import PrecisionTest, compare_distances, distances_from_pairs
from ...words.names import area_words, measure_words
from ...words.text import count_words, listed
from ..cannot_show import DISTANCES
from .cohort import Cohort, measured
from .comparisons import ScannerLimits, decided, scanner_limit
from .descriptions import summary
from .equivalence import equivalence_row
from .families import UNADJUSTED, as_family
from .results.comparisons import EquivalenceRow, PrecisionComparison
from .results.groups import PairRow, PrecisionRow, Summary

Distances: TypeAlias = Mapping[tuple[str, str, str], FloatArray]
"""Every crown's distance, in the order of the cohort's crowns, by group, area and measure."""

TEST = "permutation of crowns"


def distance_measures(measures: Sequence[str]) -> tuple[str, ...]:
    """Return the measures that say how far two crowns are apart; the others have no precision."""
    return tuple(measure for measure in measures if measure in DISTANCES)


def precision_rows(cohort: Cohort) -> tuple[PrecisionRow, ...]:
    """Describe how far the crowns of every group lie from its middle."""
    places = product(cohort.groups, cohort.areas, distance_measures(cohort.measures))
    return tuple(_row(cohort, *place) for place in places)


def pair_rows(cohort: Cohort) -> tuple[PairRow, ...]:
    """Describe the crowns of every group laid on each other, two by two."""
    places = product(cohort.groups, cohort.areas, cohort.measures)
    return tuple(_pair_row(cohort, *place) for place in places)


def precision_comparison_steps(
    cohort: Cohort, rows: Sequence[PrecisionRow], limits: ScannerLimits
) -> Steps[tuple[PrecisionComparison, ...]]:
    """Compare the precision of every pair of groups, step by step; all of it is one family.

    Parameters
    ----------
    cohort : Cohort
    rows : sequence of PrecisionRow
        What is compared: as :func:`precision_rows` describes it.
    limits : mapping of (area, measure) to callable
        See :data:`~.comparisons.ScannerLimits`: of such distances.
    """
    distances = {(r.group, r.area, r.measure): np.array(r.summary.values) for r in rows}
    places = list(dict.fromkeys((row.area, row.measure) for row in rows))
    wanted = list(product(cohort.group_pairs, places))
    found = []
    for i, (pair, place) in enumerate(wanted):
        yield Progress("Comparing the groups' precision", i / len(wanted))
        found.append(_compared(cohort, distances, *pair, *place))
    return tuple(
        decided(
            cohort,
            row,
            judged,
            scanner_limit(limits, row, *(_measured(row, g) for g in (row.first, row.second))),
            f"Precision, {area_words(row.area)}, {measure_words(row.measure)}",
            TEST,
        )
        for row, judged in zip(found, as_family(found), strict=True)
    )


def _measured(row: PrecisionComparison, group: str) -> int:
    return len(row.test.distances.get(group, ()))


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
    names = tuple(crown.name for crown in cohort.crowns[group])
    distances = crown_distances(cohort, group, area, measure)
    missing = [name for name, gap in zip(names, np.isnan(distances), strict=True) if gap]
    reason = ""
    if len(names) < 2:
        reason = "A single crown shows no precision."
    elif missing:
        reason = f"Without a distance from the group's middle: {listed(missing)}."
    elif len(names) == 2:
        reason = "Two crowns lie equally far from the middle between them: that shows no spread."
    described = _described(distances, cohort.plan.analysis.confidence)
    return PrecisionRow(group, area, measure, names, described, reason)


def _described(distances: FloatArray, confidence: float) -> Summary:
    """Describe distances; two crowns', which are equal by construction, without SD or interval."""
    found = summary(distances, confidence)
    if found.description.n != 2:
        return found
    unknown = replace(found.description, sd=np.nan, ci_low=np.nan, ci_high=np.nan)
    return replace(found, description=unknown)


def _pair_row(cohort: Cohort, group: str, area: str, measure: str) -> PairRow:
    pairs = cohort.pairs[group]
    failed = sum(1 for pair in pairs if pair.reason)
    reason = f"{count_words(failed, 'pair')} could not be superimposed." if failed else ""
    if len(cohort.crowns[group]) < 2:
        reason = "A single crown has no pair."
    found = describe([measured(pair.superimposed, area, measure) for pair in pairs])
    return PairRow(group, area, measure, found, reason)


def _compared(
    cohort: Cohort, distances: Distances, first: str, second: str, area: str, measure: str
) -> PrecisionComparison:
    """Return a comparison before its p-values are adjusted."""
    plan = cohort.plan.analysis
    a, b = (distances[group, area, measure] for group in (first, second))
    key = zlib.crc32("/".join((first, second, area, measure)).encode())
    test = compare_distances(
        {second: b, first: a},
        rng=np.random.default_rng([plan.seed, key]),
        permutations=plan.resamples,
        confidence=plan.confidence,
    )
    equivalence = equivalence_row(b, a, cohort.plan, area, measure)
    return PrecisionComparison(
        area=area,
        measure=measure,
        first=first,
        second=second,
        test=test,
        standing="family",
        adjusted=UNADJUSTED,
        equivalence=_if_tested(equivalence, test),
        outcome="not_computed",
        reason=str(test.reason),
    )


def _if_tested(row: EquivalenceRow, test: PrecisionTest) -> EquivalenceRow:
    """Return the row; untested where the test of difference is: two crowns show no spread."""
    return replace(row, test=None, untested=str(test.reason)) if test.reason else row
