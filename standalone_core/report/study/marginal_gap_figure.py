"""The marginal gap all around the crown, group by group."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ...arrays import FloatArray
from ...deviation.margin_directions import Directions, directions_of
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.measuring.crown_fit import MarginGaps
from ...study.measuring.results import StudyRun
from ...words.text import count_words, micrometres
from ..drawing.amount_colours import GroupStyle, group_style
from ..drawing.matplotlib_figure import INK, LINE, Figure, draw_figure
from .angle_axis import AngleAxis
from .fit_themes import MOST_GAP, fit_limits_um
from .sentences import crown_words, titles_of, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

PLACES = 360
_NAMED, _HEAD_WIDTH = 3, 38  # crowns that a head names, and its letters in a line


@dataclass(frozen=True, eq=False)
class GapCurves:
    """One group's marginal gap at every whole degree; µm, NaN where it was not measured.

    Attributes
    ----------
    title : str
    style : GroupStyle
    n : int
        Crowns that are not held up.
    mean_um, least_um, most_um : (360,) float
        Over these crowns.
    held_up : mapping of str to (360,) float
        The others, by name.
    """

    title: str
    style: GroupStyle
    n: int
    mean_um: FloatArray
    least_um: FloatArray
    most_um: FloatArray
    held_up: Mapping[str, FloatArray]


@dataclass(frozen=True, eq=False)
class MarginCurves:
    """What the figure shows.

    Attributes
    ----------
    groups : tuple of GapCurves
    directions : Directions or None
        Where the angles begin; None where that is not known.
    limit_um : float
        Of the largest gap; NaN if none was judged.
    """

    groups: tuple[GapCurves, ...]
    directions: Directions | None
    limit_um: float


def margin_curves(run: StudyRun, analysis: StudyAnalysis) -> MarginCurves | None:
    """Gather the marginal gaps of all crowns; None if there are none."""
    groups = []
    for place, (group, title) in enumerate(titles_of(analysis).items()):
        resting, held_up = [], {}
        for crown in run.crowns_of(group):
            if crown.fit is not None and crown.fit.margin is not None:
                gap = gap_at_degrees(crown.fit.margin)
                if crown.fit.stop == "cannot_go_on" and not crown.fit.by_triple_scan:
                    held_up[crown.name] = gap
                else:
                    resting.append(gap)
        if resting or held_up:
            stack = np.array(resting).reshape(len(resting), PLACES)
            mean, least, most = (_over_crowns(stack, take) for take in (np.mean, np.min, np.max))
            style = group_style(place)
            groups.append(GapCurves(title, style, len(stack), mean, least, most, held_up))
    if not groups:
        return None
    fit, areas = run.plan.fit, run.area_set
    known = fit is not None and fit.in_design_frame and areas.insertion is not None
    limit, _ = fit_limits_um(run).get(MOST_GAP, (math.nan, ""))
    return MarginCurves(tuple(groups), directions_of(areas) if known else None, limit)


def gap_at_degrees(margin: MarginGaps) -> FloatArray:
    """Return the gap at 0°, 1°, …, 359°: of the nearest place, NaN where that has none."""
    away = np.abs(margin.angle_deg[None, :] - np.arange(float(PLACES))[:, None]) % 360.0
    nearest: FloatArray = margin.gap_um[np.minimum(away, 360.0 - away).argmin(axis=1)]
    return nearest


def marginal_gap_figure(curves: MarginCurves) -> Figure:
    """Draw the marginal gap around the crown, a panel per group: mean, and the crowns' range.

    Crowns that are held up are in neither, so that they cannot hide how the others fit: they are
    dashed, and the axis is not stretched for them.
    """
    top, axis = _top(curves), AngleAxis(curves.directions)

    def fill(drawing: Drawing) -> None:
        grid = drawing.subplots(len(curves.groups), 1, sharex=True, sharey=True, squeeze=False)
        for axes, group in zip(grid[:, 0], curves.groups, strict=True):
            _draw_group(axes, axis, group, curves.limit_um)
            _draw_limit(axes, curves.limit_um)
            axes.set_ylim(min(0.0, _bottom(curves)), top)
            axes.set_ylabel("gap, µm")
        axis.name(grid[-1, 0])

    heads = [_head(group, curves.limit_um) for group in curves.groups]
    height = 0.55 + sum(1.16 + 0.14 * head.count("\n") for head in heads)
    alt = " ".join(_told(group) for group in curves.groups)
    return draw_figure("marginal_gap", "Marginal gap around the crown", alt, height, fill)


def _over_crowns(stack: FloatArray, take: Callable[..., FloatArray]) -> FloatArray:
    """Take the mean, say, of the crowns that have a number at a place; NaN where none has."""
    found = np.full(PLACES, np.nan)
    for place in np.flatnonzero(np.isfinite(stack).any(axis=0)).tolist():
        column = stack[:, place]
        found[place] = take(column[np.isfinite(column)])
    return found


def _top(curves: MarginCurves) -> float:
    """Return the upper end of the axis: above the limit and all crowns that are not held up."""
    values = [value for one in curves.groups for value in one.most_um.tolist()]
    finite = [value for value in (curves.limit_um, *values) if math.isfinite(value)]
    held_up = [gap for one in curves.groups for gap in one.held_up.values()]
    return 1.2 * max(finite, default=_largest(held_up))


def _bottom(curves: MarginCurves) -> float:
    values = [value for one in curves.groups for value in one.least_um.tolist()]
    return 1.12 * min((value for value in values if math.isfinite(value)), default=0.0)


def _largest(gaps: list[FloatArray]) -> float:
    values = [float(value) for gap in gaps for value in gap[np.isfinite(gap)]]
    return max(values, default=1.0)


def _draw_group(axes: Axes, axis: AngleAxis, group: GapCurves, limit_um: float) -> None:
    """Draw one group; its curves go on to 360°, which is 0° again."""
    angle, order = np.arange(PLACES + 1.0), axis.degrees
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color=LINE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    axes.set_title(_head(group, limit_um))
    low, high = group.least_um[order], group.most_um[order]
    axes.fill_between(angle, low, high, color=group.style.colour, alpha=0.25, lw=0, zorder=2)
    axes.plot(angle, group.mean_um[order], color=group.style.colour, lw=1.6, zorder=4)
    for name, gap in group.held_up.items():
        axes.plot(
            angle,
            gap[order],
            color=group.style.colour,
            lw=1.0,
            ls=(0, (4, 2)),
            zorder=3,
            gid=f"held-up-{name}",
        )


def _draw_limit(axes: Axes, limit_um: float) -> None:
    if math.isfinite(limit_um):
        axes.axhline(limit_um, color=INK, lw=1.0, ls=(0, (1, 1.5)), zorder=2)


def _head(group: GapCurves, limit_um: float) -> str:
    """Name a group and say what its curves are, a line each."""
    told = [group.title]
    if group.n:
        several = f"mean of {group.n} crowns, band: their range"
        told.append(several if group.n > 1 else "one crown")
    if group.held_up:
        ends = _ends(np.concatenate(list(group.held_up.values())))
        names = ", ".join(crown_words(name) for name in group.held_up)
        if len(group.held_up) > _NAMED:
            names = count_words(len(group.held_up), "crown")
        told.append(f"dashed, held up: {names}, {ends}")
    if math.isfinite(limit_um):
        told.append(f"dotted: limit {limit_um:g} µm")
    return "\n".join(wrapped(text, _HEAD_WIDTH) for text in told)


def _ends(values: FloatArray) -> str:
    finite = values[np.isfinite(values)]
    if not len(finite):
        return "not measured"
    low, high = (micrometres(float(x), digits=0) for x in (finite.min(), finite.max()))
    return f"{low} to {high} µm"


def _told(group: GapCurves) -> str:
    mean = group.mean_um[np.isfinite(group.mean_um)]
    about = f"{group.title}: "
    if len(mean):
        widest = int(np.nanargmax(group.mean_um))
        about += (
            f"mean gap of {count_words(group.n, 'crown')} from {_ends(mean)}, widest at {widest}°."
        )
    for name, gap in group.held_up.items():
        about += f" {crown_words(name)} is held up: {_ends(gap)}."
    return about
