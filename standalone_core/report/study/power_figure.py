"""The power curve of a plan, drawn with matplotlib where it is installed."""

from __future__ import annotations

import io
from collections.abc import Sequence

from ...study.aim import Aim
from ...study.crowns_needed import SizeRow

_STYLES = ("-", "--", "-.", ":")


def draw_power(rows: Sequence[SizeRow], aim: Aim, kind: str) -> bytes:
    """Draw power over crowns per group, a line per pair of groups, the cautious plan grey.

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
        for i, row in enumerate(rows):
            style = _STYLES[i % len(_STYLES)]
            name = f"{row.first.group} and {row.second.group}"
            size, cautious = row.size, row.cautious
            axes.plot(size.curve_n, size.curve_power, style, color="#0b3c6f", label=name)
            axes.plot(size.n, size.power, "o", color="#0b3c6f")
            axes.annotate(f"{size.n}", (size.n, size.power), (6, -12), textcoords="offset points")
            if cautious is not None:
                label = f"{name}, upper limit of SD"
                axes.plot(cautious.curve_n, cautious.curve_power, style, color="#888", label=label)
        axes.axhline(aim.power, color="#b35900", linewidth=0.8)
        axes.set(
            xlabel="Crowns per group",
            ylabel="Power",
            ylim=(0, 1.02),
            title=f"Power {_title(aim)}",
        )
        axes.set_xlim(left=2)
        axes.legend(loc="lower right", frameon=False)
        stream = io.BytesIO()
        stamp = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(stream, format=kind, dpi=150, metadata=stamp)
    return stream.getvalue()


def _title(aim: Aim) -> str:
    if aim.difference_um is not None:
        return f"to find a difference of {aim.difference_um:g} µm"
    return f"to show equivalence within ±{aim.equivalence_um:g} µm"
