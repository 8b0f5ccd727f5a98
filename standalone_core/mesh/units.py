"""The length unit of a file: declared, given, or guessed from the size of what it holds.

The guess asks in which unit the longest side of the bounding box would be a crown or a row of
teeth. A crown is 5–15 mm, a full arch about 65 mm (common practice, no source):

====================  ============================================================
longest side, number  unit
====================  ============================================================
0.003 – 0.12          metres: 3–120 mm; in inches or centimetres smaller than any crown
0.19 – 0.50           inches: 5–12.7 mm; in centimetres at most 5 mm
0.60 – 1.50           centimetres: 6–15 mm; in inches more than a crown, less than an arch
3 – 120               millimetres
3 000 – 120 000       micrometres: 3–120 mm
anything else         no unit fits, or two do: millimetres, with a warning
====================  ============================================================
"""

from __future__ import annotations

from dataclasses import dataclass

from ..allowed import NotAllowed
from ..errors import SettingError
from ..length_units import MM_PER_UNIT, UNIT, UNIT_NAMES

# Words that files use for their own unit; the first six are those of the 3MF core specification.
DECLARED_UNITS = {
    "micron": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "inch",
    "foot": "foot",
    "meter": "m",
    "millimeters": "mm",
}

PLAUSIBLE_SIZE_MM = (3.0, 120.0)
SIZE_RANGES = (
    ("m", 0.003, 0.12),
    ("inch", 0.19, 0.50),
    ("cm", 0.60, 1.50),
    ("mm", *PLAUSIBLE_SIZE_MM),
    ("um", 3000.0, 120000.0),
)


@dataclass(frozen=True)
class LengthUnit:
    """A unit and how it was found.

    Attributes
    ----------
    unit : str
        "mm", "m", "inch", "um", "cm" or "foot".
    guessed : bool
        Neither the user nor the file said it.
    notes : tuple of str
        What the user should know about it.
    """

    unit: str
    guessed: bool
    notes: tuple[str, ...] = ()

    @property
    def scale_to_mm(self) -> float:
        """Millimetres per unit."""
        return MM_PER_UNIT[self.unit]


def check_unit(unit: str) -> None:
    """Raise SettingError unless ``unit`` is "auto" or one of ``MM_PER_UNIT``."""
    try:
        UNIT.checked(unit)
    except NotAllowed as problem:
        raise SettingError(problem.reason, subject="unit", remedy=problem.remedy) from None


def find_unit(longest_side: float, *, given: str = "auto", declared: str = "") -> LengthUnit:
    """Decide the unit of a mesh.

    Parameters
    ----------
    longest_side : float
        Longest side of the bounding box, in the file's own numbers.
    given : str
        What the user asks for; "auto" leaves it to the file and its size.
    declared : str
        The unit that the file itself states, "" if it states none.
    """
    check_unit(given)
    if given != "auto":
        return LengthUnit(given, guessed=False, notes=_size_warning(given, longest_side))
    if declared in DECLARED_UNITS:
        unit = DECLARED_UNITS[declared]
        return LengthUnit(unit, guessed=False, notes=_size_warning(unit, longest_side))
    for unit, lowest, highest in SIZE_RANGES:
        if lowest <= longest_side <= highest:
            return LengthUnit(unit, guessed=True, notes=_announcement(unit, longest_side))
    return LengthUnit("mm", guessed=True, notes=_size_warning("mm", longest_side))


def _announcement(unit: str, longest_side: float) -> tuple[str, ...]:
    if unit == "mm":
        return ()
    return (
        f"Read as {UNIT_NAMES[unit]}, guessed from its size: {longest_side:.4g} {unit} are "
        f"{longest_side * MM_PER_UNIT[unit]:.4g} mm. Give the unit if that is wrong.",
    )


def _size_warning(unit: str, longest_side: float) -> tuple[str, ...]:
    size_mm = longest_side * MM_PER_UNIT[unit]
    if PLAUSIBLE_SIZE_MM[0] <= size_mm <= PLAUSIBLE_SIZE_MM[1]:
        return ()
    kind = "large" if size_mm > PLAUSIBLE_SIZE_MM[1] else "small"
    return (
        f"Read as {UNIT_NAMES[unit]}, {size_mm:.4g} mm long: too {kind} for a crown or a row "
        "of teeth. Give the unit if that is wrong.",
    )
