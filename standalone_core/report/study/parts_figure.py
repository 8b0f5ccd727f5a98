"""What all crowns of a group share beside what differs between them: bars per area."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...study.analysis.results.analysis import StudyAnalysis
from ...words.names import area_words
from ...words.text import micrometres
from ..drawing.amount_colours import GroupStyle, group_style
from ..drawing.matplotlib_figure import SOFT, Figure, bare_axes, draw_figure
from .sentences import titles_of, wrapped
from .strips import LABEL_WIDTH

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Drawing


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
        Patch(facecolor=style.colour, label=wrapped(title, 20, 1)) for title, style in groups
    ]
    handles += [
        Patch(facecolor=SOFT, label="systematic: shared"),
        Patch(facecolor="white", edgecolor=SOFT, hatch="/////", label="random: between crowns"),
    ]
    drawing.legend(handles=handles, loc="outside upper left", ncols=2, frameon=False)
