"""The margin profile of each group drawn around the crown: mean, band and tolerance."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ...words.text import count_words, micrometres
from ..drawing.matplotlib_figure import INK, LINE, PLAIN, SOFT, Figure, draw_figure
from .angle_axis import AngleAxis
from .margin_profiles import GroupProfile, MarginProfiles
from .sentences import wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

NAME = "margin_profile"
_TITLE_WIDTH = 38
_DASHES = (0, (4, 2))


def margin_figure(profiles: MarginProfiles) -> Figure:
    """Draw the mean deviation along the margin line, a panel per group on one scale.

    The band is the mean ± the standard deviation between crowns. Places where fewer than half of
    a group's crowns count are left out.
    """
    axis = AngleAxis(profiles.directions)

    def fill(drawing: Drawing) -> None:
        count = len(profiles.groups)
        grid = drawing.subplots(count, 1, sharex=True, sharey=True, squeeze=False)
        for axes, group in zip(grid[:, 0], profiles.groups, strict=True):
            _draw_group(axes, axis, profiles, group)
        grid[0, 0].margins(y=0.08)
        axis.name(grid[-1, 0])
        drawing.supylabel("deviation, µm (up: excess)", fontsize=PLAIN)
        _key(drawing, profiles.tolerance_um)

    alt = " ".join(_told(profiles, group) for group in profiles.groups)
    height = 0.75 + 1.2 * len(profiles.groups)
    return draw_figure(NAME, "Deviation along the margin line", alt, height, fill)


def _draw_group(axes: Axes, axis: AngleAxis, profiles: MarginProfiles, group: GroupProfile) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(color=LINE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    title = f"{group.title} ({count_words(group.crowns, 'crown')})"
    axes.set_title(wrapped(title, _TITLE_WIDTH, 1))
    drawn = 2 * group.counted >= group.crowns
    mean, sd = (np.where(drawn, values, np.nan) for values in (group.mean_um, group.sd_um))
    place, low = axis.around(profiles.angle_deg, mean - sd)
    _, high = axis.around(profiles.angle_deg, mean + sd)
    colour = group.style.colour
    axes.fill_between(place, low, high, color=colour, alpha=0.28, lw=0, zorder=2)
    axes.plot(
        *axis.around(profiles.angle_deg, mean), color=colour, lw=1.3, zorder=4, gid=group.group
    )
    axes.axhline(0.0, color=INK, lw=0.7, zorder=3)
    if math.isfinite(profiles.tolerance_um):
        for limit in (-profiles.tolerance_um, profiles.tolerance_um):
            axes.axhline(limit, color=INK, lw=0.9, ls=_DASHES, zorder=3)


def _key(drawing: Drawing, tolerance_um: float) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Line2D | Patch] = [
        Line2D([], [], color=SOFT, lw=1.3, label="mean of the crowns"),
        Patch(facecolor=SOFT, alpha=0.28, lw=0, label="± SD between crowns"),
    ]
    if math.isfinite(tolerance_um):
        label = f"tolerance ±{tolerance_um:g} µm"
        handles.append(Line2D([], [], color=INK, lw=0.9, ls=_DASHES, label=label))
    drawing.legend(handles=handles, loc="outside upper left", ncols=2, frameon=False)


def _told(profiles: MarginProfiles, group: GroupProfile) -> str:
    about = f"{group.title}, {count_words(group.crowns, 'crown')}: "
    found = np.flatnonzero(np.isfinite(group.mean_um))
    if not len(found):
        return f"{about}no place counts."
    least, most = (found[k] for k in (group.mean_um[found].argmin(), group.mean_um[found].argmax()))
    ends = (
        f"{micrometres(float(group.mean_um[k]), signed=True)} µm {profiles.words[k]}"
        for k in (least, most)
    )
    return f"{about}mean from {' to '.join(ends)}."
