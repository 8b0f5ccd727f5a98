"""What terminal, page and tables say of a tray, so that they say it alike."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from ...areas.support_marks import mark_of
from ...deviation.support_marks import CLEAN, GOUGE, MARK_WORDS, STUB
from ...tray.result import NOT_CHECKED
from ...words.names import (
    NO_TOLERANCE,
    NOT_DECIDABLE,
    OUTSIDE,
    VERDICT_WORDS,
    WITHIN,
    area_words,
)
from ...words.text import NO_VALUE, capital, count_words, listed
from ..check.causes_words import size_words, title
from ..check.sentences import SHORT_VERDICTS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ...causes.result import Cause
    from ...deviation.support_marks import MarkResult
    from ...deviation.verdict import Verdict
    from ...tray.result import TrayCrown, TrayResult

TRAY_WORDS: Mapping[str, str] = MappingProxyType(
    {**VERDICT_WORDS, NOT_CHECKED: "could not be checked"}
)
SHORT_TRAY_WORDS: Mapping[str, str] = MappingProxyType(
    {**SHORT_VERDICTS, NO_TOLERANCE: "no limit", NOT_CHECKED: "not checked"}
)
TRAY_SIGNS: Mapping[str, str] = MappingProxyType(
    {WITHIN: "✓", OUTSIDE: "✗", NOT_DECIDABLE: "?", NO_TOLERANCE: NO_VALUE, NOT_CHECKED: "!"}
)
NOT_CLEAN = (STUB, GOUGE)
_IN_FULL = 40  # crowns that a line names; more of them are counted


def tray_title(result: TrayResult) -> str:
    """Say how many of a tray's crowns are within their tolerances."""
    within = sum(crown.verdict == WITHIN for crown in result.crowns)
    return f"{within} of {count_words(len(result.crowns), 'crown')} within tolerance"


def tray_lines(result: TrayResult) -> tuple[str, ...]:
    """Name the crowns of each verdict but ``within``, the worst first, a sentence each."""
    lines = []
    for verdict in (OUTSIDE, NOT_DECIDABLE, NOT_CHECKED, NO_TOLERANCE):
        names = [_with_areas(crown) for crown in result.crowns if crown.verdict == verdict]
        if names:
            more = len(names) - _IN_FULL
            named = listed([*names[:_IN_FULL], *([f"{more} more"] if more > 0 else [])])
            lines.append(f"{capital(TRAY_WORDS[verdict])}: {named}.")
    marked = [crown.name for crown in result.crowns if any(not_clean(crown.marks))]
    if marked:
        lines.append(f"Support marks to be finished: {listed(marked)}.")
    return tuple(lines)


def _with_areas(crown: TrayCrown) -> str:
    areas = [area_words(verdict.area) for verdict in deciding(crown)]
    return f"{crown.name} ({', '.join(areas)})" if areas else crown.name


def deciding(crown: TrayCrown) -> tuple[Verdict, ...]:
    """Return the verdicts on areas that speak against a crown; none where it passed."""
    if crown.passed:
        return ()
    return tuple(verdict for verdict in crown.verdicts if verdict.verdict == crown.verdict)


def not_clean(marks: Sequence[MarkResult]) -> list[MarkResult]:
    """Return the support marks that stand out or lie deep."""
    return [mark for mark in marks if mark.verdict in NOT_CLEAN]


def marks_words(marks: Sequence[MarkResult]) -> str:
    """Count support marks by what is left of them, what asks for work first.

    Examples
    --------
    >>> marks_words(())
    '–'
    """
    if not marks:
        return NO_VALUE
    order = (*NOT_CLEAN, *(verdict for verdict in MARK_WORDS if verdict not in NOT_CLEAN))
    counts = {verdict: sum(mark.verdict == verdict for mark in marks) for verdict in order}
    if counts[CLEAN] == len(marks):
        return f"{len(marks)} clean"
    return ", ".join(
        f"{count} {MARK_WORDS[verdict]}{'s' if count > 1 and verdict in NOT_CLEAN else ''}"
        for verdict, count in counts.items()
        if count
    )


def cause_short(cause: Cause) -> str:
    """Return a cause and its size, without the sentence about it."""
    return f"{title(cause)} {size_words(cause)}"


def reason_lines(crown: TrayCrown) -> tuple[str, ...]:
    """Say why a crown did not pass, a sentence per area; nothing if it did."""
    if crown.error is not None:
        return (f"{crown.error.reason} {crown.error.remedy}",)
    return tuple(f"{capital(area_words(v.area))}: {v.reason}" for v in deciding(crown))


def why_words(crown: TrayCrown) -> str:
    """Say in short why a crown deviates: the causes that are held by the data.

    Where a crown could not be checked, the reason.
    """
    if crown.error is not None:
        return crown.error.reason
    if crown.causes is None:
        return ""
    return "; ".join(cause_short(cause) for cause in crown.causes) or "no cause shown"


def limit_of(result: TrayResult, area: str) -> float | None:
    """Return the limit of an area, µm; None where crowns have different ones."""
    found = (crown.of_area(area) for crown in result.crowns)
    limits = {v.tolerance_um for v in found if v is not None and v.verdict != NO_TOLERANCE}
    return limits.pop() if len(limits) == 1 else None


def shared_warnings(result: TrayResult) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what to know before trusting the numbers, each once, with the crowns it is about."""
    found: dict[str, list[str]] = {}
    for crown in result.crowns:
        for text in crown.warnings:
            found.setdefault(text, []).append(crown.name)
    return tuple((text, tuple(names)) for text, names in found.items())


def about_words(result: TrayResult, names: Sequence[str]) -> str:
    """Name the crowns that something is about, as the start of a line."""
    if len(names) == len(result.crowns) > 1:
        return "All crowns"
    return listed(list(names))


def areas_shown(result: TrayResult) -> tuple[str, ...]:
    """Return the areas that a tray's tables show: those with a limit, without support marks."""
    return tuple(area for area in result.areas if not mark_of(area))
