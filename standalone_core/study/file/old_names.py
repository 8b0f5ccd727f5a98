"""Keys and tables of study files that have another name now; they are refused, with that name."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

OLD_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "contacts": "support_marks",
        "measuring.drop_debris": "measuring.ignore_loose_pieces",
        "superimposition.loss": "superimposition.fit_weighting",
        "verdicts.contact_um": "support_marks.limit_um",
    }
)
"""New names by old ones; keys with their table."""


def new_name(old: str) -> str:
    """Return what to write in place of an old name, as a sentence; empty if it is none.

    Examples
    --------
    >>> new_name("superimposition.loss")
    'Write fit_weighting.'
    >>> new_name("verdicts.contact_um")
    'Write limit_um below [support_marks].'
    """
    table, _, key = OLD_NAMES.get(old, "").rpartition(".")
    if not key:
        return ""
    if "." not in old:
        return f"Write [{key}]."
    where = "" if table == old.rpartition(".")[0] else f" below [{table}]"
    return f"Write {key}{where}."
