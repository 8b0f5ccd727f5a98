"""A study against an earlier one: for page, terminal and methods text; no word on what it shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ...shares import short_share
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.earlier import EarlierComparison, EarlierRow, EarlierTolerance
from ...study.measuring.results import StudyRun
from ...words.text import count_words
from .causes_methods import Cite


@dataclass(frozen=True)
class EarlierTable:
    """All groups and areas by one measure.

    Attributes
    ----------
    measure : str
    areas : tuple of (area, rows)
    """

    measure: str
    areas: tuple[tuple[str, tuple[EarlierRow, ...]], ...]


@dataclass(frozen=True)
class EarlierPart:
    """What the page says of an earlier study.

    Attributes
    ----------
    found : EarlierComparison
    tables : tuple of EarlierTable
        The plan's primary measure first, if it was compared.
    counts : tuple of (area, rows)
        Crowns against tolerances.
    """

    found: EarlierComparison
    tables: tuple[EarlierTable, ...]
    counts: tuple[tuple[str, tuple[EarlierTolerance, ...]], ...]


def earlier_part(analysis: StudyAnalysis) -> EarlierPart | None:
    """Gather what the page says of an earlier study; None where none was given."""
    found = analysis.earlier
    if found is None:
        return None
    first = analysis.settings.primary_measure
    measures = sorted(dict.fromkeys(row.measure for row in found.rows), key=lambda m: m != first)
    return EarlierPart(
        found=found,
        tables=tuple(_table(found, measure) for measure in measures),
        counts=tuple(
            (area, tuple(row for row in found.tolerances if row.area == area))
            for area in dict.fromkeys(row.area for row in found.tolerances)
        ),
    )


def _table(found: EarlierComparison, measure: str) -> EarlierTable:
    own = [row for row in found.rows if row.measure == measure]
    areas = dict.fromkeys(row.area for row in own)
    rows = ((area, tuple(row for row in own if row.area == area)) for area in areas)
    return EarlierTable(measure, tuple(rows))


def earlier_lines(analysis: StudyAnalysis) -> list[str]:
    """Return lines on an earlier study, the first of them a heading; none without one."""
    found = analysis.earlier
    if found is None:
        return []
    first, *others = found.lines
    lines = [first, *(f"  {line}" for line in others)]
    if found.rows:
        lines.append(
            "  All areas and measures, and what this cannot tell: report.html, "
            "Against the earlier study."
        )
    return lines


def earlier_methods(run: StudyRun, analysis: StudyAnalysis, cite: Cite) -> Iterator[str]:
    """Yield a sentence on the comparison with an earlier study, if there was one."""
    found = analysis.earlier
    if found is None or not found.rows:
        return
    shared = (
        f"; {count_words(len(found.shared), 'crown')} of both studies counted in the earlier one "
        f"alone"
        if found.shared
        else ""
    )
    level = short_share(analysis.settings.confidence)
    yield (
        f"As an exploratory comparison outside all families of tests, groups were set beside those "
        f"of the same name in an earlier study of the same design ({found.title}), measured with "
        f"the same settings, by Welch's t test {cite('welch')} with {level} confidence intervals, "
        f"neither adjusted{shared}."
    )
