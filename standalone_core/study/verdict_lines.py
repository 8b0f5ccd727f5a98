"""The answer in plain words, most important first: what stands at the top of a report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from ..report.words import area_words
from .analysis_results import Findings, LineKind, OddCrown, OddEffect, Status, VerdictLine
from .cohort import Cohort
from .comparison_results import Comparison, Outcome, PrecisionComparison
from .group_results import ToleranceRow
from .wording import MEASURE_WORDS, count_words, listed, share_words

_ORDER: tuple[Outcome, ...] = (
    "different",
    "different_within_margin",
    "equivalent",
    "undecided",
    "not_computed",
)
_LEADS = {
    "different": "they differ in",
    "different_within_margin": "they differ, but by less than the margin, in",
    "equivalent": "they are equivalent within the margin in",
    "undecided": "it stays undecided in",
    "not_computed": "no comparison was possible in",
}


def verdict_lines(
    cohort: Cohort,
    findings: Findings,
    odd: Sequence[OddCrown],
    effects: Sequence[OddEffect],
    cautions: Iterable[str],
) -> tuple[VerdictLine, ...]:
    """Return the sentences of the answer, most important first.

    Tolerances per group; the primary comparison; what else differs between groups, and whether
    that matters; precision; odd crowns and what changes without them; the scanner; cautions.
    """
    return (
        *(_tolerance_line(cohort, group, findings.tolerances) for group in cohort.groups),
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
    content, confidence = share_words(judged[0].content), share_words(judged[0].confidence)
    meaning = f"To meet it means: {content} of all crowns made this way within, {confidence} sure."
    status: Status = "bad" if failed else "open" if unsure else "good"
    return VerdictLine("tolerance", status, f"{title} {'; '.join(parts)}. {meaning}")


def _areas_with_counts(rows: Sequence[ToleranceRow]) -> str:
    return listed([f"{area_words(row.area)} ({row.within} of {row.n} crowns)" for row in rows])


def _primary_line(row: Comparison) -> VerdictLine:
    return VerdictLine("difference", _status(row.outcome), f"What was asked first: {row.sentence}")


def _status(outcome: Outcome) -> Status:
    if outcome == "different":
        return "note"
    return "good" if outcome in {"equivalent", "different_within_margin"} else "open"


def _contrast_lines(
    cohort: Cohort, rows: Sequence[Comparison] | Sequence[PrecisionComparison], kind: LineKind
) -> list[VerdictLine]:
    """Return a sentence per pair of groups on where they differ and whether that matters."""
    lines = []
    name = "trueness" if kind == "difference" else "precision"
    for first, second in cohort.group_pairs:
        found = [row for row in rows if (row.first, row.second) == (first, second)]
        parts = [
            f"{_LEADS[outcome]} {_places(found, outcome, cohort.measures)}"
            for outcome in _ORDER
            if any(row.outcome == outcome for row in found)
        ]
        if parts:
            text = f"{cohort.title(first)} and {cohort.title(second)}, {name}: {'; '.join(parts)}."
            worst = next(o for o in _ORDER if any(row.outcome == o for row in found))
            lines.append(VerdictLine(kind, _status(worst), text))
    return lines


def _places(
    rows: Sequence[Comparison | PrecisionComparison], outcome: Outcome, measures: Sequence[str]
) -> str:
    """Name areas, with the measures where only some have this outcome."""
    areas = list(dict.fromkeys(row.area for row in rows))
    found = sorted(
        (row for row in rows if row.outcome == outcome),
        key=lambda row: (areas.index(row.area), measures.index(row.measure)),
    )
    if len(found) == len(rows):
        return "all areas and measures"
    names = []
    for area, members in groupby(found, key=lambda row: row.area):
        here = [row.measure for row in members]
        some = listed([MEASURE_WORDS[measure] for measure in here])
        names.append(area_words(area) + ("" if len(here) == len(measures) else f" ({some})"))
    return listed(names)


def _odd_lines(odd: Sequence[OddCrown], effects: Sequence[OddEffect]) -> list[VerdictLine]:
    flagged = [crown for crown in odd if crown.odd]
    if not flagged:
        return []
    it = "it" if len(flagged) == 1 else "them"
    changed = (
        f"{count_words(len(effects), 'conclusion')} would be another one without {it}."
        if effects
        else f"No conclusion changes without {it}."
    )
    head = (
        f"{count_words(len(flagged), 'crown')} unlike the others of the group: "
        f"{listed([crown.crown for crown in flagged])}. All results hold {it}. {changed}"
    )
    reasons = [VerdictLine("odd", "note", f"{c.crown}: {c.reason}") for c in flagged]
    changes = [VerdictLine("odd", "note", effect.sentence) for effect in effects]
    return [VerdictLine("odd", "note", head), *reasons, *changes]


def _scanner_lines(findings: Findings) -> list[VerdictLine]:
    rows: list[Comparison | PrecisionComparison]
    rows = [*findings.comparisons, *findings.precision_comparisons]
    known = [row for row in rows if row.scanner_limit > 0]
    below = [row for row in known if row.below_scanner]
    if not below:
        return []
    text = (
        f"{len(below)} of {len(known)} differences between groups are smaller than what the "
        f"scanner can show between two scans; they are marked, and say little about the crowns."
    )
    return [VerdictLine("scanner", "note", text)]
