"""A study's plan as plain values, for files and for checksums."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

from ..readable import readable
from .plan import StudyPlan


def plan_document(plan: StudyPlan) -> dict[str, Any]:
    """Return a plan as values that JSON can hold.

    Parameters
    ----------
    plan : StudyPlan

    Returns
    -------
    dict
        The plan's attributes by name. Paths are text with ``/``, from the study file's folder
        where there is a way from there, so that a study that was moved as a whole has the same
        document; tuples are lists.
    """
    folder = os.path.realpath(plan.folder)
    document: dict[str, Any] = _plain(plan, folder)
    return document


def _plain(value: Any, folder: str) -> Any:
    if isinstance(value, Path):
        return _told_from(value, folder)
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name), folder) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(item, folder) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item, folder) for item in value]
    return value


def _told_from(path: Path, folder: str) -> str:
    place = os.path.join(os.path.realpath(path.parent), path.name)
    try:
        return readable(Path(os.path.relpath(place, folder)).as_posix())
    except ValueError:  # on another drive
        return readable(path.as_posix())
