"""Groups compared two by two, the crown as the unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from ...progress import Progress, Steps
from ...statistics.equivalence import decide
from ...statistics.reasons import FIRST, SECOND
from ...statistics.two_groups import compare_two
from .cohort import Cohort, Places
from .equivalence import adjusted_row, equivalence_row
from .families import UNADJUSTED, Judgement, as_family, in_order, standing_of
from .fit_words import measured_words
from .results.comparisons import Comparison, Contrast, Standing, leading_reason
from .sentences import LEAD_WORDS, contrast_sentence

ScannerLimits = Mapping[tuple[str, str], Callable[[int, int], float]]
"""For (area, measure), where it is known: the smallest difference between means of groups of two
sizes that the scanner can show."""
Row = TypeVar("Row", bound=Contrast)
_FIRST: tuple[Standing, ...] = ("primary", "secondary")


def comparison_steps(
    cohort: Cohort, places: Places, otherwise: Standing
) -> Steps[tuple[Comparison, ...]]:
    """Compare every pair of groups by some measures, step by step; nothing is decided yet.

    Parameters
    ----------
    cohort : Cohort
    places : tuple of (area, measure)
        What is compared.
    otherwise : str
        What comparisons that are not in the plan's order may claim.

    Returns
    -------
    tuple of Comparison
        Those of the plan's order first, in that order, then by pair of groups, and in the order
        of ``places``. To be given to :func:`decided_comparisons`.
    """
    order = cohort.plan.analysis.order
    wanted = [
        (first, second, area, measure)
        for first, second in cohort.group_pairs
        for area, measure in places
    ]
    rows = []
    for i, (first, second, area, measure) in enumerate(wanted):
        yield Progress("Comparing the groups", i / len(wanted))
        rows.append(_compared(cohort, first, second, area, measure, otherwise))
    place = {at: k for k, at in enumerate(order)}
    rows.sort(key=lambda row: place.get((row.area, row.measure), len(order)))
    return tuple(rows)


def decided_comparisons(
    cohort: Cohort, rows: Sequence[Comparison], limits: ScannerLimits
) -> tuple[Comparison, ...]:
    """Decide comparisons, of form and of fit: those of the plan's order, and those of a family.

    Parameters
    ----------
    cohort : Cohort
    rows : sequence of Comparison
        As :func:`comparison_steps` returns them.
    limits : mapping of (area, measure) to callable
        See :data:`ScannerLimits`.

    Returns
    -------
    tuple of Comparison
        In the same order, with their outcomes and sentences.
    """
    plan, judged = cohort.plan.analysis, [Judgement(UNADJUSTED, np.nan)] * len(rows)
    order = [i for i, row in enumerate(rows) if row.standing in _FIRST]
    family = [i for i, row in enumerate(rows) if row.standing == "family"]
    for i, one in zip(order, in_order([rows[i] for i in order], plan), strict=True):
        judged[i] = one
    for i, one in zip(family, as_family([rows[i] for i in family]), strict=True):
        judged[i] = one
    return tuple(
        decided(
            cohort,
            row,
            one,
            scanner_limit(limits, row, row.tests.n_b, row.tests.n_a),
            measured_words(row.area, row.measure),
            LEAD_WORDS[plan.lead],
        )
        for row, one in zip(rows, judged, strict=True)
    )


def _compared(
    cohort: Cohort, first: str, second: str, area: str, measure: str, otherwise: Standing
) -> Comparison:
    plan = cohort.plan.analysis
    a, b = cohort.values(first, area, measure), cohort.values(second, area, measure)
    tests = compare_two(b, a, confidence=plan.confidence)
    # The statistics are told of the second group first, since differences are second minus first.
    called = {FIRST: cohort.title(second), SECOND: cohort.title(first)}
    why = leading_reason(tests, plan.lead)
    return Comparison(
        area=area,
        measure=measure,
        first=first,
        second=second,
        standing=standing_of(plan, area, measure, otherwise),
        tests=tests,
        lead=plan.lead,
        adjusted=UNADJUSTED,
        equivalence=equivalence_row(b, a, cohort.plan, area, measure, plan.lead),
        outcome="not_computed",
        reason=why.words(called),
    )


def scanner_limit(limits: ScannerLimits, row: Contrast, n_a: int, n_b: int) -> float:
    """Return the smallest difference between two groups' means that the scanner can show."""
    of_sizes = limits.get((row.area, row.measure))
    return np.nan if of_sizes is None else of_sizes(n_a, n_b)


def decided(cohort: Cohort, row: Row, judged: Judgement, limit: float, what: str, test: str) -> Row:
    """Return a comparison with its adjusted p-values and what they say.

    Parameters
    ----------
    cohort : Cohort
    row : Contrast
    judged : Judgement
        By which it is decided; one that is exploratory is not.
    limit : float
        Smallest difference that the scanner can show; NaN if unknown.
    what, test : str
        What was compared, as the start of a sentence, and by what.
    """
    alpha = cohort.plan.analysis.alpha
    outcome = decide(judged.difference.p, judged.equivalence, alpha)
    if row.standing == "exploratory":
        outcome = "not_computed" if np.isnan(row.p_value) else "exploratory"
    row = replace(
        row,
        adjusted=judged.difference,
        equivalence=adjusted_row(row.equivalence, judged.equivalence, alpha),
        outcome=outcome,
        scanner_limit=limit,
    )
    return replace(row, sentence=contrast_sentence(row, cohort, what, test))
