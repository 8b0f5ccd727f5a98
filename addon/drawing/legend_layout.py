"""Where the legend's parts lie in a 3D view, in pixels. Needs no Blender."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.legend import Legend

INK = "#f2f4f6"
FAINT_INK = "#c6ccd2"
PANEL = "#1c2530"

TITLE = "Deviation, µm"
BAR_WIDTH = 16.0
BAR_SHARE = 0.4  # of the view's height
BAR_MOST = 300.0
BAR_LEAST = 80.0
TEXT_SIZE = 11.0
PADDING = 10.0
LINE = 16.0
TICK = 5.0


@dataclass(frozen=True)
class Box:
    """A filled rectangle: lower left and upper right corner, colour and its opacity."""

    left: float
    bottom: float
    right: float
    top: float
    colour: str
    opacity: float = 1.0


@dataclass(frozen=True)
class TextLine:
    """A line of text: where its left end and baseline lie, its size in points."""

    left: float
    baseline: float
    text: str
    size: float
    colour: str = INK


@dataclass(frozen=True)
class LegendLayout:
    """All that is drawn, from back to front; empty where the view is too small for it."""

    boxes: tuple[Box, ...] = ()
    words: tuple[TextLine, ...] = ()


def lay_out(
    legend: Legend,
    *,
    left: float,
    bottom: float,
    height: float,
    scale: float,
    width_of: Callable[[str, float], float],
    note: str = "",
    heads: Sequence[str] = (TITLE,),
    swatches: Sequence[tuple[str, str]] = (),
) -> LegendLayout:
    """Place a legend in the lower left corner of a view, upright, on a dark ground of its own.

    The ground makes it readable on light and dark themes alike.

    Parameters
    ----------
    legend : Legend
    left, bottom : float
        The corner of the free part of the view, pixels.
    height : float
        Of that part, pixels.
    scale : float
        Of the interface; 1 is usual.
    width_of : function
        Width of a text written at a size, both in pixels.
    note : str
        One more line on top, such as a warning that results are out of date.
    heads : sequence of str
        What the colours show, and of what, a line each.
    swatches : sequence of (str, str)
        Single colours beside the scale, each with what it means.
    """
    below = [("", legend.tolerance_text), ("", legend.clipped_text), *swatches]
    below = [(colour, text) for colour, text in below if text]
    below.append((legend.unmeasured_colour, legend.unmeasured_text))
    above = [text for text in (note, *heads) if text]
    lines = (len(below) + len(above)) * LINE + 3.5 * PADDING
    bar = min(BAR_SHARE * height / scale, BAR_MOST, height / scale - lines - 2 * PADDING)
    if bar < BAR_LEAST:
        return LegendLayout()
    sketch = Sketch(left + PADDING * scale, bottom + PADDING * scale, scale)
    y = PADDING
    for colour, text in reversed(below):
        indent = 0.0
        if colour:
            sketch.box(PADDING, y, PADDING + 10, y + 10, colour)
            indent = 16.0
        sketch.text(PADDING + indent, y + 1, text, TEXT_SIZE - 1, FAINT_INK)
        y += LINE
    y += 0.5 * PADDING
    _add_bar(sketch, legend, y, bar)
    y += bar + PADDING
    for text in reversed(above):
        sketch.text(PADDING, y, text, TEXT_SIZE)
        y += LINE
    return sketch.on_ground(bar + lines, width_of)


def _add_bar(sketch: Sketch, legend: Legend, bottom: float, height: float) -> None:
    stops = legend.stops
    step = height / (len(stops) - 1)
    for stop in stops:
        middle = bottom + stop.position * height
        sketch.box(
            PADDING,
            max(middle - 0.5 * step, bottom),
            PADDING + BAR_WIDTH,
            min(middle + 0.5 * step, bottom + height),
            stop.colour,
        )
    beside = PADDING + BAR_WIDTH
    if legend.band is not None:
        low, high = (bottom + share * height for share in legend.band)
        sketch.box(beside + 2, low, beside + 4, high, INK)
        for end in (low, high):
            sketch.box(PADDING, end - 0.5, beside + 4, end + 0.5, PANEL)
    for tick in legend.ticks:
        y = bottom + tick.position * height
        sketch.box(beside + 6, y - 0.5, beside + 6 + TICK, y + 0.5, INK)
        sketch.text(beside + 10 + TICK, y - 0.36 * TEXT_SIZE, tick.text, TEXT_SIZE)


class Sketch:
    """Collects boxes and words given in unscaled pixels from a corner."""

    def __init__(self, left: float, bottom: float, scale: float) -> None:
        self.left, self.bottom, self.scale = left, bottom, scale
        self.boxes: list[Box] = []
        self.words: list[TextLine] = []

    def box(
        self,
        left: float,
        bottom: float,
        right: float,
        top: float,
        colour: str,
        opacity: float = 1.0,
    ) -> None:
        """Add a filled rectangle."""
        corners = (
            self.left + left * self.scale,
            self.bottom + bottom * self.scale,
            self.left + right * self.scale,
            self.bottom + top * self.scale,
        )
        self.boxes.append(Box(*corners, colour, opacity))

    def text(self, left: float, baseline: float, text: str, size: float, colour: str = INK) -> None:
        """Add a line of words."""
        x, y = self.left + left * self.scale, self.bottom + baseline * self.scale
        self.words.append(TextLine(x, y, text, size * self.scale, colour))

    def on_ground(self, height: float, width_of: Callable[[str, float], float]) -> LegendLayout:
        """Return all on a dark ground of this height, as wide as the words need."""
        right = max(words.left + width_of(words.text, words.size) for words in self.words)
        ground = Box(
            self.left,
            self.bottom,
            right + PADDING * self.scale,
            self.bottom + height * self.scale,
            PANEL,
            0.82,
        )
        return LegendLayout((ground, *self.boxes), tuple(self.words))


def rgb(colour: str) -> tuple[float, float, float]:
    """Return ``#rrggbb`` as three numbers from 0 to 1; overlays are drawn in sRGB."""
    red, green, blue = (int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))
    return red, green, blue
