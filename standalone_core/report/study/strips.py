"""A study's strips: every crown's value by group, with the group's summary, a panel per measure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.groups import PrecisionRow, Summary, TruenessRow
from ...words.names import area_words, measure_words, other_than_usual
from ...words.text import capital
from ..drawing.amount_colours import GroupStyle, group_style
from ..drawing.label_places import name_point
from ..drawing.matplotlib_figure import FAINT, HALO, INK, SOFT, Figure, bare_axes, draw_figure
from .sentences import fine_digits, short_crown, shown, shown_factor, unit_of, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

LABEL_WIDTH, TITLE_WIDTH = 15, 31
LIMITED = "mean_abs_um"  # what tolerances are limits of
_FAR = 1.5  # times all others: a hollow crown beyond does not stretch the axis
_ROW_IN, _AROUND_IN = 0.42, 0.58
_POINT_PT, _PLOT_PT = 4.4, 140.0  # width of a point, and of the plot in a figure of one column
# Heights in a row, whose middles lie 1 apart: middle and half height of the points; the box that
# is drawn below and not behind them, so that it shows in a tight group; the mean with its interval.
_POINTS, _SPREAD, _BOX, _BOX_HEIGHT, _MEAN = -0.2, 0.15, 0.17, 0.2, 0.38


@dataclass(frozen=True)
class Strip:
    """One group's values in a panel: a point per crown, and their summary.

    Attributes
    ----------
    group, title : str
    style : GroupStyle
    crowns : tuple of str
    summary : Summary
    odd : frozenset of str
        Crowns to be ringed and named.
    measure : str
    hollow : frozenset of str
        Crowns to be drawn hollow and named; where they lie far from the others, the axis is not
        stretched for them: they stand at its end with their number.
    """

    group: str
    title: str
    style: GroupStyle
    crowns: tuple[str, ...]
    summary: Summary
    odd: frozenset[str]
    measure: str
    hollow: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Panel:
    """Strips of all groups on one axis, and a limit to be drawn (NaN: none) with its words."""

    title: str
    measure: str
    strips: tuple[Strip, ...]
    limit: float = field(default=math.nan)
    limit_words: str = ""


def trueness_figure(analysis: StudyAnalysis, area: str) -> Figure | None:
    """Draw every crown's trueness in one area, a panel per measure; None if there is none."""
    panels = _true_panels(analysis, area)
    return strip_figure(f"trueness_{area}", area_words(area), panels) if panels else None


def precision_figure(analysis: StudyAnalysis, area: str) -> Figure | None:
    """Draw how far every crown lies from its group's middle in one area; None if not known."""
    panels = _precision_panels(analysis, area)
    return strip_figure(f"precision_{area}", area_words(area), panels) if panels else None


def _true_panels(analysis: StudyAnalysis, area: str) -> list[Panel]:
    limits = {row.tolerance_um for row in analysis.findings.tolerances if row.area == area}
    limit, direction = min(limits, default=math.nan), other_than_usual(analysis.direction)
    panels = [
        _panel(analysis, analysis.findings.trueness, area, measure, direction)
        for measure in analysis.measures
    ]
    if math.isfinite(limit):
        words = f"tolerance {limit:g} µm"
        panels = [
            replace(panel, limit=limit, limit_words=words) if panel.measure == LIMITED else panel
            for panel in panels
        ]
    return [panel for panel in panels if panel.strips]


def _panel(
    analysis: StudyAnalysis,
    rows: Sequence[TruenessRow] | Sequence[PrecisionRow],
    area: str,
    measure: str,
    direction: str = "",
) -> Panel:
    """Return the groups' rows of one area and measure as a panel."""
    strips = tuple(
        group_strip(analysis, row.group, row.crowns, row.summary, measure)
        for row in rows
        if (row.area, row.measure) == (area, measure) and row.summary.description.n
    )
    return Panel(_head(measure, direction), measure, strips)


def _precision_panels(analysis: StudyAnalysis, area: str) -> list[Panel]:
    return [
        panel
        for measure in analysis.measures
        if (panel := _panel(analysis, analysis.findings.precision, area, measure)).strips
    ]


