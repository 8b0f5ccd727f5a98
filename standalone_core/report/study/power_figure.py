"""The power curve of a plan, drawn with matplotlib where it is installed."""

from __future__ import annotations

import io
from collections.abc import Sequence

from ...study.aim import Aim
from ...study.crowns_needed import PILOT, UPPER, WITHOUT_ODD, SizeRow
from ..drawing.amount_colours import group_style

_LINES = {PILOT: "-", WITHOUT_ODD: "--", UPPER: ":"}


def draw_power(rows: Sequence[SizeRow], aim: Aim, kind: str) -> bytes:
    """Draw power over crowns per group, a line per pair of groups and assumed spread.

    Lines that coincide stay visible: each is narrower than the one before.

    Parameters
    ----------
    rows : sequence of SizeRow
    aim : Aim
    kind : {"svg", "png"}
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.hashsalt": "cuspwise", "svg.fonttype": "path"}):
        figure = Figure(figsize=(6.4, 4.2), layout="constrained")
        axes = figure.add_subplot()
        lines = [(row, name, size) for row in rows for name, size in row.sizes]
        for i, (row, name, size) in enumerate(lines):
            several = "" if name == PILOT else f", {name}"
            style = _LINES[name]
            colour = group_style(rows.index(row)).colour if name == PILOT else "#767676"
            # The first is the widest, so that one that coincides with it lies inside it.
            width = 1.4 + 1.6 * (len(lines) - 1 - i) / max(len(lines) - 1, 1)
            label = f"{row.first.group} and {row.second.group}{several}: {size.n}"
            axes.plot(
                size.curve_n, size.curve_power, style, color=colour, linewidth=width, label=label
            )
            axes.plot(size.n, size.power, "o", color=colour, ms=3 + width)
        axes.axhline(aim.power, color="#b35900", linewidth=0.8)
        axes.set(
            xlabel="Crowns per group",
            ylabel="Power",
            ylim=(0, 1.02),
            title=f"Power {_title(aim)}",
        )
        axes.set_xlim(left=2)
        axes.legend(loc="lower right", frameon=False, title="Crowns per group", fontsize=8)
        stream = io.BytesIO()
        stamp = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(stream, format=kind, dpi=150, metadata=stamp)
    return stream.getvalue()


def _title(aim: Aim) -> str:
    if aim.difference_um is not None:
        return f"to find a difference of {aim.difference_um:g} µm"
    return f"to show equivalence within ±{aim.equivalence_um:g} µm"
