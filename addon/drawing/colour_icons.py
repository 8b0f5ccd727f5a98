"""Small squares of one colour, to stand beside a name in a panel."""

from __future__ import annotations

from typing import Any

import bpy.utils.previews

from .legend_layout import rgb

SIDE = 16
_MARGIN = 2
_kept: list[Any] = []


def unregister() -> None:
    """Let go of all squares."""
    while _kept:
        bpy.utils.previews.remove(_kept.pop())


def icon_of(colour: str) -> int:
    """Return the icon of a colour, ``#rrggbb``, made when it is first asked for."""
    if not _kept:
        _kept.append(bpy.utils.previews.new())
    squares = _kept[0]
    if colour not in squares:
        square = squares.new(colour)
        square.icon_size = (SIDE, SIDE)
        full, none = (*rgb(colour), 1.0), (0.0, 0.0, 0.0, 0.0)
        inside = range(_MARGIN, SIDE - _MARGIN)
        square.icon_pixels_float = [
            part
            for row in range(SIDE)
            for column in range(SIDE)
            for part in (full if row in inside and column in inside else none)
        ]
    return int(squares[colour].icon_id)
