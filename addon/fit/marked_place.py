"""A place of a crown that is ringed in the view. Needs no Blender."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class MarkedPlace:
    """A place with its number.

    Attributes
    ----------
    local : tuple of float
        In the object's own coordinates.
    words : str
        Its number, with the unit.
    stands_out : bool
        Whether it needs a look.
    """

    local: tuple[float, ...]
    words: str
    stands_out: bool


Box = tuple[float, float, float]
"""Left end, baseline and width of a line of words, pixels."""


def has_room(box: Box, taken: Iterable[Box], line: float) -> bool:
    """Tell whether words overlap none of those that are written already.

    Parameters
    ----------
    box : tuple of float
    taken : iterable of tuple of float
    line : float
        Height of a line, pixels.
    """
    left, baseline, width = box
    return not any(
        abs(baseline - other_baseline) < line
        and left < other_left + other_width
        and other_left < left + width
        for other_left, other_baseline, other_width in taken
    )
