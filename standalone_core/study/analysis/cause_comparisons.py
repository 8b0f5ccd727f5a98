"""Groups compared by cause: the study's own tests, corrected over all claims about causes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...causes.words import cause_words
from ...shares import short_share
from ...statistics.equivalence import decide
from ...statistics.multiplicity import holm
from ...statistics.reasons import FIRST, SECOND
from ...statistics.two_groups import compare_two
from ...words.text import capital, count_words, micrometres, signed_number
from ..measuring.common_causes import CommonCause
from .cohort import Cohort
from .families import UNADJUSTED
from .results.causes import CauseComparison
from .results.comparisons import Adjusted, leading_reason
from .sentences import LEAD_WORDS, p_words

_FREE = "Scanned alike, the scanner's own scale is in both: the difference is free of it."


def cause_comparisons(cohort: Cohort, common: Sequence[CommonCause]) -> tuple[CauseComparison, ...]:
    """Compare every pair of groups by every cause that some group has.

    The test that leads in the plan decides, its p-values corrected by Holm over all comparisons
    by cause, which are a family of their own.
    """
    rows = [
        _compared(cohort, size, first, second)
        for size in common
        for first, second in cohort.group_pairs
        if first in size.values and second in size.values
    ]
    p_values = np.array([row.p_value for row in rows], dtype=np.float64)
    tests = int(np.count_nonzero(~np.isnan(p_values)))
    adjusted = [Adjusted(float(p), tests) for p in holm(p_values)]
    return tuple(_decided(cohort, row, p) for row, p in zip(rows, adjusted, strict=True))


def _compared(cohort: Cohort, size: CommonCause, first: str, second: str) -> CauseComparison:
    plan = cohort.plan.analysis
    tests = compare_two(size.values[second], size.values[first], confidence=plan.confidence)
    why = leading_reason(tests, plan.lead)
    # The statistics are told of the second group first, since differences are second minus first.
    called = {FIRST: cohort.title(second), SECOND: cohort.title(first)}
    return CauseComparison(
        cause=size.cause,
        family=size.family,
        unit=size.unit,
        first=first,
        second=second,
        tests=tests,
        lead=plan.lead,
        adjusted=UNADJUSTED,
        outcome="not_computed",
        reason=why.words(called),
    )


def _decided(cohort: Cohort, row: CauseComparison, p: Adjusted) -> CauseComparison:
    outcome = decide(p.p, np.nan, cohort.plan.analysis.alpha)
    row = replace(row, adjusted=p, outcome=outcome)
    return replace(row, sentence=_sentence(cohort, row))


def _sentence(cohort: Cohort, row: CauseComparison) -> str:
    what = capital(cause_words(row.cause, row.family))
    first, second = cohort.title(row.first), cohort.title(row.second)
    if row.outcome == "not_computed":
        return f"{what}: {second} and {first} were not compared. {row.reason}"
    family = row.adjusted.family
    after = f" after correction for {family} comparisons by cause" if family > 1 else ""
    level = short_share(cohort.plan.analysis.confidence)
    numbers = (
        f"{size_words(row.difference, row.unit, signed=True)}, {level} interval "
        f"{_interval(row)}; {LEAD_WORDS[row.lead]}, {p_words(row.adjusted.p)}{after}"
    )
    if row.outcome == "different":
        told = f"{what}: different between {second} and {first} ({numbers})."
    else:
        told = (
            f"{what}: undecided; a difference between {second} and {first} is neither shown nor "
            f"ruled out ({numbers})."
        )
    return f"{told} {_FREE}" if row.family == "scale" else told


def _interval(row: CauseComparison) -> str:
    if not (math.isfinite(row.low) and math.isfinite(row.high)):
        return "not known"
    low, high = (size_words(value, row.unit) for value in (row.low, row.high))
    return f"{low} to {high}"


def size_words(value: float, unit: str, *, signed: bool = False) -> str:
    """Write the size of a cause: ‰ as per cent with two figures behind the point, or µm."""
    if unit == "‰":
        rounded = round(value / 10.0, 2) or 0.0  # no minus before nothing
        return f"{signed_number(rounded, '+.2f' if signed and rounded else '.2f')} %"
    return f"{micrometres(value, signed=signed)} {unit}"


def comparison_notes(cohort: Cohort, rows: Sequence[CauseComparison]) -> tuple[str, ...]:
    """Say what was compared by what, and what is not in it."""
    if not rows:
        return ()
    causes = len({row.cause for row in rows})
    pairs = len(rows) // causes
    over = f"{count_words(causes, 'cause')} × {count_words(pairs, 'pair')} of groups"
    corrected = (
        f"corrected by Holm's method over {over}"
        if len(rows) > 1
        else "not corrected, there is one"
    )
    return (
        "By cause, every crown was sized by one model that holds all causes that some group has; "
        f"p-values are {corrected}, apart from all other comparisons. No equivalence limit is "
        "set for causes: what is not different is undecided.",
    )
