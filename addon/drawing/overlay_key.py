"""Where the key of the areas overlay lies in a 3D view, in pixels. Needs no Blender."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from .legend_layout import FAINT_INK, INK, LINE, PADDING, TEXT_SIZE, LegendLayout, Sketch

TITLE = "Areas of the design"
MOST_WIDE = 260.0
SWATCH = 16.0
BESIDE = PADDING + SWATCH + 8.0
ELLIPSIS = "…"


@dataclass(frozen=True)
class KeyEntry:
    """One line of the key: a filled patch, a line or a ring, and what it stands for."""

    words: str
    colour: str
    mark: Literal["patch", "line", "ring"] = "patch"


def lay_out_key(
    entries: Sequence[KeyEntry],
    *,
    left: float,
    bottom: float,
    height: float,
    scale: float,
    width_of: Callable[[str, float], float],
    note: str = "",
) -> LegendLayout:
    """Place the key in the lower left corner of a view, on a dark ground of its own.

    Parameters
    ----------
    entries : sequence of KeyEntry
        From top to bottom. Those that the view is too small for are counted in the last line.
    left, bottom : float
        The corner of the free part of the view, pixels.
    height : float
        Of that part, pixels.
    scale : float
        Of the interface; 1 is usual.
    width_of : function
        Width of a text written at a size, both in pixels.
    note : str
        One more line at the bottom.
    """
    room = int((height / scale - 4.0 * PADDING) / LINE) - 1 - bool(note)
    if room < 2 or not (entries or note):
        return LegendLayout()
    shown = list(entries) if len(entries) <= room else list(entries[: room - 1])
    more = len(entries) - len(shown)
    below = [text for text in (f"and {more} more" if more else "", note) if text]
    fit = _Fit(scale, width_of)
    title = fit(TITLE, TEXT_SIZE, PADDING)
    feet = [fit(text, TEXT_SIZE - 1, PADDING) for text in reversed(below)]
    lines = [fit(entry.words, TEXT_SIZE, BESIDE) for entry in reversed(shown)]
    sketch = Sketch(left + PADDING * scale, bottom + PADDING * scale, scale)
    count = len(lines) + len(feet) + 1
    y = PADDING + 1.0
    for text in feet:
        sketch.text(PADDING, y, text, TEXT_SIZE - 1, FAINT_INK)
        y += LINE
    for entry, text in zip(reversed(shown), lines, strict=True):
        _mark(sketch, entry, y)
        sketch.text(BESIDE, y, text, TEXT_SIZE)
        y += LINE
    sketch.text(PADDING, y + 3.0, title, TEXT_SIZE)
    return sketch.on_ground(count * LINE + 2.0 * PADDING, width_of)


class _Fit:
    """Shortens texts to the key's greatest width."""

    def __init__(self, scale: float, width_of: Callable[[str, float], float]) -> None:
        self.scale, self.width_of = scale, width_of

    def __call__(self, text: str, size: float, left: float) -> str:
        while True:
            right = left + self.width_of(text, size * self.scale) / self.scale
            if right <= MOST_WIDE - PADDING or len(text) < 2:
                return text
            text = text.removesuffix(ELLIPSIS)[:-1].rstrip() + ELLIPSIS


def _mark(sketch: Sketch, entry: KeyEntry, y: float) -> None:
    """Draw what stands beside the words, with a light rim: dark would not show on the ground."""
    low, high, right = y - 1.5, y + 10.0, PADDING + SWATCH
    middle = 0.5 * (low + high)
    if entry.mark == "line":
        low, high = middle - 2.5, middle + 2.5
    sketch.box(PADDING, low, right, high, INK)
    sketch.box(PADDING + 1.0, low + 1.0, right - 1.0, high - 1.0, entry.colour)
    if entry.mark == "ring":
        sketch.box(PADDING + 3.0, low + 3.0, right - 3.0, high - 3.0, INK)
        sketch.box(PADDING + 5.0, low + 5.0, right - 5.0, high - 5.0, entry.colour)
