"""Where scale bar and key of a section lie in a 3D view, in pixels. Needs no Blender."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from ...standalone_core.report.drawing.legend import number
from ..drawing.legend_layout import (
    FAINT_INK,
    INK,
    LINE,
    PADDING,
    PANEL,
    TEXT_SIZE,
    LegendLayout,
    Sketch,
)

BARS_MM = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
BAR_MOST = 120.0
LETTERS = 24
NOTHING, FOOT = "nothing is cut", "narrowest to the crown, in this plane"
SWATCH, BAR_HIGH = 16.0, 4.0


def bar_mm(pixels_per_mm: float) -> float:
    """Return the longest nice length that is not too wide, mm; the shortest where none fits."""
    fitting = [one for one in BARS_MM if one * pixels_per_mm <= BAR_MOST]
    return fitting[-1] if fitting else BARS_MM[0]


def length_words(length_mm: float) -> str:
    """Write a length: 2 mm, 50 µm."""
    if length_mm >= 1.0:
        return f"{number(length_mm)} mm"
    return f"{number(round(1000.0 * length_mm, 6))} µm"


def lay_out_section(
    entries: Sequence[tuple[str, str, str]],
    pixels_per_mm: float,
    *,
    right: float,
    bottom: float,
    scale: float,
    width_of: Callable[[str, float], float],
) -> LegendLayout:
    """Place key and scale bar in the lower right corner of a view, on a dark ground.

    Parameters
    ----------
    entries : sequence of (str, str, str)
        What is cut, from top to bottom: name, colour, and how near it comes to the crown.
    pixels_per_mm : float
        In the plane, on an interface of scale 1.
    right, bottom : float
        The corner of the free part of the view, pixels.
    scale : float
        Of the interface; 1 is usual.
    width_of : function
        Width of a text written at a size, both in pixels.
    """
    rows = [(_words(name, gap), colour) for name, colour, gap in entries] or [(NOTHING, PANEL)]
    foot = FOOT if any(gap for _name, _colour, gap in entries) else ""
    length = bar_mm(pixels_per_mm)
    words = length_words(length)
    bar = length * pixels_per_mm
    widest = max(width_of(text, TEXT_SIZE * scale) / scale for text, _ in rows)
    below = width_of(foot, (TEXT_SIZE - 1) * scale) / scale
    wide = max(below, widest + SWATCH + 8.0, bar + 8.0 + width_of(words, TEXT_SIZE * scale) / scale)
    left = right - (wide + 3.0 * PADDING) * scale
    sketch = Sketch(left, bottom + PADDING * scale, scale)
    y = PADDING
    sketch.box(PADDING, y + 2.0, PADDING + bar, y + 2.0 + BAR_HIGH, INK)
    sketch.text(PADDING + bar + 8.0, y, words, TEXT_SIZE)
    y += LINE + 2.0
    if foot:
        sketch.text(PADDING, y, foot, TEXT_SIZE - 1, FAINT_INK)
        y += LINE
    for text, colour in reversed(rows):
        sketch.box(PADDING, y + 2.0, PADDING + SWATCH, y + 7.0, colour)
        sketch.text(PADDING + SWATCH + 8.0, y, text, TEXT_SIZE)
        y += LINE
    return sketch.on_ground(y + 0.5 * PADDING, width_of)


def _words(name: str, gap: str) -> str:
    short = name if len(name) <= LETTERS else f"{name[: LETTERS - 1]}…"
    return f"{short}: {gap}" if gap else short
