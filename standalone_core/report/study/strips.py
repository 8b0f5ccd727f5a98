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
from ..drawing.matplotlib_figure import FAINT, HALO, INK, SOFT, Figure, bare_axes, draw_figure
from .sentences import crown_words, shown, shown_factor, unit_of, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

LABEL_WIDTH = 15
LIMITED = "mean_abs_um"  # what tolerances are limits of
_FAR = 1.5  # times all others: a hollow crown beyond does not stretch the axis


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
    return 0.62 + 0.36 * rows


def _draw_panel(axes: Axes, panel: Panel, ends: tuple[float, float]) -> None:
    bare_axes(axes, rows=len(panel.strips))
    axes.set_title(
        f"{panel.title}\ndashed: {panel.limit_words}" if panel.limit_words else panel.title
    )
    for row, strip in enumerate(panel.strips):
        _draw_strip(axes, row, strip, ends[1])
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


def _draw_strip(axes: Axes, row: int, strip: Strip, end: float) -> None:
    factor, found = shown_factor(strip.measure), strip.summary.description
    values = factor * np.asarray(strip.summary.values, dtype=np.float64)
    if found.n > 1:
        left, width = factor * found.q1, factor * (found.q3 - found.q1)
        axes.barh(row, width, 0.5, left=left, color=FAINT, edgecolor=SOFT, lw=0.6, zorder=1)
        middle = factor * found.median
        axes.plot([middle, middle], [row - 0.25, row + 0.25], color=SOFT, lw=1.4, zorder=2)
    offsets = _spread(values)
    hollow = np.array([name in strip.hollow for name in strip.crowns], dtype=bool)
    shown_points = np.isfinite(values) & ~hollow
    axes.scatter(
        values[shown_points],
        (row + offsets)[shown_points],
        s=22,
        marker=strip.style.marker,
        color=strip.style.colour,
        edgecolor="white",
        linewidth=0.4,
        zorder=4,
        gid=f"points-{strip.measure}-{strip.group}",
    )
    _mark_odd(axes, row, strip, values, offsets)
    for place in np.flatnonzero(hollow & np.isfinite(values)).tolist():
        _draw_hollow(axes, row + offsets[place], strip, place, float(values[place]), end)
    low, high = factor * found.ci_low, factor * found.ci_high
    if math.isfinite(low):
        axes.plot([low, high], [row + 0.36] * 2, color=INK, lw=1.1, zorder=3)
    axes.plot([factor * found.mean], [row + 0.36], "d", color=INK, ms=3.6, zorder=3)


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
        words = f"{crown_words(name)} {shown(value, strip.measure)} →"
        _name(axes, words if beyond else crown_words(name), (min(value, end), height), INK)


def _mark_odd(axes: Axes, row: int, strip: Strip, values: np.ndarray, offsets: np.ndarray) -> None:
    for name, value, offset in zip(strip.crowns, values, offsets, strict=True):
        if name in strip.odd and math.isfinite(value):
            axes.scatter(
                [value], [row + offset], s=62, facecolor="none", edgecolor=HALO, lw=1.1, zorder=5
            )
            _name(axes, crown_words(name), (value, row + offset), HALO)


def _name(axes: Axes, words: str, place: tuple[float, float], colour: str) -> None:
    """Write a crown's name to the left above its point."""
    axes.annotate(
        words,
        place,
        (-6, 5),
        textcoords="offset points",
        ha="right",
        fontsize=6.5,
        color=colour,
        bbox={"facecolor": "white", "alpha": 0.75, "pad": 0.4, "linewidth": 0},
        zorder=6,
    )


def _spread(values: np.ndarray) -> np.ndarray:
    """Return offsets that keep crowns of nearly the same value apart, the same on every run."""
    offsets = np.zeros(len(values))
    order = np.argsort(values, kind="stable")
    pattern = (0.0, -0.13, 0.13, -0.2, 0.06, -0.06, 0.2)
    for place, index in enumerate(order):
        offsets[index] = pattern[place % len(pattern)]
    return offsets


def _strip_alt(title: str, panels: Sequence[Panel]) -> str:
    parts = []
    for panel in panels:
        groups = "; ".join(
            f"{strip.title} mean {shown(found.mean, panel.measure)}, {found.n} crowns from "
            f"{shown(found.min, panel.measure)} to {shown(found.max, panel.measure)}"
            for strip in panel.strips
            for found in (strip.summary.description,)
        )
        parts.append(f"{panel.title}: {groups}.")
    return f"{title}, one point per crown. {' '.join(parts)}"
