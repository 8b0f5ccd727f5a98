"""Differences between groups, of form and of fit, with intervals against equivalence limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...statistics.equivalence import OUTCOME_WORDS
from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.comparisons import Comparison
from ...study.fit_plan import FIT_MEASURES
from ...words.names import area_words, measure_words, other_than_usual
from ..drawing.matplotlib_figure import INK, PLAIN, SMALL, SOFT, Figure, bare_axes, draw_figure
from .sentences import shown, shown_factor, titles_of, unit_of, wrapped
from .strips import LABEL_WIDTH, TITLE_WIDTH

# Letters and lines of a name beside the axis and height of its row, of form and of fit, whose
# names are longer: "mean gap inside (under the occlusal surface)".
_NAMES, _FIT_NAMES = (LABEL_WIDTH, 2, 0.31), (18, 3, 0.42)
_OUTCOME_WIDTH = 13

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing


def equivalence_figure(analysis: StudyAnalysis, measure: str) -> Figure | None:
    """Draw each area's difference of two groups with its interval against the equivalence limit.

    Parameters
    ----------
    analysis : StudyAnalysis
    measure : str

    Returns
    -------
    Figure or None
        None where no two groups could be compared by this measure.
    """
    rows = [
        row
        for area in analysis.areas
        for row in analysis.findings.comparisons
        if (row.area, row.measure) == (area, measure) and math.isfinite(row.difference)
    ]
    way = other_than_usual(analysis.direction)
    title = f"Differences of {measure_words(measure)}{way} against the equivalence limit"
    label = f"difference of {measure_words(measure)}, {unit_of(measure)}"
    label += f"\n{way.strip()}" if way else ""
    return _figure(analysis, f"equivalence_{measure}", title, label, rows)


def fit_equivalence_figure(analysis: StudyAnalysis) -> Figure | None:
    """Draw differences in fit against their limits; None where no limit is set."""
    found = analysis.findings.fit
    rows = [
        row
        for row in (() if found is None else found.comparisons)
        if math.isfinite(row.difference) and math.isfinite(row.equivalence.limit)
    ]
    title = "Differences in fit against the equivalence limit"
    return _figure(analysis, "equivalence_fit", title, "difference, µm", rows)


def _figure(
    analysis: StudyAnalysis, name: str, title: str, label: str, rows: Sequence[Comparison]
) -> Figure | None:
    """Draw comparisons, a panel per pair of groups; None without any."""
    titles, order = titles_of(analysis), analysis.groups.index
    pairs = sorted({(row.first, row.second) for row in rows}, key=lambda p: tuple(map(order, p)))
    if not pairs:
        return None
    panels = [[row for row in rows if (row.first, row.second) == pair] for pair in pairs]

    def fill(drawing: Drawing) -> None:
        ratios = [len(found) + 1.6 for found in panels]
        grid = drawing.subplots(
            len(panels), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": ratios}
        )
        for axes, (first, second), found in zip(grid[:, 0], pairs, panels, strict=True):
            _draw_differences(axes, f"{titles[second]} minus {titles[first]}", found)
        drawing.supxlabel(wrapped(label, 50), fontsize=PLAIN)

    alt = " ".join(
        f"{titles[row.second]} minus {titles[row.first]}, {_name(row)}: "
        f"{shown(row.difference, row.measure, signed=True)} {unit_of(row.measure)}, "
        f"{OUTCOME_WORDS[row.outcome]}."
        for found in panels
        for row in found
    )
    row_in = _names(rows)[2]
    height = sum(0.5 + row_in * len(found) for found in panels) + 0.35
    return draw_figure(name, title, alt, height, fill)


def _name(row: Comparison) -> str:
    """Name what was compared: the area, since the title tells the measure; of fit both."""
    if row.measure in FIT_MEASURES:
        return fit_words(row.area, row.measure)
    return area_words(row.area)


def _names(rows: Sequence[Comparison]) -> tuple[int, int, float]:
    return _FIT_NAMES if any(row.measure in FIT_MEASURES for row in rows) else _NAMES


def _draw_differences(axes: Axes, title: str, rows: Sequence[Comparison]) -> None:
    """Draw two groups' differences below each other."""
    bare_axes(axes, rows=len(rows))
    width, lines, _ = _names(rows)
    axes.set_title(wrapped(title, TITLE_WIDTH))
    for place, row in enumerate(rows):
        _draw_difference(axes, place, row)
    names = [f"{_name(row)}{' *' if row.primary else ''}" for row in rows]
    axes.set_yticks(range(len(rows)), [wrapped(name, width, lines) for name in names])
    axes.axvline(0.0, color=INK, linewidth=0.8, zorder=2)
    axes.tick_params(labelbottom=True)


def _draw_difference(axes: Axes, place: int, row: Comparison) -> None:
    factor, equal = shown_factor(row.measure), row.equivalence
    if math.isfinite(equal.limit):
        axes.barh(
            place, 2 * equal.limit, 0.86, left=-equal.limit, color="#e3efe9", zorder=0.5, lw=0
        )
        for edge in (-equal.limit, equal.limit):
            axes.plot([edge, edge], [place - 0.43, place + 0.43], color="#17615f", lw=1.2)
    if math.isfinite(row.low):
        axes.plot([factor * row.low, factor * row.high], [place] * 2, color=SOFT, lw=1.0, zorder=3)
    if math.isfinite(equal.low):
        ends = [factor * equal.low, factor * equal.high]
        axes.plot(ends, [place] * 2, color=INK, lw=3.2, solid_capstyle="butt", zorder=3)
    open_mark = row.below_scanner
    axes.plot(
        [factor * row.difference],
        [place],
        "o",
        ms=5.0,
        mfc="white" if open_mark else INK,
        mec=INK,
        zorder=4,
        gid=f"difference-{row.first}-{row.second}-{row.area}",
    )
    axes.annotate(
        wrapped(_SHORT_OUTCOMES.get(row.outcome, OUTCOME_WORDS[row.outcome]), _OUTCOME_WIDTH, 3),
        (1.0, place),
        (4, 0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        va="center",
        fontsize=SMALL,
        color=INK,
    )


_SHORT_OUTCOMES = {"different_within_limit": "different, within limit", "exploratory": ""}
