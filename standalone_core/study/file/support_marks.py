"""The support contacts of a study file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ...areas.support_marks import SupportContact
from ...errors import CuspwiseError
from .place import Place
from .study_sections import CONTACT
from .tables import CONTACTS, read_section
from .value_types import shown


def read_contacts(tables: Mapping[str, Any], place: Place) -> tuple[SupportContact, ...]:
    """Read all support contacts; note every mistake.

    Parameters
    ----------
    tables : mapping of contact name to table
    place : Place
        Of the table of contacts.

    Returns
    -------
    tuple of SupportContact
        Those that can be used, in the order of the file.
    """
    found = []
    for name, table in tables.items():
        here = place / name
        if not isinstance(table, dict):
            here.wrong(f"It is {shown(table)}, not a table.", f"Write [{CONTACTS}.{name}].")
            continue
        noted = len(place.mistakes)
        values = read_section(CONTACT, table, here)
        if len(place.mistakes) > noted:
            continue
        try:
            found.append(SupportContact(name, **values))
        except CuspwiseError as problem:
            here.wrong(problem.reason, problem.remedy)
    return tuple(found)
