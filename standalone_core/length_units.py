"""Units of length that files may be in."""

from __future__ import annotations

from .allowed import Choice

MM_PER_UNIT = {"mm": 1.0, "m": 1000.0, "inch": 25.4, "um": 0.001, "cm": 10.0, "foot": 304.8}
UNIT_NAMES = {
    "mm": "millimetres",
    "m": "metres",
    "inch": "inches",
    "um": "micrometres",
    "cm": "centimetres",
    "foot": "feet",
}

UNIT = Choice(("auto", *MM_PER_UNIT))
"""A unit, or ``auto``: guessed from the size of what a file holds."""
