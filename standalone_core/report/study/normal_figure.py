"""Every group's crowns against normal quantiles, for the primary area and measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ...statistics.normal_plot import NormalPlot, normal_plot
from ...study.analysis.fit_words import fit_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.groups import TruenessRow
from ...study.fit_plan import FIT_MEASURES
from ...words.names import area_words
from ...words.text import capital, count_words
from ..drawing.amount_colours import group_style
from ..drawing.label_places import name_point
from ..drawing.matplotlib_figure import HALO, INK, LINE, PLAIN, Figure, draw_figure
from .fit_themes import all_described
from .sentences import short_crown, short_measure, shown, shown_factor, unit_of, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

NAME = "normality"
_COLUMNS, _PANEL_IN, _TITLE_WIDTH, _NAME_WIDTH = 2, 1.45, 16, 9
_ALONG, _LEAST_IN = 38, 2.4  # letters along the upright axis of the lowest figure, its height


def normal_figure(analysis: StudyAnalysis) -> Figure | None:
    """Draw a normal quantile–quantile plot per group; None where no group has three crowns.

    Parameters
    ----------
    analysis : StudyAnalysis
    """
    plan = analysis.settings
    place = plan.primary_area, plan.primary_measure
    rows = [row for row in all_described(analysis.findings) if (row.area, row.measure) == place]
    plots = [
        (row, normal_plot(row.summary.values, plan.confidence, seed=plan.seed)) for row in rows
    ]
    plots = [(row, plot) for row, plot in plots if len(plot.values)]
    if not plots:
        return None
    lines = -(-len(plots) // _COLUMNS)

    def fill(drawing: Drawing) -> None:
        grid = drawing.subplots(lines, _COLUMNS, squeeze=False)
        for axes in grid.flat[len(plots) :]:
            axes.set_visible(False)
        for axes, (row, plot) in zip(grid.flat, plots, strict=False):
            _draw(axes, analysis, row, plot)
        drawing.supxlabel("normal quantile", fontsize=PLAIN)
        unit = unit_of(place[1])
        drawing.supylabel(wrapped(f"{_what(*place)}, {unit}", _ALONG, 1), fontsize=PLAIN)

    alt = f"{capital(_what(*place))}. {' '.join(_told(row, plot) for row, plot in plots)}"
    return draw_figure(NAME, "Crowns against a normal distribution", alt, _height(lines), fill)


def _height(lines: int) -> float:
    return max(_LEAST_IN, 0.3 + _PANEL_IN * lines)


def _what(area: str, measure: str) -> str:
    if measure in FIT_MEASURES:
        return fit_words(area, measure)
    return f"{area_words(area)}: {short_measure(measure)}"


def _draw(axes: Axes, analysis: StudyAnalysis, row: TruenessRow, plot: NormalPlot) -> None:
    """Draw a group's values, the line of its own mean and SD, and the band; odd crowns named."""
    number = analysis.groups.index(row.group)
    style, factor = group_style(number), shown_factor(row.measure)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color=LINE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    axes.set_title(wrapped(analysis.group_titles[number], _TITLE_WIDTH))
    quantiles, colour = plot.quantiles, style.colour
    axes.fill_between(
        quantiles, factor * plot.low, factor * plot.high, color=colour, alpha=0.2, lw=0, zorder=2
    )
    ends = quantiles[[0, -1]]
    axes.plot(ends, factor * (plot.mean + plot.sd * ends), color=INK, lw=0.8, zorder=3)
    axes.scatter(
        quantiles,
        factor * plot.values,
        s=16,
        marker=style.marker,
        color=colour,
        edgecolor="white",
        linewidth=0.4,
        zorder=4,
        gid=f"normal-{row.group}",
    )
    odd = {crown.crown for crown in analysis.odd_crowns if crown.odd}
    for place, quantile, value in zip(plot.order, quantiles, plot.values, strict=True):
        if row.crowns[place] in odd:
            name_point(
                axes, short_crown(row.crowns[place], _NAME_WIDTH), (quantile, factor * value), HALO
            )
    axes.margins(0.1)


def _told(row: TruenessRow, plot: NormalPlot) -> str:
    inside = int(((plot.values >= plot.low) & (plot.values <= plot.high)).sum())
    mean, sd = (shown(value, row.measure) for value in (plot.mean, plot.sd))
    count = count_words(len(plot.values), "crown")
    return f"{row.group}: {inside} of {count} within the band about {mean} ± {sd}."
