"""The words for the statistics of a study: one place, so that table, page and verdict agree.

A difference that is not significant is never called "no difference": only a test of equivalence
can say that a difference is small.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from ..shares import short_share
from ..words.text import micrometres
from .comparison_results import EquivalenceRow, Outcome

LEAD_WORDS: Mapping[str, str] = MappingProxyType(
    {"welch": "Welch's t test", "ranks": "Mann–Whitney test"}
)
OVERALL_WORDS: Mapping[str, str] = MappingProxyType(
    {"welch": "Welch's analysis of variance", "ranks": "Kruskal–Wallis test"}
)


@dataclass(frozen=True)
class Contrast:
    """What a sentence on one comparison needs.

    Attributes
    ----------
    what : str
        What is compared, as the start of a sentence: "Margin, mean absolute deviation".
    measure : str
        Key of the measure, for its unit.
    first, second : str
        Titles of the groups.
    difference, low, high, confidence : float
        Second minus first, with its interval.
    p_holm, family : float, int
        Corrected p-value, and in how many comparisons it was corrected.
    test : str
        The leading test, in words.
    equivalence : EquivalenceRow
    alpha : float
    reason : str
        Why there is no test; empty if there is.
    """

    what: str
    measure: str
    first: str
    second: str
    difference: float
    low: float
    high: float
    confidence: float
    p_holm: float
    family: int
    test: str
    equivalence: EquivalenceRow
    alpha: float
    reason: str = ""


def contrast_sentence(outcome: Outcome, contrast: Contrast) -> str:
    """Say one comparison's conclusion in plain words with its numbers."""
    words = {
        "different": _different,
        "equivalent": _equivalent,
        "different_within_margin": _different_within,
        "undecided": _undecided,
        "not_computed": _not_computed,
    }
    return words[outcome](contrast)


def interval_words(low: float, high: float, measure: str) -> str:
    """Write an interval: "−1.2 to 3.4 µm"; a difference of shares in percentage points."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return "no interval"
    factor, unit = (1.0, "µm") if measure.endswith("_um") else (100.0, "points")
    return f"{micrometres(factor * low)} to {micrometres(factor * high)} {unit}"


def p_words(p: float) -> str:
    """Write a p-value: never as zero, and never so that 0.0496 or 0.0504 reads as 0.050."""
    if math.isnan(p):
        return "no p"
    if p < 0.001:
        return "p < 0.001"
    text = f"{p:.3f}" if p < 0.1 else f"{p:.2f}"
    return f"p = {p:.4f}" if text == "0.050" else f"p = {text}"


def _numbers(c: Contrast) -> str:
    level = short_share(c.confidence)
    return f"{level} interval {interval_words(c.low, c.high, c.measure)}; {_test(c)}"


def _test(c: Contrast) -> str:
    corrected = f" after correction for {c.family} comparisons" if c.family > 1 else ""
    return f"{c.test}, {p_words(c.p_holm)}{corrected}"


def _size(c: Contrast) -> str:
    relation = "larger" if c.difference > 0 else "smaller"
    size = _plain(abs(c.difference), c.measure)
    return f"{size} {relation} for {c.second} than for {c.first}"


def _plain(value: float, measure: str) -> str:
    if measure.endswith("_um"):
        return f"{micrometres(value)} µm"
    return f"{micrometres(100 * value)} percentage points"


def _margin(c: Contrast) -> str:
    return f"the equivalence margin of {c.equivalence.margin:g} µm"


def _different(c: Contrast) -> str:
    text = f"{c.what}: different; {_size(c)} ({_numbers(c)})."
    return f"{text} {_against_margin(c)}".rstrip()


def _against_margin(c: Contrast) -> str:
    row = c.equivalence
    if math.isnan(row.margin):
        return "Whether that matters was not tested: no equivalence margin is set."
    if row.reason:
        return f"Whether that matters was not tested: {row.reason}"
    if c.low > row.margin or c.high < -row.margin:
        return f"The difference is surely more than {_margin(c)}."
    return f"That it stays within {_margin(c)} is not sure."


def _different_within(c: Contrast) -> str:
    return (
        f"{c.what}: different but within the margin; {_size(c)} ({_numbers(c)}), and surely "
        f"less than {_margin(c)} ({_tost(c)})."
    )


def _equivalent(c: Contrast) -> str:
    return (
        f"{c.what}: equivalent; {c.second} and {c.first} differ by less than {_margin(c)} "
        f"(difference {_signed(c)}, {_tost(c)})."
    )


def _undecided(c: Contrast) -> str:
    text = (
        f"{c.what}: undecided; a difference between {c.second} and {c.first} is neither shown "
        f"nor ruled out (difference {_signed(c)}, {_numbers(c)})."
    )
    row = c.equivalence
    if math.isnan(row.margin):
        return f"{text} Equivalence was not tested: no equivalence margin is set."
    if row.reason:
        return f"{text} Equivalence was not tested: {row.reason}"
    if row.p_value <= c.alpha:
        return (
            f"{text} By itself this comparison would be within {_margin(c)}; after the correction "
            f"it is not sure."
        )
    return f"{text} That it stays within {_margin(c)} is not sure either."


def _not_computed(c: Contrast) -> str:
    seen = "" if math.isnan(c.difference) else f" The difference is {_signed(c)}."
    return f"{c.what}: {c.second} and {c.first} were not compared. {c.reason}{seen}"


def _signed(c: Contrast) -> str:
    if c.measure.endswith("_um"):
        return f"{micrometres(c.difference, signed=True)} µm"
    return f"{micrometres(100 * c.difference, signed=True)} percentage points"


def _tost(c: Contrast) -> str:
    row = c.equivalence
    corrected = " after correction" if row.p_holm > row.p_value else ""
    kind = "rank tests" if row.lead == "ranks" else "tests"
    return (
        f"{short_share(row.level)} interval {interval_words(row.low, row.high, c.measure)}; two "
        f"one-sided {kind}, {p_words(row.p_holm)}{corrected}"
    )
