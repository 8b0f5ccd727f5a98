"""A study's plan as plain values, for files and for checksums."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..readable import readable, way_from
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
    document: dict[str, Any] = plain(plan, path=way_to(plan))
    return document


def way_to(plan: StudyPlan) -> Callable[[Path], str]:
    """Return what writes a path as the way from the study's folder, where there is one."""
    return lambda path: readable(way_from(plan.folder, path) or path.as_posix())