def group_strip(
    analysis: StudyAnalysis, group: str, crowns: Sequence[str], summary: Summary, measure: str
) -> Strip:
    """Return the values of one of a study's groups as a strip, its odd crowns marked."""
    odd = frozenset(crown.crown for crown in analysis.odd_crowns if crown.odd)
    place = analysis.groups.index(group)
    title = analysis.group_titles[place]
    return Strip(group, title, group_style(place), tuple(crowns), summary, odd, measure)


def _head(measure: str, direction: str = "") -> str:
    return f"{capital(measure_words(measure))}{direction}, {unit_of(measure)}"


def strip_figure(
    name: str, title: str, panels: Sequence[Panel], *, one_scale: bool = True
) -> Figure:
    """Draw panels of strips below each other.

    Parameters
    ----------
    name, title : str
        As in :class:`~.Figure`.
    panels : sequence of Panel
        At least one.
    one_scale : bool
        Whether all share an axis that begins at zero, if all are lengths.
    """
    rows = max(len(panel.strips) for panel in panels)

    def fill(drawing: Drawing) -> None:
        lengths = one_scale and all(panel.measure.endswith("_um") for panel in panels)
        grid = drawing.subplots(len(panels), 1, sharex=lengths, squeeze=False)
        for axes, panel in zip(grid[:, 0], panels, strict=True):
            ends = _range(panels if lengths else [panel], from_zero=one_scale)
            _draw_panel(axes, panel, ends)
            axes.tick_params(labelbottom=True)
            axes.set_xlim(ends)

    return draw_figure(name, title, _strip_alt(title, panels), len(panels) * _height(rows), fill)


def _height(rows: int) -> float:
    return _AROUND_IN + _ROW_IN * rows


def _draw_panel(axes: Axes, panel: Panel, ends: tuple[float, float]) -> None:
    bare_axes(axes, rows=len(panel.strips))
    limit = f"\ndashed: {panel.limit_words}" if panel.limit_words else ""
    lines = f"{panel.title}{limit}".split("\n")
    axes.set_title("\n".join(wrapped(line, TITLE_WIDTH) for line in lines))
    for row, strip in enumerate(panel.strips):
        _draw_strip(axes, row, strip, ends)
    axes.set_yticks(range(len(panel.strips)), [wrapped(s.title, LABEL_WIDTH) for s in panel.strips])
    if math.isfinite(panel.limit):
        axes.axvline(panel.limit, color=INK, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2)


def _range(panels: Sequence[Panel], *, from_zero: bool = True) -> tuple[float, float]:
    """Return the ends of an axis that holds every crown, interval and limit of some panels.

    Hollow crowns far beyond all others do not stretch it, nor do the intervals that they widen.
    """
    values: list[float] = []
    hollow: list[float] = []
    for panel in panels:
        factor = shown_factor(panel.measure)
        for strip in panel.strips:
            found = strip.summary.description
            values.append(factor * (found.mean if strip.hollow else found.ci_high))
            if not (strip.hollow or from_zero):
                values.append(factor * found.ci_low)
            for crown, value in zip(strip.crowns, strip.summary.values, strict=True):
                (hollow if crown in strip.hollow else values).append(factor * value)
        values.append(panel.limit)
    finite = [value for value in values if math.isfinite(value)]
    reach = _FAR * max(map(abs, finite), default=math.inf)
    finite += [value for value in hollow if abs(value) <= reach]
    low, high = min(finite), max(finite)
    room = 0.06 * (high - min(low, 0.0)) or 1.0
    return (0.0 if from_zero and low >= 0.0 else low - room), high + room


def _draw_strip(axes: Axes, row: int, strip: Strip, ends: tuple[float, float]) -> None:
    factor = shown_factor(strip.measure)
    _draw_summary(axes, row, strip.summary, factor)
    values = factor * np.asarray(strip.summary.values, dtype=np.float64)
    heights = row + _POINTS + _apart(np.minimum(values, ends[1]), ends)
    hollow = np.array([name in strip.hollow for name in strip.crowns], dtype=bool)
    shown_points = np.isfinite(values) & ~hollow
    axes.scatter(
        values[shown_points],
        heights[shown_points],
        s=_POINT_PT**2,
        marker=strip.style.marker,
        color=strip.style.colour,
        edgecolor="white",
        linewidth=0.4,
        zorder=4,
        gid=f"points-{strip.measure}-{strip.group}",
    )
    for place in np.flatnonzero(hollow & np.isfinite(values)).tolist():
        _draw_hollow(axes, heights[place], strip, place, float(values[place]), ends[1])
    _mark_odd(axes, strip, np.minimum(values, ends[1]), heights)


