"""A cause as a row: a name that stands in a table alone says whose it is."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

CAUSE_NAMES: Mapping[str, str] = MappingProxyType(
    {
        "n": "n_crowns",
        "without_odd": "estimate_without_odd",
        "without_odd_low": "estimate_without_odd_low",
        "without_odd_high": "estimate_without_odd_high",
    }
)
"""Columns that JSON, where they belong to a cause, calls otherwise."""


def cause_row(record: Mapping[str, Any]) -> dict[str, object]:
    """Return a cause as JSON has it as a row: its direction in three columns.

    Parameters
    ----------
    record : mapping
        As :func:`~cuspwise.standalone_core.causes.document.cause_record` returns it, and what a
        study adds.
    """
    row: dict[str, object] = {}
    for name, value in record.items():
        if name == "direction":
            parts = (None, None, None) if value is None else value
            row |= {f"direction_{axis}": part for axis, part in zip("xyz", parts, strict=True)}
        else:
            row[CAUSE_NAMES.get(name, name)] = value
    return row
