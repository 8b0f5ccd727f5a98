"""Sentences broken to the sidebar's width. Needs no Blender."""

from __future__ import annotations

import textwrap

PIXELS_PER_LETTER = 6.4  # of Blender's interface font at the usual size, about
MARGIN_PIXELS = 50.0
FEWEST_LETTERS = 16


def wrapped(text: str, width_pixels: float) -> list[str]:
    """Break a text so that no line is wider than a panel of this width, about."""
    letters = max(FEWEST_LETTERS, int((width_pixels - MARGIN_PIXELS) / PIXELS_PER_LETTER))
    return textwrap.wrap(text, letters) or [""]
