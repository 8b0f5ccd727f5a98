"""A study's figures: every crown, differences against their margin, systematic and random parts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..study.analysis_results import StudyAnalysis
from ..study.comparison_results import Comparison
from ..study.group_results import Summary
from ..study.wording import OUTCOME_WORDS
from .figures import FAINT, HALO, INK, SOFT, Figure, bare_axes, draw_figure
from .study_colour import GroupStyle, group_style
from .study_words import (
    crown_words,
    measure_words,
    short_measure,
    shown,
    shown_factor,
    titles_of,
    unit_of,
    wrapped,
)
from .words import area_words, micrometres

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

LABEL_WIDTH = 15


@dataclass(frozen=True)
class Strip:
    """One group's values in a panel: a point per crown, their summary, which of them are odd."""

    group: str
    title: str
    style: GroupStyle
    crowns: tuple[str, ...]
    summary: Summary
    odd: frozenset[str]
    measure: str


@dataclass(frozen=True)
class Panel:
    """Strips of all groups on one axis, and a limit to be drawn (NaN: none) with its words."""

    title: str
    measure: str
    strips: tuple[Strip, ...]
    limit: float = field(default=math.nan)
    limit_words: str = ""


def study_figures(analysis: StudyAnalysis) -> Iterator[Figure]:
    """Yield every figure that an analysis gives rise to.

    Parameters
    ----------
    analysis : StudyAnalysis

    Yields
    ------
    Figure
        ``trueness_AREA``, ``precision_AREA``, ``equivalence_MEASURE``, ``parts``,
        ``scores_ITEM_AREA_MEASURE``.
    """
    for area in analysis.areas:
        yield _strip_figure(f"trueness_{area}", area_words(area), _true_panels(analysis, area))
    if analysis.findings.precision:
        for area in analysis.areas:
            panels = _precision_panels(analysis, area)
            if panels:
                yield _strip_figure(f"precision_{area}", area_words(area), panels)
    for measure in analysis.measures:
        figure = equivalence_figure(analysis, measure)
        if figure is not None:
            yield figure
    if analysis.parts:
        yield parts_figure(analysis)
    if analysis.examiners is not None:
        crowns = analysis.examiners.crowns
        for item, area, measure in dict.fromkeys((c.item, c.area, c.measure) for c in crowns):
            yield scores_figure(analysis, item, area, measure)


def _true_panels(analysis: StudyAnalysis, area: str) -> list[Panel]:
    limits = {row.tolerance_um for row in analysis.findings.tolerances if row.area == area}
    limit = min(limits, default=math.nan)
    panels = []
    for measure in analysis.measures:
        rows = [
            row
            for row in analysis.findings.trueness
            if (row.area, row.measure) == (area, measure) and row.summary.n
        ]
        strips = tuple(
            _strip(analysis, row.group, row.crowns, row.summary, measure) for row in rows
        )
        own = limit if measure == "mean_abs_um" else math.nan
        words = f"tolerance {own:g} µm" if math.isfinite(own) else ""
        panels.append(Panel(_head(measure), measure, strips, own, words))
    return [panel for panel in panels if panel.strips]


def _precision_panels(analysis: StudyAnalysis, area: str) -> list[Panel]:
    names = {row.group: row.crowns for row in analysis.findings.trueness}
    panels = []
    for measure in analysis.measures:
        rows = [
            row
            for row in analysis.findings.precision
            if (row.area, row.measure) == (area, measure) and row.dispersion.n
        ]
        strips = tuple(
            _strip(analysis, row.group, names[row.group], row.dispersion, measure) for row in rows
        )
        panels.append(Panel(_head(measure), measure, strips))
    return [panel for panel in panels if panel.strips]


def _strip(
    analysis: StudyAnalysis, group: str, crowns: Sequence[str], summary: Summary, measure: str
) -> Strip:
    odd = frozenset(crown.crown for crown in analysis.odd_crowns if crown.odd)
    place = analysis.groups.index(group)
    title = analysis.group_titles[place]
    return Strip(group, title, group_style(place), tuple(crowns), summary, odd, measure)


def _head(measure: str) -> str:
    text = measure_words(measure)
    return f"{text[:1].upper()}{text[1:]}, {unit_of(measure)}"


def _strip_figure(name: str, title: str, panels: Sequence[Panel]) -> Figure:
    rows = max(len(panel.strips) for panel in panels)

    def fill(drawing: Drawing) -> None:
        lengths = all(panel.measure.endswith("_um") for panel in panels)
        grid = drawing.subplots(len(panels), 1, sharex=lengths, squeeze=False)
        for axes, panel in zip(grid[:, 0], panels, strict=True):
            _draw_panel(axes, panel)
            axes.tick_params(labelbottom=True)
            axes.set_xlim(_range(panels if lengths else [panel]))

    return draw_figure(name, title, _strip_alt(title, panels), len(panels) * _height(rows), fill)


def _height(rows: int) -> float:
    return 0.62 + 0.36 * rows


