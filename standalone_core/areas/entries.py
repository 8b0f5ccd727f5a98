"""Margin line and areas as entries of an areas file."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..errors import AreaError
from .area_set import Area, MarginLine, Origin
from .carry import REMEDY, Carrier, to_runs
from .support_marks import new_area_name

_FORMS = {"runs", "design_vertices", "centre_mm"}
"""How an entry may give its area."""


def line_entry(line: MarginLine | None) -> dict[str, Any] | None:
    """Return a margin line as an areas file holds it."""
    if line is None:
        return None
    points = np.round(line.points_mm, 6)
    return {
        "origin": line.origin,
        "digest": _line_digest(points, line.closed),
        "closed": line.closed,
        "length_mm": line.length_mm,
        "points_mm": points.tolist(),
    }


def area_entry(area: Area, area_mm2: float) -> dict[str, Any]:
    """Return an area as an areas file holds it."""
    runs = to_runs(area.points)
    return {
        "origin": area.origin,
        "digest": _digest(runs),
        "note": area.note,
        "area_mm2": area_mm2,
        "runs": runs,
    }


def read_line(given: Mapping[str, Any] | None) -> MarginLine | None:
    """Return the margin line of an areas file.

    Raises
    ------
    AreaError
        Its points cannot be used.
    """
    if given is None:
        return None
    try:
        points = np.array(given["points_mm"], dtype=np.float64)
    except (KeyError, TypeError, ValueError, OverflowError) as problem:
        raise AreaError(
            "The margin line has no points_mm that are three numbers each.",
            subject="margin_line",
            remedy=REMEDY,
        ) from problem
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 3 or not np.isfinite(points).all():
        raise AreaError(
            "The margin line is not a list of three or more points of three finite numbers.",
            subject="margin_line",
            remedy=REMEDY,
        )
    closed = bool(given.get("closed", True))
    return MarginLine(points, closed, _origin(given, _line_digest(points, closed)))


def read_areas(document: Mapping[str, Any], carry: Carrier) -> list[Area]:
    """Return the areas that an areas file holds, on the evaluation points at hand.

    Raises
    ------
    AreaError
        An entry cannot be used, or two are of the same area.
    """
    given = document.get("areas") or {}
    if not isinstance(given, Mapping):
        raise AreaError("Its areas are not entries with names.", subject="areas", remedy=REMEDY)
    named: dict[str, str] = {}
    for name in map(str, given):
        other = named.setdefault(new_area_name(name), name)
        if other != name:
            raise AreaError(
                f"Areas {other} and {name} are the same: the one is the other's old name.",
                subject=name,
                remedy="Delete one of them, or give it another name.",
            )
    return [_read_area(name, given[own], carry) for name, own in named.items()]


def _read_area(name: str, entry: Any, carry: Carrier) -> Area:
    if not isinstance(entry, Mapping) or not _FORMS & set(entry):
        raise AreaError(
            f"Area {name} has neither runs nor design_vertices nor centre_mm.",
            subject=name,
            remedy=REMEDY,
        )
    points = carry.points(name, entry)
    digest = _digest(entry["runs"]) if "runs" in entry else None
    return Area(name, points, origin=_origin(entry, digest), note=str(entry.get("note", "")))


def _origin(entry: Mapping[str, Any], digest: str | None) -> Origin:
    """Origin of an entry: only what is as the program left it stays automatic."""
    as_left = digest is not None and entry.get("digest") == digest
    return "automatic" if as_left and entry.get("origin") == "automatic" else "file"


def _line_digest(points: ArrayLike, closed: bool) -> str:
    return _digest(np.append(points, closed))


def _digest(values: ArrayLike) -> str:
    """Short digest of numbers, the same however they are written (1 or 1.0, 0 or -0)."""
    numbers = np.asarray(values, dtype="<f8") + 0.0
    return hashlib.sha256(numbers.tobytes()).hexdigest()[:16]
