"""A study's figures of fit: every crown's numbers, theme by theme."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.groups import TruenessRow
from ...words.text import capital
from ..drawing.matplotlib_figure import Figure
from .fit_themes import FitTheme, Place
from .sentences import unit_of
from .strips import Panel, Strip, group_strip, strip_figure

_FAR = 4.0  # times all numbers: a limit beyond would press them together


def theme_figure(
    analysis: StudyAnalysis, theme: FitTheme, limits: Mapping[Place, tuple[float, str]]
) -> Figure | None:
    """Draw every crown's numbers of one theme, a panel per measure and area; None without any.

    Crowns that cannot go on are hollow and named.

    Parameters
    ----------
    analysis : StudyAnalysis
    theme : FitTheme
    limits : mapping of (area, measure) to (float, str)
        What the crowns were held against; see :func:`~.fit_limits_um`.
    """
    found = analysis.findings.fit
    panels = []
    for place in () if found is None else theme.places(found):
        assert found is not None
        rows = [r for r in found.described if (r.area, r.measure) == place]
        rows = [row for row in rows if row.summary.description.n]
        panels.append(_panel(analysis, place, rows, *limits.get(place, (math.nan, ""))))
    if not panels:
        return None
    return strip_figure(f"fit_{theme.name}", theme.title, panels, one_scale=theme.one_scale)


def _panel(
    analysis: StudyAnalysis, place: Place, rows: Sequence[TruenessRow], limit: float, bound: str
) -> Panel:
    area, measure = place
    answers = () if analysis.fit is None else analysis.fit.crowns
    held_up = frozenset(one.crown for one in answers if one.stays_up)
    strips = tuple(
        replace(
            group_strip(analysis, row.group, row.crowns, row.summary, measure),
            hollow=held_up & frozenset(row.crowns),
        )
        for row in rows
    )
    title = f"{capital(fit_words(area, measure))}, {unit_of(measure)}"
    words = f"{bound} {limit:g} {unit_of(measure)}" if math.isfinite(limit) else ""
    if words and limit > _FAR * _largest(strips):
        return Panel(f"{title}\nlimit, off axis: {words}", measure, strips)
    return Panel(title, measure, strips, limit, words)


def _largest(strips: Sequence[Strip]) -> float:
    """Return the largest size of a number that is not drawn hollow."""
    values = [
        abs(value)
        for strip in strips
        for crown, value in zip(strip.crowns, strip.summary.values, strict=True)
        if crown not in strip.hollow and math.isfinite(value)
    ]
    return max(values, default=math.inf)
