"""The support marks of a study file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ...areas.support_marks import SupportMark
from ...errors import CuspwiseError
from .place import Place
from .study_sections import MARK
from .tables import read_section


def read_marks(tables: Mapping[str, Any], place: Place) -> tuple[SupportMark, ...]:
    """Read all support marks; note every mistake.

    Parameters
    ----------
    tables : mapping of mark name to table
    place : Place
        Of the table of marks.

    Returns
    -------
    tuple of SupportMark
        Those that can be used, in the order of the file.
    """
    found = []
    for name, table in tables.items():
        here = place / name
        noted = len(place.mistakes)
        values = read_section(MARK, table, here)
        if len(place.mistakes) > noted:
            continue
        try:
            found.append(SupportMark(name, **values))
        except CuspwiseError as problem:
            here.wrong(problem.reason, problem.remedy)
    return tuple(found)
