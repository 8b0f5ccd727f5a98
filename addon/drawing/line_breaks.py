"""Lines of words that fit the sidebar: what is broken where, and how much room there is.

Needs no Blender: whoever draws says how wide words are.
"""

from __future__ import annotations

import re
from collections.abc import Callable

WidthOf = Callable[[str], float]
"""Width of a text as it is drawn, in pixels of an interface that is not scaled."""

# Measured in a window: the tabs and the panel's margins; a box inside it; a symbol before words.
BESIDE_PANEL, BESIDE_BOX, ICON = 56.0, 14.0, 24.0
WORDS_MARGIN = 4.0
LEAST_ROOM = 90.0
JOINT = " · "
KEPT = "\u00a0"  # a space that no line is broken at
_UNIT = r"(?:%|‰|µm|mm[²³]?|nm|°|times)(?![a-z])"
_TOGETHER = re.compile(rf"(?<=[\d.)]) (?={_UNIT})|(?<=[±×=<>≤≥]) (?=\d)")


def room(region_width: float, *, in_box: bool = True, icon: bool = False) -> float:
    """Return how wide words in a panel may be, in unscaled pixels.

    Parameters
    ----------
    region_width : float
        Of the sidebar, in unscaled pixels.
    in_box : bool
        Whether the words stand in a box, which is narrower.
    icon : bool
        Whether a symbol stands before them.
    """
    width = region_width - BESIDE_PANEL - WORDS_MARGIN
    width -= BESIDE_BOX if in_box else 0.0
    return max(width - (ICON if icon else 0.0), LEAST_ROOM)


def wrapped(text: str, width: float, width_of: WidthOf) -> list[str]:
    """Break a text so that no line is wider than this.

    A number stays with its unit, and what " · " separates stays together where it fits; at the
    end of a line there is nothing to separate.
    """
    text = _TOGETHER.sub(KEPT, text)
    *firsts, last = text.split(JOINT)
    parts = [_together(f"{part} ·", width, width_of) for part in firsts]
    text = " ".join([*parts, _together(last, width, width_of) if parts else last])
    lines, line = [], ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if line and width_of(longer) > width:
            lines.append(line)
            longer = word
        while width_of(longer) > width and len(longer) > 1:
            fits = max(_letters(longer, width, width_of), 1)
            lines.append(longer[:fits])
            longer = longer[fits:]
        line = longer
    return [line.replace(KEPT, " ").removesuffix(" ·") for line in (*lines, line)]


def _together(part: str, width: float, width_of: WidthOf) -> str:
    """Return a part that no line is broken in; only where it is too wide, as it was."""
    return part.replace(" ", KEPT) if width_of(part) <= width else part


def _letters(text: str, width: float, width_of: WidthOf) -> int:
    """Return how many of a text's letters fit; at a space of its own where there is one."""
    fits = next((n - 1 for n in range(1, len(text) + 1) if width_of(text[:n]) > width), len(text))
    space = text.rfind(KEPT, 0, fits)
    return space + 1 if space > 0 else fits