def _draw_panel(axes: Axes, panel: Panel) -> None:
    bare_axes(axes, rows=len(panel.strips))
    axes.set_title(
        f"{panel.title}\ndashed: {panel.limit_words}" if panel.limit_words else panel.title
    )
    for row, strip in enumerate(panel.strips):
        _draw_strip(axes, row, strip)
    axes.set_yticks(range(len(panel.strips)), [wrapped(s.title, LABEL_WIDTH) for s in panel.strips])
    if math.isfinite(panel.limit):
        axes.axvline(panel.limit, color=INK, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2)


def _range(panels: Sequence[Panel]) -> tuple[float, float]:
    """Return the ends of an axis that holds every crown, interval and limit of some panels."""
    values: list[float] = []
    for panel in panels:
        factor = shown_factor(panel.measure)
        for strip in panel.strips:
            crowns, found = strip.summary.values, strip.summary
            values += [factor * value for value in (*crowns, found.mean_high)]
        values.append(panel.limit)
    finite = [value for value in values if math.isfinite(value)]
    low, high = min(finite), max(finite)
    room = 0.06 * (high - min(low, 0.0)) or 1.0
    return (0.0 if low >= 0.0 else low - room), high + room


def _draw_strip(axes: Axes, row: int, strip: Strip) -> None:
    factor, found = shown_factor(strip.measure), strip.summary
    values = factor * np.asarray(found.values, dtype=np.float64)
    if found.n > 1:
        left, width = factor * found.q1, factor * (found.q3 - found.q1)
        axes.barh(row, width, 0.5, left=left, color=FAINT, edgecolor=SOFT, lw=0.6, zorder=1)
        middle = factor * found.median
        axes.plot([middle, middle], [row - 0.25, row + 0.25], color=SOFT, lw=1.4, zorder=2)
    offsets = _spread(values)
    shown_points = np.isfinite(values)
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
    low, high = factor * found.mean_low, factor * found.mean_high
    if math.isfinite(low):
        axes.plot([low, high], [row + 0.36] * 2, color=INK, lw=1.1, zorder=3)
    axes.plot([factor * found.mean], [row + 0.36], "d", color=INK, ms=3.6, zorder=3)


def _mark_odd(axes: Axes, row: int, strip: Strip, values: np.ndarray, offsets: np.ndarray) -> None:
    for name, value, offset in zip(strip.crowns, values, offsets, strict=True):
        if name in strip.odd and math.isfinite(value):
            axes.scatter(
                [value], [row + offset], s=62, facecolor="none", edgecolor=HALO, lw=1.1, zorder=5
            )
            axes.annotate(
                crown_words(name),
                (value, row + offset),
                (-6, 5),
                textcoords="offset points",
                ha="right",
                fontsize=6.5,
                color=HALO,
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
            f"{shown(found.minimum, panel.measure)} to {shown(found.maximum, panel.measure)}"
            for strip in panel.strips
            for found in (strip.summary,)
        )
        parts.append(f"{panel.title}: {groups}.")
    return f"{title}, one point per crown. {' '.join(parts)}"


