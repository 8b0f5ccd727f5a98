"""The words for the statistics of a study: one place, so that table, page and verdict agree.

A difference that is not significant is never called "no difference": only a test of equivalence
can say that a difference is small.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from ...shares import short_share
from ...statistics.rank_sum import Shift
from ...statistics.trimmed import TrimmedTest
from ...words.text import count_words, micrometres
from .cohort import Cohort
from .results.comparisons import Contrast, PrecisionComparison

LEAD_WORDS: Mapping[str, str] = MappingProxyType(
    {"welch": "Welch's t test", "ranks": "Mann–Whitney test", "trimmed": "Yuen's test"}
)
SHIFT = "shift (Hodges–Lehmann)"
OVERALL_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "welch": "Welch's analysis of variance",
        "ranks": "Kruskal–Wallis test",
        "trimmed": "Welch's analysis of variance",
    }
)


def contrast_sentence(row: Contrast, cohort: Cohort, what: str, test: str) -> str:
    """Say one comparison's conclusion in plain words with its numbers.

    Parameters
    ----------
    row : Contrast
        With its outcome.
    cohort : Cohort
        For the groups' titles, the level and the confidence.
    what : str
        What is compared, as the start of a sentence: "Margin, mean absolute deviation".
    test : str
        The leading test, in words.
    """
    words = {
        "different": _different,
        "equivalent": _equivalent,
        "different_within_limit": _different_within,
        "undecided": _undecided,
        "not_computed": _not_computed,
        "exploratory": _exploratory,
    }
    plan = cohort.plan.analysis
    titles = cohort.title(row.first), cohort.title(row.second)
    return words[row.outcome](_Said(row, what, test, *titles, plan.confidence, plan.alpha))


@dataclass(frozen=True)
class _Said:
    """A comparison with what else its sentence says."""

    row: Contrast
    what: str
    test: str
    first: str
    second: str
    confidence: float
    alpha: float


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


def _numbers(c: _Said) -> str:
    tested = f"{c.test}, {p_words(c.row.p_value)}{_adjusted(c, c.row.p_value, c.row.adjusted.p)}"
    return f"{_interval(c)}, unadjusted; {tested}"


def _interval(c: _Said) -> str:
    words = interval_words(c.row.low, c.row.high, c.row.measure)
    return f"{short_share(c.confidence)} interval {words}"


def _adjusted(c: _Said, p: float, adjusted: float) -> str:
    """Say what a p-value is once it allows for the other claims; nothing if it is the same."""
    if not adjusted > p:
        return ""
    tests = count_words(c.row.adjusted.family, "comparison")
    family = c.row.standing == "family"
    allowed = f"after correction for {tests}" if family else "in the planned order"
    if p_words(adjusted) == p_words(p):
        return f", also {allowed}"
    return f", {allowed} {p_words(adjusted)}"


def _size(c: _Said) -> str:
    if isinstance(c.row, PrecisionComparison):
        return _size_of_precision(c)
    relation = "larger" if c.row.difference > 0 else "smaller"
    size = _plain(abs(c.row.difference), c.row.measure)
    return f"{size} {relation} for {c.second} than for {c.first}{_by(c)}"


def _by(c: _Said) -> str:
    """Say what a size is of, unless it is of means."""
    if isinstance(c.row.leading, Shift):
        return f" by the {SHIFT}"
    return " by trimmed means" if isinstance(c.row.leading, TrimmedTest) else ""


def _size_of_precision(c: _Said) -> str:
    degree, way = ("less", "farther from") if c.row.difference > 0 else ("more", "nearer to")
    size = _plain(abs(c.row.difference), c.row.measure)
    return (
        f"{c.second} {degree} precise than {c.first}, its crowns {size} {way} the middle of their "
        f"group on average"
    )


def _plain(value: float, measure: str) -> str:
    if measure.endswith("_um"):
        return f"{micrometres(value)} µm"
    return f"{micrometres(100 * value)} percentage points"


def _limit(c: _Said) -> str:
    return f"the equivalence limit of {c.row.equivalence.limit:g} µm"


def _different(c: _Said) -> str:
    text = f"{c.what}: different; {_size(c)} ({_numbers(c)})."
    return f"{text} {_against_limit(c)}".rstrip()


def _against_limit(c: _Said) -> str:
    row = c.row.equivalence
    if math.isnan(row.limit):
        return "Whether that matters was not tested: no equivalence limit is set."
    if row.reason:
        return f"Whether that matters was not tested: {row.reason}"
    if c.row.low > row.limit or c.row.high < -row.limit:
        return f"The interval lies wholly beyond {_limit(c)}."
    return f"That it stays within {_limit(c)} is not sure."


def _different_within(c: _Said) -> str:
    return (
        f"{c.what}: different but within the equivalence limit; {_size(c)} ({_numbers(c)}), and "
        f"surely less than {_limit(c)} ({_tost(c)})."
    )


def _equivalent(c: _Said) -> str:
    return (
        f"{c.what}: equivalent; {c.second} and {c.first} differ by less than {_limit(c)} "
        f"({_signed(c)}, {_tost(c)})."
    )


def _undecided(c: _Said) -> str:
    text = (
        f"{c.what}: undecided; a difference between {c.second} and {c.first} is neither shown "
        f"nor ruled out ({_signed(c)}, {_numbers(c)})."
    )
    row = c.row.equivalence
    if math.isnan(row.limit):
        return f"{text} Equivalence was not tested: no equivalence limit is set."
    if row.reason:
        return f"{text} Equivalence was not tested: {row.reason}"
    if row.p_value <= c.alpha:
        return (
            f"{text} By itself this comparison would be within {_limit(c)}; with the others that "
            f"share its level it is not sure."
        )
    return f"{text} That it stays within {_limit(c)} is not sure either."


def _not_computed(c: _Said) -> str:
    seen = "" if math.isnan(c.row.difference) else f" The {_kind(c)} is {_value(c)}."
    return f"{c.what}: {c.second} and {c.first} were not compared. {c.row.reason}{seen}"


def _exploratory(c: _Said) -> str:
    return (
        f"{c.what}, {c.second} against {c.first}: {_signed(c)} ({_interval(c)}; {c.test}, "
        f"{p_words(c.row.p_value)}; exploratory, all of it unadjusted)."
    )


def _signed(c: _Said) -> str:
    return f"{_kind(c)} {_value(c)}"


def _kind(c: _Said) -> str:
    if isinstance(c.row.leading, Shift):
        return SHIFT
    trimmed = isinstance(c.row.leading, TrimmedTest)
    return "difference of trimmed means" if trimmed else "difference"


def _value(c: _Said) -> str:
    if c.row.measure.endswith("_um"):
        return f"{micrometres(c.row.difference, signed=True)} µm"
    return f"{micrometres(100 * c.row.difference, signed=True)} percentage points"


def _tost(c: _Said) -> str:
    row = c.row.equivalence
    adjusted = _adjusted(c, row.p_value, row.p_adjusted)
    kind = "rank tests" if row.lead == "ranks" else "tests"
    interval = interval_words(row.low, row.high, c.row.measure)
    return (
        f"{short_share(row.level)} interval {interval}, unadjusted; two one-sided {kind}, "
        f"{p_words(row.p_value)}{adjusted}"
    )
