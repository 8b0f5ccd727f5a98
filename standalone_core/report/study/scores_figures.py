"""Figures of the examiners' scores: how many crowns got which, and scores beside measurements."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.scores import ScoredCrown, ScoreGroupRow
from ...study.fit_plan import FIT_MEASURES
from ...words.names import area_words
from ...words.text import count_words
from ..drawing.amount_colours import group_style
from ..drawing.matplotlib_figure import INK, LINE, PLAIN, SMALL, Figure, bare_axes, draw_figure
from .sentences import (
    crown_words,
    short_measure,
    shown,
    shown_factor,
    titles_of,
    unit_of,
    wrapped,
)
from .strips import LABEL_WIDTH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

_BAR_IN, _ROW_IN, _TITLE_WIDTH = 0.14, 0.2, 38


def score_counts_figure(
    analysis: StudyAnalysis, item: str, words: Sequence[str] = ()
) -> Figure | None:
    """Draw how many crowns of each group got 0, 1, 2, … on one item: a bar with its number each.

    Parameters
    ----------
    analysis : StudyAnalysis
    item : str
    words : sequence of str
        What the scores mean, best first; none are told without them.

    Returns
    -------
    Figure or None
        None where no crown was scored.
    """
    found = analysis.examiners
    rows = [row for row in (() if found is None else found.groups) if row.item == item]
    rows = [row for row in rows if sum(row.counts)]
    if not rows:
        return None
    scores = range(max(len(row.counts) for row in rows))
    titles = titles_of(analysis)

    def fill(drawing: Drawing) -> None:
        from matplotlib.patches import Patch
        from matplotlib.ticker import MaxNLocator

        axes = drawing.subplots()
        bare_axes(axes, rows=len(scores))
        for place, row in enumerate(rows):
            _draw_counts(axes, analysis, row, place, 0.84 / len(rows))
        axes.set_xlim(0, 1.08 * max(max(row.counts) for row in rows))
        axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
        names = [f"{k} {words[k]}" if k < len(words) else str(k) for k in scores]
        axes.set_yticks(scores, [wrapped(name, LABEL_WIDTH) for name in names])
        axes.set_ylabel("median score (0 best)")
        axes.set_xlabel("crowns")
        styles = [group_style(analysis.groups.index(row.group)) for row in rows]
        handles = [
            Patch(facecolor=style.colour, label=wrapped(titles[row.group], 20, 1))
            for row, style in zip(rows, styles, strict=True)
        ]
        drawing.legend(handles=handles, loc="outside upper left", ncols=2, frameon=False)

    alt = " ".join(
        f"{titles[row.group]}: "
        + ", ".join(f"{count_words(n, 'crown')} got {k}" for k, n in enumerate(row.counts))
        + "."
        for row in rows
    )
    height = 0.75 + 0.16 * len(rows) / 2 + len(scores) * (0.08 + _BAR_IN * len(rows))
    title = f"Crowns per score “{item}”"
    return draw_figure(f"score_counts_{item}", title, alt, height, fill)


def _draw_counts(
    axes: Axes, analysis: StudyAnalysis, row: ScoreGroupRow, place: int, thick: float
) -> None:
    """Draw one group's bars, its ``place`` among the bars of a score, each with its number."""
    style = group_style(analysis.groups.index(row.group))
    heights = [score - 0.42 + (place + 0.5) * thick for score in range(len(row.counts))]
    bars = axes.barh(heights, row.counts, 0.86 * thick, color=style.colour, lw=0, zorder=3)
    for score, bar in enumerate(bars):
        bar.set_gid(f"count-{row.group}-{score}")
    axes.bar_label(bars, [str(n) for n in row.counts], padding=2, fontsize=SMALL, color=INK)


def scores_figure(analysis: StudyAnalysis, item: str, area: str, measure: str) -> Figure:
    """Draw the crowns' median scores on one item against what was measured in one area.

    Every group has a panel of its own, in which a crown stands exactly at its score.
    """
    found = analysis.examiners
    assert found is not None
    crowns = [
        crown
        for crown in found.crowns
        if (crown.item, crown.area, crown.measure) == (item, area, measure)
        and math.isfinite(crown.median)
    ]
    groups = [g for g in analysis.groups if any(crown.group == g for crown in crowns)]
    worst = math.ceil(max((c.median for c in crowns), default=1.0))
    beside, what = area_words(area), f"{area_words(area)}: {short_measure(measure)}"
    if measure in FIT_MEASURES:
        beside = what = fit_words(area, measure)

    def fill(drawing: Drawing) -> None:
        grid = drawing.subplots(max(1, len(groups)), 1, sharex=True, squeeze=False)
        for axes, group in zip(grid[:, 0], groups, strict=False):
            _draw_scores(axes, analysis, group, crowns, shown_factor(measure))
        for axes in grid[:, 0]:
            bare_axes(axes, rows=worst + 1)
            axes.grid(axis="y", color=LINE, linewidth=0.5)
            axes.set_yticks(range(worst + 1))
        drawing.supxlabel(wrapped(f"{what}, {unit_of(measure)}", 50), fontsize=PLAIN)
        drawing.supylabel("median score (0 best)", fontsize=PLAIN)

    alt = "; ".join(
        f"{crown_words(c.crown)} score {c.median:g}, {shown(c.measured, measure)}" for c in crowns
    )
    title = f"Score “{item}” beside the {beside}"
    height = 0.55 + max(1, len(groups)) * (0.3 + _ROW_IN * (worst + 1))
    return draw_figure(f"scores_{item}_{area}_{measure}", title, alt, height, fill)


def _draw_scores(
    axes: Axes, analysis: StudyAnalysis, group: str, crowns: Sequence[ScoredCrown], factor: float
) -> None:
    place = analysis.groups.index(group)
    style = group_style(place)
    own = [c for c in crowns if c.group == group and math.isfinite(c.measured)]
    title = f"{analysis.group_titles[place]} ({count_words(len(own), 'crown')})"
    axes.set_title(wrapped(title, _TITLE_WIDTH, 1))
    axes.scatter(
        [factor * c.measured for c in own],
        [c.median for c in own],
        s=20,
        marker=style.marker,
        color=style.colour,
        edgecolor="white",
        linewidth=0.4,
        zorder=3,
        clip_on=False,
        gid=f"scores-{group}",
    )
