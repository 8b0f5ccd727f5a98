"""The polar drawing of the marginal gap as a file by itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from ..check.page import page_environment
from .polar_plot import PolarPlot, polar_plot

if TYPE_CHECKING:
    from ...fit.gap.result import MarginalGap


def polar_svg(margin: MarginalGap, name: str) -> str:
    """Draw the marginal gap around a crown, with its key.

    Parameters
    ----------
    margin : MarginalGap
    name : str
        Of the crown.

    Returns
    -------
    str
        SVG that needs no other file.
    """
    plot = polar_plot(margin)
    template = page_environment().get_template("polar.svg")
    title = f"Marginal gap of {name}, seen from occlusal"
    return template.render(polar=plot, title=title, keys=list(_keys(plot)))


def _keys(plot: PolarPlot) -> Iterator[tuple[str, str]]:
    """Yield the classes of what is drawn, each with its words."""
    yield "gap", "marginal gap"
    yield "absolute", "absolute marginal discrepancy"
    yield "sector", "mean gap of an eighth"
    if plot.limit is not None:
        yield "limit", plot.limit.text
    if plot.beyond:
        yield "beyond", "beyond the limit"
    if plot.unmeasured:
        yield "unmeasured", "not measured"
    if plot.largest.text:
        yield "dot", plot.largest.text
    if plot.clipped:
        yield "", plot.clipped