def equivalence_figure(analysis: StudyAnalysis, measure: str) -> Figure | None:
    """Draw every area's difference between two groups with its interval against the margin.

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
        for row in analysis.findings.comparisons
        if row.measure == measure and math.isfinite(row.difference)
    ]
    pairs = list(dict.fromkeys((row.first, row.second) for row in rows))
    if not pairs:
        return None
    titles = titles_of(analysis)
    panels = [
        (
            pair,
            [r for a in analysis.areas for r in rows if (r.first, r.second, r.area) == (*pair, a)],
        )
        for pair in pairs
    ]

    def fill(drawing: Drawing) -> None:
        ratios = [len(found) + 1.6 for _, found in panels]
        grid = drawing.subplots(
            len(panels), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": ratios}
        )
        for axes, ((first, second), found) in zip(grid[:, 0], panels, strict=True):
            bare_axes(axes, rows=len(found))
            axes.set_title(f"{titles[second]} minus {titles[first]}")
            for place, row in enumerate(found):
                _draw_difference(axes, place, row, measure)
            names = [f"{area_words(r.area)}{' *' if r.primary else ''}" for r in found]
            axes.set_yticks(range(len(found)), [wrapped(name, LABEL_WIDTH) for name in names])
            axes.axvline(0.0, color=INK, linewidth=0.8, zorder=2)
            axes.tick_params(labelbottom=True)
        grid[-1, 0].set_xlabel(f"difference of {measure_words(measure)}, {unit_of(measure)}")
        _room_for_words(grid[-1, 0])

    alt = " ".join(
        f"{titles[row.second]} minus {titles[row.first]}, {area_words(row.area)}: "
        f"{shown(row.difference, measure, signed=True)} {unit_of(measure)}, "
        f"{OUTCOME_WORDS[row.outcome]}."
        for row in rows
    )
    height = sum(0.62 + 0.3 * len(found) for _, found in panels) + 0.25
    title = f"Differences of {measure_words(measure)} against the margin"
    return draw_figure(f"equivalence_{measure}", title, alt, height, fill)


def _room_for_words(axes: Axes) -> None:
    left, right = axes.get_xlim()
    axes.set_xlim(left - 0.02 * (right - left), right + 0.42 * (right - left))


def _draw_difference(axes: Axes, place: int, row: Comparison, measure: str) -> None:
    factor, equal = shown_factor(measure), row.equivalence
    if math.isfinite(equal.margin):
        axes.barh(
            place, 2 * equal.margin, 0.86, left=-equal.margin, color="#e3efe9", zorder=0.5, lw=0
        )
        for edge in (-equal.margin, equal.margin):
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
        OUTCOME_WORDS[row.outcome].replace("different, but within", "different, within"),
        (1.0, place),
        xycoords=("axes fraction", "data"),
        ha="right",
        va="center",
        fontsize=6.8,
        color=INK,
    )


def parts_figure(analysis: StudyAnalysis) -> Figure:
    """Draw what all crowns of a group share beside what differs between them, per area."""
    titles, step = titles_of(analysis), 1.0
    areas = [a for a in analysis.areas if any(p.area == a for p in analysis.parts)]
    groups = [g for g in analysis.groups if any(p.group == g for p in analysis.parts)]
    thick = 0.8 / (2 * len(groups))

    def fill(drawing: Drawing) -> None:
        axes = drawing.subplots()
        bare_axes(axes, rows=len(areas))
        for part in analysis.parts:
            if part.area not in areas or part.group not in groups:
                continue
            style = group_style(analysis.groups.index(part.group))
            top = step * areas.index(part.area) - 0.4 + 2 * thick * groups.index(part.group)
            for k, (value, hatch) in enumerate(
                ((part.systematic_um, ""), (part.random_um, "/////"))
            ):
                axes.barh(
                    top + (k + 0.5) * thick,
                    value,
                    0.86 * thick,
                    color="white" if hatch else style.colour,
                    edgecolor=style.colour,
                    hatch=hatch,
                    lw=0.8,
                    zorder=3,
                )
        axes.set_yticks(range(len(areas)), [wrapped(area_words(a), LABEL_WIDTH) for a in areas])
        axes.set_xlabel("root mean square, µm")
        _parts_key(drawing, [(titles[g], group_style(analysis.groups.index(g))) for g in groups])

    alt = " ".join(
        f"{area_words(p.area)}, {titles[p.group]}: systematic {micrometres(p.systematic_um)} µm, "
        f"random {micrometres(p.random_um)} µm."
        for p in analysis.parts
    )
    height = 0.9 + len(areas) * (0.16 + 0.2 * len(groups))
    return draw_figure("parts", "Systematic and random parts", alt, height, fill)


def _parts_key(drawing: Drawing, groups: Sequence[tuple[str, GroupStyle]]) -> None:
    from matplotlib.patches import Patch

    handles = [
        Patch(facecolor=style.colour, label=wrapped(title, 24, 1)) for title, style in groups
    ]
    handles += [
        Patch(facecolor=SOFT, label="systematic: shared"),
        Patch(facecolor="white", edgecolor=SOFT, hatch="/////", label="random: between crowns"),
    ]
    drawing.legend(handles=handles, loc="outside upper left", ncols=2, frameon=False, fontsize=7.5)


def scores_figure(analysis: StudyAnalysis, item: str, area: str, measure: str) -> Figure:
    """Draw the crowns' median scores on one item against what was measured in one area."""
    found = analysis.examiners
    assert found is not None
    crowns = [
        crown
        for crown in found.crowns
        if (crown.item, crown.area, crown.measure) == (item, area, measure)
        and math.isfinite(crown.median)
    ]
    worst = max((c.median for c in crowns), default=1.0)

    def fill(drawing: Drawing) -> None:
        axes = drawing.subplots()
        bare_axes(axes, rows=math.ceil(worst) + 1)
        factor = shown_factor(measure)
        for place, group in enumerate(analysis.groups):
            own = [c for c in crowns if c.group == group and math.isfinite(c.measured)]
            style = group_style(place)
            axes.scatter(
                [factor * c.measured for c in own],
                [c.median - 0.16 + 0.32 * place / max(1, len(analysis.groups) - 1) for c in own],
                s=20,
                marker=style.marker,
                color=style.colour,
                edgecolor="white",
                linewidth=0.4,
                zorder=3,
                label=wrapped(analysis.group_titles[place], 24, 1),
                gid=f"scores-{group}",
            )
        axes.set_yticks(range(math.ceil(worst) + 1))
        axes.set_ylabel("median score (0 best)")
        axes.set_xlabel(f"{area_words(area)}: {short_measure(measure)}, {unit_of(measure)}")
        axes.margins(x=0.05)
        drawing.legend(loc="outside upper left", ncols=3, frameon=False, fontsize=7.5)

    alt = "; ".join(
        f"{crown_words(c.crown)} score {c.median:g}, {shown(c.measured, measure)}" for c in crowns
    )
    title = f"Score “{item}” beside the {area_words(area)}"
    return draw_figure(
        f"scores_{item}_{area}_{measure}", title, alt, 0.95 + 0.42 * (math.ceil(worst) + 1), fill
    )
