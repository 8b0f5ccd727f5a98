"""The answer in plain words, most important first: what stands at the top of a report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeAlias

from ...deviation.reasons import about_pieces
from ...deviation.verdict import is_too_much
from ...statistics.equivalence import Outcome
from ...words.names import MEASURE_WORDS, the_area
from ...words.text import count_words, listed
from .cohort import Cohort
from .results.analysis import Findings, LineKind, OddCrown, OddEffect, Status, VerdictLine
from .results.comparisons import Comparison, PrecisionComparison
from .results.groups import ToleranceRow

Row: TypeAlias = Comparison | PrecisionComparison

_OPEN: frozenset[Outcome] = frozenset({"undecided", "not_computed"})
_LEADS: tuple[tuple[Outcome, str], ...] = (
    ("different", "larger values for {larger} in {places}"),
    (
        "different_within_margin",
        "larger values for {larger}, but within the equivalence margin, in {places}",
    ),
    ("equivalent", "equivalent in {places}"),
    ("undecided", "undecided in {places}"),
    ("not_computed", "not compared in {places}"),
)
_ASPECTS = {"difference": "Deviations", "precision": "Spread between crowns"}


def verdict_lines(
    cohort: Cohort,
    findings: Findings,
    odd: Sequence[OddCrown],
    effects: Sequence[OddEffect],
    cautions: Iterable[str],
) -> tuple[VerdictLine, ...]:
    """Return the sentences of the answer, most important first.

    Tolerances per group; crowns with unmatched scan surface; the primary comparison; what else
    differs between groups, and whether that matters; precision; odd crowns and what changes
    without them; the scanner; cautions.
    """
    return (
        *(_tolerance_line(cohort, group, findings.tolerances) for group in cohort.groups),
        *_unmatched_lines(cohort),
        *(_primary_line(row) for row in findings.primary),
        *_contrast_lines(cohort, findings.comparisons, "difference"),
        *_contrast_lines(cohort, findings.precision_comparisons, "precision"),
        *_odd_lines(odd, effects),
        *_scanner_lines(findings),
        *(VerdictLine("caution", "note", sentence) for sentence in cautions),
    )


def _tolerance_line(cohort: Cohort, group: str, rows: Sequence[ToleranceRow]) -> VerdictLine:
    title = cohort.title(group)
    judged = [row for row in rows if row.group == group and row.tolerance_um > 0]
    if not judged:
        sentence = f"{title}: none of its areas has a tolerance to be compared with."
        return VerdictLine("tolerance", "open", sentence)
    met = [row for row in judged if row.meets]
    failed = [row for row in judged if row.meets is False]
    unsure = [row for row in judged if row.meets is None]
    parts = []
    if failed:
        parts.append(f"does not meet the tolerance of {_areas_with_counts(failed)}")
    if unsure:
        parts.append(f"is not shown to meet the tolerance of {_areas_with_counts(unsure)}")
    if met:
        parts.append(f"meets the tolerance of {_areas_with_counts(met)}")
    status: Status = "bad" if failed else "open" if unsure else "good"
    return VerdictLine("tolerance", status, f"{title} {'; '.join(parts)}.")


def _areas_with_counts(rows: Sequence[ToleranceRow]) -> str:
    return listed(
        [
            f"{the_area(row.area)} ({row.share.within} of {row.share.n} crowns within)"
            for row in rows
        ]
    )


def _unmatched_lines(cohort: Cohort) -> list[VerdictLine]:
    """Name every crown whose scan has surface that the design has not."""
    tolerances = cohort.plan.check.tolerances
    lines = []
    for crown in (crown for group in cohort.groups for crown in cohort.crowns[group]):
        pieces = [p for p in crown.evidence.unmatched if p.areas and is_too_much(p, tolerances)]
        if pieces:
            text = f"{crown.name}: {' '.join(about_pieces(pieces))}"
            lines.append(VerdictLine("unmatched", "bad", text))
    return lines


def _primary_line(row: Comparison) -> VerdictLine:
    return VerdictLine("primary", _status([row]), row.sentence)


def _status(rows: Iterable[Row]) -> Status:
    """Return the mark of some comparisons: a difference counts first, then an open question."""
    found = {row.outcome for row in rows}
    if "different" in found:
        return "note"
    return "open" if found & _OPEN else "good"


def _contrast_lines(cohort: Cohort, rows: Sequence[Row], kind: LineKind) -> list[VerdictLine]:
    """Return a sentence per pair of groups on where they differ and whether that matters."""
    lines = []
    for first, second in cohort.group_pairs:
        found = [row for row in rows if (row.first, row.second) == (first, second)]
        parts = []
        for outcome, words in _LEADS:
            for larger, members in _by_larger(cohort, found, outcome):
                places = _places(members, found, cohort)
                parts.append(words.format(larger=larger, places=places))
        if parts:
            names = f"{cohort.title(first)} and {cohort.title(second)}"
            text = f"{_ASPECTS[kind]} of {names}: {'; '.join(parts)}."
            lines.append(VerdictLine(kind, _status(found), text))
    return lines


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


def _places(members: Sequence[Row], rows: Sequence[Row], cohort: Cohort) -> str:
    """Name areas, with the measures where only some of them are meant."""
    if len(members) == len(rows):
        return "all areas and measures"
    areas, measures = (
        cohort.areas,
        [m for m in cohort.measures if any(r.measure == m for r in rows)],
    )
    names = []
    for area in areas:
        here = [m for m in measures if any((r.area, r.measure) == (area, m) for r in members)]
        some = (
            "" if len(here) == len(measures) else f" ({listed([MEASURE_WORDS[m] for m in here])})"
        )
        if here:
            names.append(f"{the_area(area)}{some}")
    return listed(names)


def _odd_lines(odd: Sequence[OddCrown], effects: Sequence[OddEffect]) -> list[VerdictLine]:
    flagged = [crown for crown in odd if crown.odd]
    if not flagged:
        return []
    it = "it" if len(flagged) == 1 else "them"
    changed = (
        f"{count_words(len(effects), 'conclusion')} would not be the same without {it}."
        if effects
        else f"No conclusion changes without {it}."
    )
    head = (
        f"{count_words(len(flagged), 'crown')} unlike the others of the group: "
        f"{listed([crown.crown for crown in flagged])}. All results hold {it}. {changed}"
    )
    reasons = [VerdictLine("odd", "note", f"{c.crown}: {c.reason}") for c in flagged]
    changes = [VerdictLine("odd", "note", e.sentence) for e in effects if e.primary]
    return [VerdictLine("odd", "note", head), *reasons, *changes]


def _scanner_lines(findings: Findings) -> list[VerdictLine]:
    rows: list[Row] = [*findings.comparisons, *findings.precision_comparisons]
    known = [row for row in rows if row.scanner_limit > 0]
    below = [row for row in known if row.below_scanner]
    if not below:
        return []
    text = (
        f"{len(below)} of {len(known)} differences between groups are smaller than what the "
        f"scanner can show between two scans; they are marked, and say little about the crowns."
    )
    return [VerdictLine("scanner", "note", text)]
