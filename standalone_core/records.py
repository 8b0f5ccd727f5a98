"""Result objects as plain data: once for all that is written."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from .readable import readable

Writers: TypeAlias = Mapping[type, Callable[[Any], Mapping[str, Any]]]
"""What is written of a type of results, by the names that files have for it."""


def fields_of(value: Any, writers: Writers | None = None) -> dict[str, Any]:
    """Return what is written of a result object, one level deep.

    Parameters
    ----------
    value : object
        A dataclass.
    writers : mapping of type to function, optional
        For those types whose fields have other names in files; all others are written by the
        names of their fields.
    """
    writer = (writers or {}).get(type(value))
    if writer is not None:
        return dict(writer(value))
    return {field.name: getattr(value, field.name) for field in fields(value)}


def with_tuples(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return a record from JSON, its lists as the tuples that they were."""
    return {k: tuple(value) if isinstance(value, list) else value for k, value in record.items()}


def plain(
    value: Any, writers: Writers | None = None, path: Callable[[Path], str] | None = None
) -> Any:
    """Turn dataclasses, mappings, arrays, paths and numpy numbers into what JSON can hold.

    Parameters
    ----------
    value : object
    writers : mapping of type to function, optional
        As for :func:`fields_of`.
    path : function, optional
        How paths are written; by their last part otherwise.

    Returns
    -------
    dict, list, str, float, int, bool or None
        Numbers that are not finite are None.
    """
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, str | Path):
        return _text(value, path)
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if is_dataclass(value):
        value = fields_of(value, writers)
    if isinstance(value, Mapping):
        return {readable(str(key)): plain(item, writers, path) for key, item in value.items()}
    return [plain(item, writers, path) for item in value]


def _text(value: str | Path, path: Callable[[Path], str] | None) -> str:
    if isinstance(value, Path) and path is not None:
        return path(value)
    return readable(value.name if isinstance(value, Path) else value)
