"""Figures drawn with matplotlib at a journal's widths: SVG, PDF and PNG, the same on every run."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from .label_places import settle_labels

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Drawing

SINGLE_MM, DOUBLE_MM = 85.0, 175.0
"""Widths of one and of two columns of a journal; common practice, no source."""
MM_PER_IN = 25.4
PNG_DPI = 600
SMALL, PLAIN, HEAD = 7.0, 7.5, 8.0
"""Sizes of letters, pt: marks and small print, axes, heads of panels."""
INK, SOFT, LINE, FAINT = "#1c2530", "#55616e", "#d9d8d1", "#f1f0ec"
HALO = "#8c1d5a"

NO_MATPLOTLIB = "matplotlib is not installed."

_UNDATED: dict[str, dict[str, Any]] = {
    "svg": {"Date": None},
    "pdf": {"CreationDate": None, "Producer": None, "Creator": None},
    "png": {"Software": None},
}
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
        Letters are outlines, so that it looks the same wherever it is opened.
    pdf : bytes
        With the letters of its fonts in it.
    png : bytes
        Of 600 dpi.
    page_svg : str
        For the page, where letters are text that can be found and read out.
    """

    name: str
    title: str
    alt: str
    svg: str = field(repr=False)
    pdf: bytes = field(repr=False)
    png: bytes = field(repr=False)
    page_svg: str = field(repr=False)

    @property
    def inline(self) -> str:
        """The SVG as part of an HTML page: no prolog, no style for others, names of its own."""
        text = _PARTS.sub("", _PROLOG.sub("", self.page_svg))
        for _ in ("width", "height"):
            text = _SIZE.sub(r"\1", text, count=1)
        text = _IDS.sub(rf"\g<1>{re.sub('[^A-Za-z0-9_-]', '-', self.name)}-", text)
        label = self.alt.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")
        start = f'<svg role="img" aria-label="{label}" style="stroke-linejoin: round"'
        return text.replace("<svg", start, 1).strip()

    @property
    def files(self) -> dict[str, str | bytes]:
        """What is written of it, by the ending of the file's name."""
        return {"svg": self.svg, "pdf": self.pdf, "png": self.png}


def can_plot() -> bool:
    """Return whether matplotlib is installed, without loading it."""
    return find_spec("matplotlib") is not None


def draw_figure(
    name: str,
    title: str,
    alt: str,
    height_in: float,
    fill: Callable[[Drawing], None],
    *,
    width_mm: float = SINGLE_MM,
) -> Figure:
    """Make a figure that is printed at its own size.

    Parameters
    ----------
    name, title, alt : str
        As in :class:`Figure`.
    height_in : float
        Inches.
    fill : callable
        Draws into the empty figure.
    width_mm : float
        :data:`SINGLE_MM` or :data:`DOUBLE_MM`.
    """
    with plot_style(name):
        drawing = laid_out(height_in, fill, width_mm=width_mm)
        svg, page_svg = (saved(drawing, "svg", letters=kind) for kind in ("path", "none"))
        pdf, png = (saved(drawing, kind) for kind in ("pdf", "png"))
    return Figure(name, title, alt, svg.decode(), pdf, png, page_svg.decode())


def laid_out(height_in: float, fill: Callable[[Drawing], None], *, width_mm: float) -> Drawing:
    """Return a filled figure in which everything has its place; within :func:`plot_style`."""
    from matplotlib.figure import Figure as Drawing

    size = (width_mm / MM_PER_IN, height_in)
    drawing = Drawing(figsize=size, dpi=PNG_DPI, layout="constrained")
    fill(drawing)
    drawing.draw_without_rendering()
    drawing.set_layout_engine("none")
    settle_labels(drawing)
    return drawing


def saved(drawing: Drawing, kind: str, *, letters: str = "path", dpi: float = PNG_DPI) -> bytes:
    """Return a figure as a file without a date; an SVG's letters as ``path`` or as text (``none``).

    Parameters
    ----------
    drawing : matplotlib.figure.Figure
    kind : {"svg", "pdf", "png"}
    letters : {"path", "none"}
    dpi : float
        Of pictures.
    """
    import matplotlib as mpl

    stream = io.BytesIO()
    with mpl.rc_context({"svg.fonttype": letters}):
        drawing.savefig(stream, format=kind, dpi=dpi, metadata=_UNDATED[kind])
    return stream.getvalue()


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
            "pdf.fonttype": 42,  # the font itself, which an editor can work with
            "font.family": "DejaVu Sans",  # comes with matplotlib
            "font.size": PLAIN,
            "axes.titlesize": HEAD,
            "axes.titleweight": "bold",
            "axes.titlelocation": "left",
            "axes.labelsize": PLAIN,
            "axes.edgecolor": SOFT,
            "axes.labelcolor": INK,
            "axes.titlecolor": INK,
            "axes.unicode_minus": True,
            "axes.formatter.useoffset": False,
            "legend.fontsize": SMALL,
            "axes.linewidth": 0.7,
            "xtick.color": SOFT,
            "ytick.color": INK,
            "xtick.labelsize": SMALL,
            "ytick.labelsize": PLAIN,
            "text.color": INK,
            "text.parse_math": False,
            "figure.facecolor": "white",
            "axes.facecolor": "white",
            "path.simplify": False,
        }
    )
    return style
