"""The answer on fit: how many crowns go down, what holds one up, where groups differ."""

from __future__ import annotations

from collections.abc import Sequence

from ...fit.sentences import HELD_BY
from ...words.text import count_words, listed
from .cohort import Cohort
from .contrast_lines import OPEN, Row, contrast_lines
from .fit_limits import are_words, crowns_of, down_words, interval_of
from .fit_words import fit_words
from .results.analysis import LineKind, Status, VerdictLine
from .results.fit import CrownAnswer, FitAnalysis, FitFindings, FitLimitRow

_SHOWN = 3  # measures that an open answer names


def fit_lines(
    cohort: Cohort, fit: FitAnalysis | None, findings: FitFindings | None
) -> list[VerdictLine]:
    """Return a line per group, one per crown that stays up, and one per pair of groups.

    A pair of groups of which nothing is sure has a line beside those of trueness, since that is no
    answer to begin with; a pair that could not be compared at all has none.
    """
    if fit is None:
        return []
    lines = [line for group in cohort.groups for line in _group_lines(cohort, group, fit)]
    lines += [VerdictLine("fit", "bad", _held(row)) for row in fit.crowns if row.stays_up]
    compared = () if findings is None else findings.comparisons
    compared = tuple(row for row in compared if row.standing == "family")
    known = {(row.first, row.second) for row in compared if row.outcome != "not_computed"}
    sure = {(row.first, row.second) for row in compared if row.outcome not in OPEN}
    kinds: tuple[tuple[LineKind, set[tuple[str, str]]], ...]
    kinds = ("fit", sure), ("difference", known - sure)
    for kind, pairs in kinds:
        rows = [row for row in compared if (row.first, row.second) in pairs]
        lines += contrast_lines(cohort, rows, kind, "Fit", _places)
    return lines


def _group_lines(cohort: Cohort, group: str, fit: FitAnalysis) -> list[VerdictLine]:
    rows = [row for row in fit.limits if row.group == group]
    unseated = sum(one.group == group for one in fit.not_fitted)
    title = cohort.title(group)
    without = f"{count_words(unseated, 'crown')} could not be seated" if unseated else ""
    if not rows:
        return [VerdictLine("fit", "open", f"{title}: {without}.")] if without else []
    whole = next(row for row in rows if not row.part)
    parts = [*_counts(whole, rows), *_lost(rows)]
    if whole.undecided:
        parts.append(f"of {count_words(whole.undecided, 'crown')} the fit could not be decided")
    if without:
        parts.append(without)
    outside = whole.share.n - whole.share.within
    status: Status = "bad" if outside else "open" if whole.undecided or without else "good"
    return [VerdictLine("fit", status, f"{title}: {'; '.join(parts)}.")]


def _counts(whole: FitLimitRow, rows: Sequence[FitLimitRow]) -> list[str]:
    """Say how many crowns go down, and how many are within all limits."""
    seat = next((row for row in rows if row.part == "seat" and row.share.n), None)
    parts = []
    counted = crowns_of(whole.share)
    if seat is not None:
        parts.append(f"{crowns_of(seat.share)} {down_words(seat.share)}")
        counted = f"{whole.share.within} of {whole.share.n}"
    if whole.share.n:
        are = are_words(whole.share)
        parts.append(f"{counted} {are} within all limits of fit ({interval_of(whole.share)})")
    return parts


def _lost(rows: Sequence[FitLimitRow]) -> list[str]:
    """Name each limit beside the seat that crowns do not keep."""
    return [
        f"{row.title[:1].lower()}{row.title[1:]}, outside its limit ({row.limit}) on "
        f"{count_words(row.share.n - row.share.within, 'crown')}"
        for row in rows
        if row.part not in ("", "seat") and row.share.within < row.share.n
    ]


def _held(row: CrownAnswer) -> str:
    """Name a crown that stays up, and what holds it."""
    held = [sentence for sentence in row.sentences if sentence.startswith(HELD_BY)]
    return " ".join([f"{row.crown}: {row.title}.", *held])


def _places(members: Sequence[Row], rows: Sequence[Row]) -> str:
    if len(members) == len(rows):
        return "all measures"
    if members[0].outcome in OPEN and len(members) > _SHOWN:
        return f"{len(members)} other measures"
    return f"the {listed([fit_words(row.area, row.measure) for row in members])}"
