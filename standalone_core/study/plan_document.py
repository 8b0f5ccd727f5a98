"""A study's plan as plain values, for files and for checksums."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from ..readable import readable
from ..records import plain
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
    document: dict[str, Any] = plain(plan, path=lambda path: _seen_from(path, folder))
    return document


def _seen_from(path: Path, folder: str) -> str:
    place = os.path.join(os.path.realpath(path.parent), path.name)
    try:
        return readable(Path(os.path.relpath(place, folder)).as_posix())
    except ValueError:  # on another drive
        return readable(path.as_posix())
