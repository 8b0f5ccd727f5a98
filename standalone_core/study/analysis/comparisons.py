"""Groups compared two by two, the crown as the unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TypeVar

import numpy as np

from ...progress import Progress, Steps
from ...statistics.equivalence import decide
from ...statistics.reasons import FIRST, SECOND
from ...statistics.two_groups import compare_two
from .cohort import Cohort, Places
from .corrections import correct, is_primary
from .equivalence import corrected_row, equivalence_row
from .fit_words import measured_words
from .results.comparisons import Comparison, Contrast, Corrected
from .sentences import LEAD_WORDS, contrast_sentence

ScannerLimits = Mapping[tuple[str, str], Callable[[int, int], float]]
"""For (area, measure), where it is known: the smallest difference between means of groups of two
sizes that the scanner can show."""
Row = TypeVar("Row", bound=Contrast)


def comparison_steps(
    cohort: Cohort, limits: ScannerLimits, places: Places | None = None
) -> Steps[tuple[Comparison, ...]]:
    """Compare every pair of groups in every area by every measure, step by step.

    Parameters
    ----------
    cohort : Cohort
    limits : mapping of (area, measure) to callable
        See :data:`ScannerLimits`.
    places : tuple of (area, measure), optional
        What is compared, as one family; every area by every measure of trueness if not given.

    Returns
    -------
    tuple of Comparison
        The primary ones first, then by pair of groups, and in the order of ``places``.
    """
    wanted = [
        (first, second, area, measure)
        for first, second in cohort.group_pairs
        for area, measure in (cohort.places if places is None else places)
    ]
    rows = []
    for i, (first, second, area, measure) in enumerate(wanted):
        yield Progress("Comparing the groups", i / len(wanted))
        rows.append(_compared(cohort, first, second, area, measure))
    rows.sort(key=lambda row: not row.primary)
    primary = [row.primary for row in rows]
    different = correct([row.p_value for row in rows], primary)
    equal = correct([row.equivalence.p_value for row in rows], primary)
    test = LEAD_WORDS[cohort.plan.analysis.lead]
    return tuple(
        decided(
            cohort,
            row,
            p,
            q,
            scanner_limit(limits, row, row.tests.n_b, row.tests.n_a),
            measured_words(row.area, row.measure),
            test,
        )
        for row, p, q in zip(rows, different, equal, strict=True)
    )


def _compared(cohort: Cohort, first: str, second: str, area: str, measure: str) -> Comparison:
    """Return a comparison before its p-values are corrected."""
    plan = cohort.plan.analysis
    a, b = cohort.values(first, area, measure), cohort.values(second, area, measure)
    tests = compare_two(b, a, confidence=plan.confidence)
    # The statistics are told of the second group first, since differences are second minus first.
    called = {FIRST: cohort.title(second), SECOND: cohort.title(first)}
    why = tests.welch.reason if plan.lead == "welch" else tests.mann_whitney.reason
    return Comparison(
        area=area,
        measure=measure,
        first=first,
        second=second,
        tests=tests,
        lead=plan.lead,
        primary=is_primary(plan, area, measure),
        corrected=Corrected(np.nan, 0),
        equivalence=equivalence_row(b, a, cohort.plan, area, measure, plan.lead),
        outcome="not_computed",
        reason=why.words(called),
    )


def scanner_limit(limits: ScannerLimits, row: Contrast, n_a: int, n_b: int) -> float:
    """Return the smallest difference between two groups' means that the scanner can show."""
    of_sizes = limits.get((row.area, row.measure))
    return np.nan if of_sizes is None else of_sizes(n_a, n_b)


def decided(
    cohort: Cohort, row: Row, p: Corrected, q: Corrected, limit: float, what: str, test: str
) -> Row:
    """Return a comparison with its corrected p-values and what they say.

    Parameters
    ----------
    cohort : Cohort
    row : Contrast
    p, q : Corrected
        Of the difference, and of equivalence.
    limit : float
        Smallest difference that the scanner can show; NaN if unknown.
    what, test : str
        What was compared, as the start of a sentence, and by what.
    """
    alpha = cohort.plan.analysis.alpha
    row = replace(
        row,
        corrected=p,
        equivalence=corrected_row(row.equivalence, q.p_holm, alpha),
        outcome=decide(p.p_holm, q.p_holm, alpha),
        scanner_limit=limit,
    )
    return replace(row, sentence=contrast_sentence(row, cohort, what, test))
