"""What stands around the surface in a picture: title, caption, legend, scale bar."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from .deviation_colours import deviation_colours
from .legend import Legend
from .matplotlib_figure import INK, SOFT, plot_style
from .shaded_surface import Canvas

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Drawing

FULL = Canvas(width=1200, height=1000, side=36, top=76, base=222)
BARE = Canvas(width=720, height=600, side=36, top=16, base=70)
"""Pictures with a title and a legend; and without, for pages that have their own."""

LENGTHS_MM = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)

_DPI = 100
_FACE = {"edgecolor": "none", "linewidth": 0.0, "antialiased": False}
_LEFT, _RIGHT, _BOTTOM, _TOP = 0.15, 0.85, 110, 148  # of the legend's bar: shares, then pixels
_SWATCH = (18, 42, 40)  # bottom, top and width of the sample of what is not measured
_SPINE = 1.0
Align = Literal["left", "middle", "right"]
_ALIGN = {"left": "left", "middle": "center", "right": "right"}


class Frame:
    """Pictures of one kind: the same legend, caption and scale on each.

    Parameters
    ----------
    size : Canvas
    pixels_per_mm : float
    legend : Legend, optional
        Bare pictures have none.
    caption : str
        What is shown, in a few words.
    """

    def __init__(
        self,
        size: Canvas,
        pixels_per_mm: float,
        legend: Legend | None = None,
        caption: str = "",
    ) -> None:
        self.size, self.scale = size, pixels_per_mm
        self.legend, self.caption = legend, caption

    def png(self, surface: NDArray[np.uint8], title: str = "") -> bytes:
        """Return a picture of a surface: PNG, the same bytes on every run.

        Parameters
        ----------
        surface : (h, w, 3) uint8
            Of the frame's size, white where nothing is seen.
        title : str
        """
        from PIL import Image

        # Both are white where the other has something to show.
        together = np.minimum(surface, self._around(title))
        data = io.BytesIO()
        Image.fromarray(together).save(data, "PNG", compress_level=4)
        return data.getvalue()

    def _around(self, title: str) -> NDArray[np.uint8]:
        """Draw all but the surface."""
        from matplotlib.figure import Figure as Drawing

        with plot_style("picture"):
            inches = self.size.width / _DPI, self.size.height / _DPI
            drawing = Drawing(figsize=inches, dpi=_DPI)
            self._add_scale_bar(drawing)
            if self.legend is not None:
                self._add_titles(drawing, title)
                self._add_legend(drawing, self.legend)
            data = io.BytesIO()
            drawing.savefig(data, format="rgba", dpi=_DPI)
        around = np.frombuffer(data.getvalue(), dtype=np.uint8)
        around = around.reshape(self.size.height, self.size.width, 4)[:, :, :3].copy()
        if self.legend is not None:
            self._fill_bar(around, self.legend)
        return around

    def _fill_bar(self, around: NDArray[np.uint8], legend: Legend) -> None:
        """Put the map's own colours into the legend's bar, beneath what is drawn over it."""
        left, right = (round(end * self.size.width) for end in (_LEFT, _RIGHT))
        middles = (np.arange(right - left) + 0.5) / (right - left)
        colours = deviation_colours(2.0 * middles - 1.0, 1.0, legend.palette)
        bar = around[self.size.height - _TOP : self.size.height - _BOTTOM, left:right]
        np.minimum(bar, colours, out=bar)

    def _add_titles(self, drawing: Drawing, title: str) -> None:
        top = self.size.height - 54
        self._write(drawing, title, self.size.side, top, 36)
        if self.caption:
            right = self.size.width - self.size.side
            self._write(drawing, self.caption, right, top, 24, align="right", ink=SOFT)

    def _add_scale_bar(self, drawing: Drawing) -> None:
        """Add a bar of a round length in mm, the same in every view."""
        bare = self.legend is None
        longest = (0.25 if bare else 0.2) * self.size.width / self.scale
        length = max((one for one in LENGTHS_MM if one <= longest), default=0.0)
        if not length:
            return
        right, y = self.size.width - self.size.side, 14 if bare else self.size.base + 8
        left = right - length * self.scale
        self._box(drawing, left, y, right, y + 3, INK)
        for x in (left, right):
            self._box(drawing, x - 1.5, y - 5, x + 1.5, y + 8, INK)
        size = 34 if bare else 25
        self._write(drawing, f"{length:g} mm", 0.5 * (left + right), y + 14, size, align="middle")

    def _add_legend(self, drawing: Drawing, legend: Legend) -> None:
        left, right = _LEFT * self.size.width, _RIGHT * self.size.width
        span = right - left
        self._outline(drawing, left, _BOTTOM, right, _TOP)
        for tick in legend.ticks:
            x = left + span * tick.position
            self._box(drawing, x - 1, _BOTTOM - 9, x + 1, _BOTTOM, INK)
            self._write(drawing, tick.text, x, _BOTTOM - 38, 28, align="middle")
        if legend.band:
            low, high = (left + span * end for end in legend.band)
            for x in (low, high):
                self._box(drawing, x - 1.5, _BOTTOM, x + 1.5, _TOP + 13, INK)
            self._box(drawing, low - 1.5, _TOP + 10, high + 1.5, _TOP + 13, INK)
            middle = 0.5 * (low + high)
            self._write(drawing, legend.tolerance_text, middle, _TOP + 22, 25, align="middle")
        self._write(drawing, "missing", left - 18, _BOTTOM + 10, 27, align="right")
        self._write(drawing, "excess", right + 18, _BOTTOM + 10, 27)
        self._write(drawing, "µm", right + 64, _BOTTOM - 38, 28)
        self._add_shares(drawing, legend, left, right)

    def _add_shares(self, drawing: Drawing, legend: Legend, left: float, right: float) -> None:
        bottom, top, width = _SWATCH
        self._box(drawing, left, bottom, left + width, top, legend.unmeasured_colour)
        self._outline(drawing, left, bottom, left + width, top)
        unmeasured = ", ".join(filter(None, (legend.unmeasured_text, legend.refused_text)))
        self._write(drawing, unmeasured, left + width + 14, bottom + 3, 25)
        self._write(drawing, legend.clipped_text, right, bottom + 3, 25, align="right")

    def _box(
        self, drawing: Drawing, left: float, bottom: float, right: float, top: float, colour: str
    ) -> None:
        """Fill a box, in pixels from the lower left."""
        from matplotlib.patches import Rectangle

        shape: Any = {"width": right - left, "height": top - bottom, "transform": None, **_FACE}
        drawing.add_artist(Rectangle((left, bottom), facecolor=colour, **shape))

    def _outline(
        self, drawing: Drawing, left: float, bottom: float, right: float, top: float
    ) -> None:
        for box in (
            (left - _SPINE, bottom - _SPINE, right + _SPINE, bottom),
            (left - _SPINE, top, right + _SPINE, top + _SPINE),
            (left - _SPINE, bottom, left, top),
            (right, bottom, right + _SPINE, top),
        ):
            self._box(drawing, *box, INK)

    def _write(
        self,
        drawing: Drawing,
        text: str,
        x: float,
        y: float,
        size_px: float,
        *,
        align: Align = "left",
        ink: str = INK,
    ) -> None:
        """Write words with their baseline at (x, y) pixels from the lower left."""
        drawing.text(
            x / self.size.width,
            y / self.size.height,
            text,
            fontsize=0.66 * size_px * 72 / _DPI,
            color=ink,
            ha=_ALIGN[align],
            va="baseline",
        )
