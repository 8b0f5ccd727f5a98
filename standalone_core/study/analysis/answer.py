"""The answer in plain words, most important first: what stands at the top of a report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial

from ...deviation.reasons import about_pieces
from ...deviation.verdict import is_too_much
from ...words.names import MEASURE_WORDS, the_area
from ...words.text import count_words, listed
from .cohort import Cohort
from .contrast_lines import LESS_PRECISE, Row, contrast_lines, status_of
from .fit_answer import fit_lines
from .fit_words import place_words
from .results.analysis import Findings, OddCrown, OddEffect, Status, VerdictLine
from .results.comparisons import Comparison
from .results.fit import FitAnalysis
from .results.groups import ToleranceRow
from .tolerances import outside_words

_IF_NORMAL = ", but only if they are spread normally, which they do not seem to be"


def verdict_lines(
    cohort: Cohort,
    findings: Findings,
    odd: Sequence[OddCrown],
    effects: Sequence[OddEffect],
    cautions: Iterable[str],
    fit: FitAnalysis | None = None,
) -> tuple[VerdictLine, ...]:
    """Return the sentences of the answer, most important first.

    Tolerances per group; crowns with unmatched scan surface; the primary comparison and those
    after it; whether the crowns fit; that all else is exploratory; precision; odd crowns and what
    changes without them; the scanner; cautions.
    """
    places = partial(_places, cohort)
    return (
        *(_tolerance_line(cohort, group, findings.tolerances) for group in cohort.groups),
        *_unmatched_lines(cohort),
        *(_primary_line(row) for row in findings.primary),
        *contrast_lines(
            cohort, findings.secondary, "secondary", "Secondary comparisons", _secondary_places
        ),
        *fit_lines(cohort, fit, findings.fit),
        *_exploratory_lines(findings),
        *contrast_lines(
            cohort, findings.precision_comparisons, "precision", "Precision", places, LESS_PRECISE
        ),
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
            f"{the_area(row.area)} ({row.share.within} of {row.share.n} crowns within"
            f"{outside_words(row.outside, row.share.within)}"
            f"{_IF_NORMAL if row.rests_on_model else ''})"
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
    return VerdictLine("primary", status_of([row]), row.sentence)


def _secondary_places(members: Sequence[Row], rows: Sequence[Row]) -> str:
    """Name what some of the secondary comparisons are of."""
    if len(members) == len(rows) > 1:
        return f"all {len(rows)}"
    return listed([place_words(row.area, row.measure) for row in members])


def _exploratory_lines(findings: Findings) -> list[VerdictLine]:
    """Say of how many comparisons nothing is claimed."""
    count = sum(row.standing == "exploratory" for row in findings.comparisons)
    if not count:
        return []
    text = (
        f"{count_words(count, 'other comparison')} of trueness {'is' if count == 1 else 'are'} "
        f"exploratory: numbers without a claim, in the tables of each area."
    )
    return [VerdictLine("difference", "note", text)]


def _places(cohort: Cohort, members: Sequence[Row], rows: Sequence[Row]) -> str:
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
        f"scanner can show between means of so many crowns; they are marked, and say little."
    )
    return [VerdictLine("scanner", "note", text)]
