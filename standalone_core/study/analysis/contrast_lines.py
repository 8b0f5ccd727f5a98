"""What a set of comparisons comes to: a line per pair of groups, grouped by outcome."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeAlias

from ...statistics.equivalence import Outcome
from .cohort import Cohort
from .results.analysis import LineKind, Status, VerdictLine
from .results.comparisons import Comparison, PrecisionComparison

Row: TypeAlias = Comparison | PrecisionComparison
Naming: TypeAlias = Callable[[Sequence[Row], Sequence[Row]], str]
"""Names where some rows (first) of all rows of two groups (second) were compared."""

LARGER, LESS_PRECISE = "larger values for {}", "{} less precise"
OPEN: frozenset[Outcome] = frozenset({"undecided", "not_computed"})
_LEADS: tuple[tuple[Outcome, str], ...] = (
    ("different", "{larger} in {places}"),
    ("different_within_limit", "{larger}, but within the equivalence limit, in {places}"),
    ("equivalent", "equivalent in {places}"),
    ("undecided", "undecided in {places}"),
    ("not_computed", "not compared in {places}"),
)


def contrast_lines(
    cohort: Cohort,
    rows: Sequence[Row],
    kind: LineKind,
    aspect: str,
    places: Naming,
    larger_words: str = LARGER,
) -> list[VerdictLine]:
    """Return a sentence per pair of groups on where they differ and whether that matters.

    Parameters
    ----------
    cohort : Cohort
    rows : sequence of Comparison or PrecisionComparison
    kind : str
        Of the lines.
    aspect : str
        What was compared, as the start of a sentence: "Deviations".
    places : callable
        Names where some of the rows of two groups were compared.
    larger_words : str
        What is said of the group with the larger values, a place for its title in it.
    """
    lines = []
    for first, second in cohort.group_pairs:
        found = [row for row in rows if (row.first, row.second) == (first, second)]
        parts = []
        for outcome, words in _LEADS:
            for larger, members in _by_larger(cohort, found, outcome):
                named = larger_words.format(larger)
                parts.append(words.format(larger=named, places=places(members, found)))
        if parts:
            names = f"{cohort.title(first)} and {cohort.title(second)}"
            text = f"{aspect} of {names}: {'; '.join(parts)}."
            lines.append(VerdictLine(kind, status_of(found), text))
    return lines


def status_of(rows: Iterable[Row]) -> Status:
    """Return the mark of some comparisons: a difference counts first, then an open question."""
    found = {row.outcome for row in rows}
    if "different" in found:
        return "note"
    return "open" if found & OPEN else "good"


def _by_larger(
    cohort: Cohort, rows: Sequence[Row], outcome: Outcome
) -> list[tuple[str, list[Row]]]:
    """Split the rows of an outcome by the group with the larger value, where that is sure."""
    found = [row for row in rows if row.outcome == outcome]
    if not outcome.startswith("different"):
        return [("", found)] if found else []
    split: dict[str, list[Row]] = {}
    for row in found:
        larger = row.second if row.difference > 0 else row.first
        split.setdefault(cohort.title(larger), []).append(row)
    return list(split.items())
