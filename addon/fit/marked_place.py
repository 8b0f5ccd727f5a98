"""A place of a crown that is ringed in the view. Needs no Blender."""

from __future__ import annotations

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
