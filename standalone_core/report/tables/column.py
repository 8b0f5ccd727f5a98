"""A column of a table: its name, the unit of its numbers, and what it means everywhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

TEXT, TRUTH = "text", "TRUE or FALSE"
COUNT, PROBABILITY, BARE = "count", "probability", "no unit"
UM, MM, MM2, MM3, DEG = "µm", "mm", "mm²", "mm³", "degrees"
SHARE = "share (1 is all)"
OF_ROW = "as the column unit says"
"""The unit of a number that depends on its row; its table has a column ``unit``."""

UNIT_ENDINGS = {"um": UM, "mm": MM, "mm2": MM2, "mm3": MM3, "deg": DEG}
"""What a name ends with by which its numbers have a unit; a share has ``share`` in its name."""

_SHARES = ("within_tolerance", "coverage")


@dataclass(frozen=True)
class Column:
    """What a column's name means, in every table that has it.

    Attributes
    ----------
    name : str
        In ASCII, with its unit; the same name never means two things.
    unit : str
        One of those above.
    meaning : str
        As one or more sentences.
    tables : tuple of str
        The tables it is in, as keys of :data:`~.tables_declared.TABLES`.
    """

    name: str
    unit: str
    meaning: str
    tables: tuple[str, ...]


def column(name: str, unit: str, meaning: str, *tables: str | Iterable[str]) -> Column:
    """Declare a column; tables are given one by one or as groups of them."""
    names = [one for given in tables for one in ([given] if isinstance(given, str) else given)]
    return Column(name, unit, meaning, tuple(names))


def unit_of(measure: str) -> str:
    """Return the unit of a measure, as the column ``unit`` writes it; empty for a count.

    Parameters
    ----------
    measure : str
        By its name in the column ``measure``, which ends with the unit.

    Examples
    --------
    >>> unit_of("mean_abs_um"), unit_of("within_tolerance"), unit_of("contact_spots")
    ('µm', 'share', '')
    """
    if measure in _SHARES or "share" in measure.split("_"):
        return "share"
    return UNIT_ENDINGS.get(measure.rpartition("_")[2], "")
