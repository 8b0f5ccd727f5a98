"""Figures drawn with matplotlib: the same bytes on every run, as SVG and PNG."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from importlib.util import find_spec
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

WIDTH_IN = 4.0  # at this width text stays legible on a phone
PNG_DPI = 220
INK, SOFT, LINE, FAINT = "#1c2530", "#55616e", "#d9d8d1", "#f1f0ec"
HALO = "#8c1d5a"

NO_MATPLOTLIB = "matplotlib is not installed."

_PROLOG = re.compile(r"\A.*?(?=<svg)", re.DOTALL)
_PARTS = re.compile(r"<metadata>.*?</metadata>|<style type=\"text/css\">.*?</style>", re.DOTALL)
_SIZE = re.compile(r'(<svg\b[^>]*?) (?:width|height)="[^"]*"')
_IDS = re.compile(r'(\bid="|xlink:href="#|url\(#)')


@dataclass(frozen=True)
class Figure:
    """One finished figure.

    Attributes
    ----------
    name : str
        File name without its ending.
    title : str
        Above it on the page.
    alt : str
        What it shows, for those who cannot see it.
    svg : str
    png : bytes
    """

    name: str
    title: str
    alt: str
    svg: str = field(repr=False)
    png: bytes = field(repr=False)

    @property
    def inline(self) -> str:
        """The SVG as part of an HTML page: no prolog, no style for others, names of its own."""
        text = _PARTS.sub("", _PROLOG.sub("", self.svg))
        for _ in ("width", "height"):
            text = _SIZE.sub(r"\1", text, count=1)
        text = _IDS.sub(rf"\g<1>{re.sub('[^A-Za-z0-9_-]', '-', self.name)}-", text)
        label = self.alt.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
        start = f'<svg role="img" aria-label="{label}" style="stroke-linejoin: round"'
        return text.replace("<svg", start, 1).strip()


def can_plot() -> bool:
    """Return whether matplotlib is installed, without loading it."""
    return find_spec("matplotlib") is not None


def draw_figure(
    name: str, title: str, alt: str, height_in: float, fill: Callable[[Drawing], None]
) -> Figure:
    """Make a figure of the usual width.

    Parameters
    ----------
    name, title, alt : str
        As in :class:`Figure`.
    height_in : float
        Inches.
    fill : callable
        Draws into the empty figure.
    """
    from matplotlib.figure import Figure as Drawing

    with plot_style(name):
        drawing = Drawing(figsize=(WIDTH_IN, height_in), layout="constrained")
        fill(drawing)
        svg, png = io.BytesIO(), io.BytesIO()
        drawing.savefig(svg, format="svg", metadata={"Date": None})
        drawing.set_layout_engine("none")  # everything has its place now
        drawing.savefig(png, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return Figure(name, title, alt, svg.getvalue().decode("utf-8"), png.getvalue())


def bare_axes(axes: Axes, *, rows: int) -> None:
    """Make room for rows 0 … rows − 1, the first on top; leave only the axis of values."""
    axes.set_ylim(rows - 0.45, -0.6)
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=LINE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)


def plot_style(name: str) -> AbstractContextManager[None]:
    """Set how everything is drawn, and where names inside the SVG come from."""
    import matplotlib as mpl

    style: AbstractContextManager[None] = mpl.rc_context(
        {
            "svg.hashsalt": f"cuspwise {name}",
            "svg.fonttype": "none",
            "font.family": "DejaVu Sans",
            "font.size": 8.0,
            "axes.titlesize": 8.5,
            "axes.titleweight": "bold",
            "axes.titlelocation": "left",
            "axes.labelsize": 8.0,
            "axes.edgecolor": SOFT,
            "axes.labelcolor": INK,
            "axes.titlecolor": INK,
            "axes.unicode_minus": True,
            "axes.linewidth": 0.7,
            "xtick.color": SOFT,
            "ytick.color": INK,
            "xtick.labelsize": 7.5,
            "ytick.labelsize": 8.0,
            "text.color": INK,
            "text.parse_math": False,
            "figure.facecolor": "white",
            "axes.facecolor": "white",
            "path.simplify": False,
        }
    )
    return style
