"""The force that seats a crown."""

from __future__ import annotations

from dataclasses import dataclass

from ...arrays import FloatArray
from .pair import Pair


@dataclass(frozen=True, eq=False)
class Load:
    """A force on the crown.

    Attributes
    ----------
    place_mm : (3,) float
        Where it acts, in the crown's frame.
    direction : (3,) float
        Unit vector, in the die's frame.
    """

    place_mm: FloatArray
    direction: FloatArray


def axial_load(pair: Pair) -> Load:
    """A load through the middle of the intaglio's area down the die's path of insertion.

    A finger on the crown, or a bite, presses about there. The place decides which contacts
    carry: one at the margin's middle would, on a roof alone, tilt the crown the same way.
    """
    return Load(pair.centre_mm, -pair.die.axis)