def _draw_summary(axes: Axes, row: int, summary: Summary, factor: float) -> None:
    """Draw the middle half with the median, and below it the mean with its interval."""
    found = summary.description
    if found.n > 1:
        left, width, middle = factor * found.q1, factor * (found.q3 - found.q1), row + _BOX
        half = 0.5 * _BOX_HEIGHT
        axes.barh(
            middle, width, _BOX_HEIGHT, left=left, color=FAINT, edgecolor=SOFT, lw=0.7, zorder=3
        )
        median = factor * found.median
        axes.plot([median, median], [middle - half, middle + half], color=INK, lw=1.3, zorder=3)
    low, high = factor * found.ci_low, factor * found.ci_high
    if math.isfinite(low):
        axes.plot([low, high], [row + _MEAN] * 2, color=INK, lw=1.0, zorder=3)
    axes.plot([factor * found.mean], [row + _MEAN], "d", color=INK, ms=3.4, zorder=3)


def _draw_hollow(
    axes: Axes, height: float, strip: Strip, place: int, value: float, end: float
) -> None:
    """Draw a crown hollow with its name; one beyond the end of the axis there, with its number."""
    name, beyond = strip.crowns[place], value > end
    axes.scatter(
        [min(value, end)],
        [height],
        s=26,
        marker=strip.style.marker,
        facecolor="white",
        edgecolor=strip.style.colour,
        linewidth=1.2,
        zorder=5,
        clip_on=False,
        gid=f"hollow-{strip.measure}-{strip.group}-{place}",
    )
    if beyond or name not in strip.odd:
        words = f"{short_crown(name)} {shown(value, strip.measure)} →"
        name_point(axes, words if beyond else short_crown(name), (min(value, end), height), INK)


def _mark_odd(axes: Axes, strip: Strip, values: np.ndarray, heights: np.ndarray) -> None:
    for name, value, height in zip(strip.crowns, values, heights, strict=True):
        if name in strip.odd and math.isfinite(value):
            axes.scatter(
                [value], [height], s=50, facecolor="none", edgecolor=HALO, lw=1.0, zorder=5
            )
            name_point(axes, short_crown(name), (value, height), HALO)


def _apart(values: np.ndarray, ends: tuple[float, float]) -> np.ndarray:
    """Return how far crowns are moved up or down so that they lie beside each other, not on.

    The first lane in which a crown touches none before it is taken, from the middle outward; only
    where all are full is it the one whose last crown lies farthest away.
    """
    touching = (ends[1] - ends[0]) * _POINT_PT / _PLOT_PT
    lanes = _SPREAD * np.array([0.0, -1.0, 1.0])
    last = np.full(len(lanes), -np.inf)
    moved = np.zeros(len(values))
    for index in np.argsort(values, kind="stable").tolist():
        free = np.flatnonzero(values[index] - last >= touching)
        lane = int(free[0]) if len(free) else int(np.argmin(last))
        moved[index], last[lane] = lanes[lane], values[index]
    return moved


def _strip_alt(title: str, panels: Sequence[Panel]) -> str:
    parts = []
    for panel in panels:
        groups = "; ".join(_told(strip) for strip in panel.strips)
        parts.append(f"{panel.title}: {groups}.")
    return f"{title}, one point per crown. {' '.join(parts)}"


def _told(strip: Strip) -> str:
    found, measure = strip.summary.description, strip.measure
    values = found.mean, found.min, found.max
    digits = fine_digits(values, measure)
    mean, least, most = (shown(value, measure, digits=digits) for value in values)
    return f"{strip.title} mean {mean}, {found.n} crowns from {least} to {most}"
