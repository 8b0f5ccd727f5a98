"""How much each cause makes in each group: bars with intervals over crowns."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ...causes.words import cause_words
from ...study.analysis.cause_comparisons import size_words
from ...study.analysis.results.analysis import StudyAnalysis
from ...study.analysis.results.causes import SharedCause
from ...words.text import micrometres
from ..drawing.amount_colours import group_style
from ..drawing.matplotlib_figure import INK, SMALL, Figure, bare_axes, draw_figure
from .sentences import titles_of, wrapped
from .strips import LABEL_WIDTH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

NAME = "causes"


def causes_figure(analysis: StudyAnalysis) -> Figure | None:
    """Draw every stated cause's root mean square per group, with its interval.

    Returns
    -------
    Figure or None
        None where no group's mean bears a cause.
    """
    found = analysis.causes
    rows = [] if found is None else [row for group in found.groups for row in group.stated]
    if not rows:
        return None
    names = list(dict.fromkeys(_name(row) for row in rows))
    groups = [group for group in analysis.groups if any(row.group == group for row in rows)]
    titles = titles_of(analysis)

    def fill(drawing: Drawing) -> None:
        from matplotlib.patches import Patch

        axes = drawing.subplots()
        bare_axes(axes, rows=len(names))
        for row in rows:
            name = _name(row)
            beside = [other.group for other in rows if _name(other) == name]
            _draw(axes, analysis, row, names.index(name), (beside, 0.8 / len(groups)))
        axes.set_yticks(range(len(names)), [wrapped(name, LABEL_WIDTH) for name in names])
        axes.set_xlabel("root mean square over the surface, µm")
        axes.set_xlim(0.0, 1.04 * max(_ends(row)[1] for row in rows))
        handles = [
            Patch(
                facecolor=group_style(analysis.groups.index(group)).colour,
                label=wrapped(titles[group], 20, 1),
            )
            for group in groups
        ]
        drawing.legend(handles=handles, loc="outside upper left", ncols=2, frameon=False)

    alt = " ".join(
        f"{titles[row.group]}, {_name(row)}: {micrometres(row.cause.rms_um)} µm RMS, {_size(row)}."
        for row in rows
    )
    height = 0.9 + len(names) * (0.16 + 0.2 * len(groups))
    return draw_figure(NAME, "Causes that the crowns of a group share", alt, height, fill)


def _draw(
    axes: Axes,
    analysis: StudyAnalysis,
    row: SharedCause,
    place: int,
    bars: tuple[list[str], float],
) -> None:
    """Draw one cause of one group, beside other groups' bars of that thickness."""
    groups, thick = bars
    middle = place + (groups.index(row.group) - 0.5 * (len(groups) - 1)) * thick
    style = group_style(analysis.groups.index(row.group))
    size = row.cause.rms_um
    low, high = _ends(row)
    axes.barh(middle, size, 0.86 * thick, color=style.colour, lw=0, zorder=3)
    axes.plot([low, high], [middle] * 2, color=INK, lw=1.2, zorder=4, gid=f"causes-{row.group}")
    axes.annotate(
        _size(row),
        (1.0, middle),
        xytext=(4, 0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        va="center",
        fontsize=SMALL,
        color=INK,
    )


def _ends(row: SharedCause) -> tuple[float, float]:
    """Return the interval of the root mean square, which grows with the cause's size."""
    cause = row.cause
    if not cause.estimate:
        return cause.rms_um, cause.rms_um
    ends = sorted(cause.rms_um * end / cause.estimate for end in (cause.low, cause.high))
    return max(ends[0], 0.0), ends[1] if math.isfinite(ends[1]) else cause.rms_um


def _size(row: SharedCause) -> str:
    return size_words(row.cause.estimate, row.cause.unit, signed=True)


def _name(row: SharedCause) -> str:
    return cause_words(row.cause.cause, row.cause.family)
