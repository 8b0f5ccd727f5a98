"""What the core says of a fit, in the words of somebody who has objects, not files. No Blender."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from ...standalone_core.fit.check_fit import NO_FINISH_LINE

IN_BLENDER: Mapping[str, str] = MappingProxyType(
    {
        NO_FINISH_LINE: "It was not measured: draw the finish line, or carry the design's margin "
        "line over; for that the design must lie on the die as designed.",
        "the units of both files": "the scale of both objects",
        "The die's file holds": "The die's object holds",
        "Give the unit that each file is in, or export both in millimetres.": "Scale one of the "
        "two objects.",
        "Give the die's finish line.": "Draw the die's finish line.",
        "Give its design in the die's frame, or move the crown near its place.": "Bring the design "
        "to where it lies on this die, and tick that it lies there as designed.",
        "Give the design as it lies on this die.": "Bring the design to where it lies on this die.",
        "Give its own design.": "Choose its own design.",
        "Give the die alone if that is wrong.": "Choose an object that is the die alone if that "
        "is wrong.",
        "Give the finish line in the die's own frame and in mm.": "Move its points on to the die.",
        "Give the points in order around the tooth": "Draw the points in order around the tooth",
        "Give the points in order, once around": "Draw the points in order, once around",
        "Give at least 8; one every half millimetre follows it well.": "Draw at least 8; one every "
        "half millimetre follows it well.",
        ", or give the seat to start from": "",
        "Give a crown with its inner surface, or its path of insertion and areas.": "Choose a "
        "crown with its inner surface.",
        "Give a crown with both its surfaces.": "Choose a crown with both its surfaces.",
    }
)
"""What the core says, and what is said here instead."""


def in_blender(text: str) -> str:
    """Return a sentence of the core in Blender's words."""
    for core, own in IN_BLENDER.items():
        text = text.replace(core, own)
    return text
