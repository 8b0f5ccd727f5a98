"""The power curve of a plan, drawn with matplotlib where it is installed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...study.aim import Aim
from ...study.crowns_needed import PILOT, UPPER, WITHOUT_ODD, SizeRow
from ..drawing.amount_colours import group_style
from ..drawing.matplotlib_figure import LINE, SOFT, Figure, draw_figure
from .sentences import wrapped

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Drawing

_LINES = {PILOT: "-", WITHOUT_ODD: "--", UPPER: ":"}
_KEY_WIDTH, _KEY_IN = 44, 0.16


def power_figure(rows: Sequence[SizeRow], aim: Aim) -> Figure:
    """Draw power over crowns per group, a line per pair of groups and assumed spread.

    Lines that coincide stay visible: each is narrower than the one before.

    Parameters
    ----------
    rows : sequence of SizeRow
    aim : Aim
    """
    lines = [(row, name, size) for row in rows for name, size in row.sizes]
    title = f"Power {_title(aim)}"
    labels = [
        wrapped(
            f"{row.first.group} and {row.second.group}"
            f"{'' if name == PILOT else f', {name}'}: {size.n} per group",
            _KEY_WIDTH,
        )
        for row, name, size in lines
    ]

    def fill(drawing: Drawing) -> None:
        axes = drawing.add_subplot()
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(color=LINE, linewidth=0.5)
        for i, ((row, name, size), label) in enumerate(zip(lines, labels, strict=True)):
            colour = group_style(rows.index(row)).colour if name == PILOT else SOFT
            # The first is the widest, so that one that coincides with it lies inside it.
            width = 1.2 + 1.4 * (len(lines) - 1 - i) / max(len(lines) - 1, 1)
            (line,) = axes.plot(size.curve_n, size.curve_power, _LINES[name], color=colour)
            line.set(linewidth=width, label=label)
            axes.plot(size.n, size.power, "o", color=colour, ms=3 + width)
        axes.axhline(aim.power, color="#b35900", linewidth=0.8)
        axes.set(xlabel="crowns per group", ylabel="power", ylim=(0, 1.02), title=title)
        axes.set_xlim(left=2)
        drawing.legend(loc="outside lower left", frameon=False)

    height = 2.4 + _KEY_IN * sum(1 + label.count("\n") for label in labels)
    alt = f"{title}: {'; '.join(label.replace(chr(10), ' ') for label in labels)}."
    return draw_figure("power", title, alt, height, fill)


def _title(aim: Aim) -> str:
    if aim.difference_um is not None:
        return f"to find a difference of {aim.difference_um:g} µm"
    return f"to show equivalence within ±{aim.equivalence_um:g} µm"
