"""What a study's page says about fit: counts, limits, measures, crowns that cannot go on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ...fit.sentences import MEASURES, PART_WORDS, SEAT_CAUTIONS
from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.comparisons import Comparison, OverallRow
from ...study.analysis.results.fit import CrownAnswer, FitFindings, FitLimitRow
from ...study.analysis.results.groups import TruenessRow
from ...study.measuring.crown_fit import CrownFit, NotFitted
from ...study.measuring.results import StudyRun
from ...words.text import capital, listed
from .fit_counts import FitCount, fit_counts
from .fit_themes import THEMES, FitTheme

SEATED = (
    "Crowns were seated on their dies by computing: each down along the path of insertion, until "
    "it rests."
)


@dataclass(frozen=True)
class FitColumn:
    """A measure of fit in the table of its theme."""

    area: str
    measure: str
    title: str


@dataclass(frozen=True)
class ThemePart:
    """All about one theme: a column per measure and area, a row per group.

    Attributes
    ----------
    name, title : str
    columns : tuple of FitColumn
        Those with a number.
    rows : mapping of (group, area, measure) to TruenessRow
    comparisons : tuple of Comparison
    overall : tuple of OverallRow
    """

    name: str
    title: str
    columns: tuple[FitColumn, ...]
    rows: Mapping[tuple[str, str, str], TruenessRow]
    comparisons: tuple[Comparison, ...]
    overall: tuple[OverallRow, ...]


@dataclass(frozen=True)
class CrownRow:
    """One crown's answer beside its numbers."""

    answer: CrownAnswer
    fit: CrownFit


@dataclass(frozen=True)
class FitPart:
    """What the page says about fit.

    Attributes
    ----------
    counts : tuple of FitCount
    whole : mapping of group to FitLimitRow
        The whole verdicts.
    limits : tuple of tuple of FitLimitRow
        All others: limit by limit, every group's.
    themes : tuple of ThemePart
    held_up : tuple of CrownRow
        Crowns that cannot go on.
    crowns : tuple of CrownRow
        Every crown.
    not_fitted : tuple of NotFitted
    notes : tuple of str
    missing, warnings : tuple of str
        What was not measured and what must be known, each once, with the crowns' names.
    how : tuple of str
        How the crowns were seated, and what such a seat cannot show.
    margin_words : str
        What the measures at the margin are.
    """

    counts: tuple[FitCount, ...]
    whole: Mapping[str, FitLimitRow]
    limits: tuple[tuple[FitLimitRow, ...], ...]
    themes: tuple[ThemePart, ...]
    held_up: tuple[CrownRow, ...]
    crowns: tuple[CrownRow, ...]
    not_fitted: tuple[NotFitted, ...]
    notes: tuple[str, ...]
    missing: tuple[str, ...]
    warnings: tuple[str, ...]
    how: tuple[str, ...]
    margin_words: str = MEASURES


def fit_part(run: StudyRun, analysis: StudyAnalysis) -> FitPart | None:
    """Gather what the page says about fit; None where it was not asked for."""
    found = analysis.fit
    if found is None:
        return None
    fits = {crown.name: crown.fit for crown in run.crowns if crown.fit is not None}
    how = (SEATED, *SEAT_CAUTIONS) if any(fit.stop for fit in fits.values()) else ()
    crowns = tuple(CrownRow(one, fits[one.crown]) for one in found.crowns if one.crown in fits)
    return FitPart(
        counts=fit_counts(run, analysis),
        whole={row.group: row for row in found.limits if not row.part},
        limits=_limits(found.limits),
        themes=_themes(analysis),
        held_up=tuple(row for row in crowns if row.answer.stays_up),
        crowns=crowns,
        not_fitted=found.not_fitted,
        notes=tuple(text for text in found.notes if text not in how),
        missing=_gathered(
            (
                (name, f"{capital(PART_WORDS.get(part, part))}: {why}")
                for name, fit in fits.items()
                for part, why in fit.missing.items()
            ),
            len(fits),
        ),
        warnings=_gathered(
            ((name, text) for name, fit in fits.items() for text in fit.warnings), len(fits)
        ),
        how=how,
    )


def _limits(rows: Sequence[FitLimitRow]) -> tuple[tuple[FitLimitRow, ...], ...]:
    """Gather the groups of each limit."""
    found: dict[tuple[str, str, str], list[FitLimitRow]] = {}
    for row in rows:
        if row.part:
            found.setdefault((row.part, row.measure, row.area), []).append(row)
    return tuple(map(tuple, found.values()))


def _themes(analysis: StudyAnalysis) -> tuple[ThemePart, ...]:
    found = analysis.findings.fit
    parts = () if found is None else (_theme(found, theme) for theme in THEMES)
    return tuple(part for part in parts if part.columns)


def _theme(found: FitFindings, theme: FitTheme) -> ThemePart:
    places = theme.places(found)
    return ThemePart(
        name=theme.name,
        title=theme.title,
        columns=tuple(FitColumn(*place, capital(fit_words(*place))) for place in places),
        rows={
            (row.group, row.area, row.measure): row
            for row in found.described
            if (row.area, row.measure) in places and row.summary.description.n
        },
        comparisons=tuple(r for r in found.comparisons if (r.area, r.measure) in places),
        overall=tuple(r for r in found.overall if (r.area, r.measure) in places),
    )


def _gathered(texts: Iterable[tuple[str, str]], n: int) -> tuple[str, ...]:
    """Return every text once, with the names of the crowns that it is about before it."""
    names: dict[str, list[str]] = {}
    for name, text in texts:
        names.setdefault(text, []).append(name)
    return tuple(
        f"{'Every crown' if len(about) == n > 1 else listed(about)}: {text}"
        for text, about in names.items()
    )
