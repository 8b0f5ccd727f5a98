"""Margin line and areas as entries of an areas file."""

from __future__ import annotations

import hashlib
import reprlib
from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from ..errors import AreaError
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.triangle_mesh import BoolArray, IntArray
from .area_set import Area, MarginLine, Origin

_REMEDY = "Correct the entry, or delete it to have it found automatically."


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
    runs = _to_runs(area.points)
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
            remedy=_REMEDY,
        ) from problem
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 3 or not np.isfinite(points).all():
        raise AreaError(
            "The margin line is not a list of three or more points of three finite numbers.",
            subject="margin_line",
            remedy=_REMEDY,
        )
    closed = bool(given.get("closed", True))
    return MarginLine(points, closed, _origin(given, _line_digest(points, closed)))


def read_areas(document: Mapping[str, Any], evaluation: EvaluationMesh) -> list[Area]:
    """Return the areas that an areas file holds, on the evaluation points at hand.

    Raises
    ------
    AreaError
        An entry cannot be used.
    """
    given = document.get("areas") or {}
    if not isinstance(given, Mapping):
        raise AreaError("Its areas are not entries with names.", subject="areas", remedy=_REMEDY)
    carry = _Carrier(document, evaluation)
    return [_read_area(str(name), entry, carry) for name, entry in given.items()]


def _read_area(name: str, entry: Any, carry: _Carrier) -> Area:
    if not isinstance(entry, Mapping) or not {"runs", "design_vertices"} & set(entry):
        raise AreaError(
            f"Area {name} has neither runs nor design_vertices.", subject=name, remedy=_REMEDY
        )
    points = carry.points(name, entry)
    digest = None if "design_vertices" in entry else _digest(entry["runs"])
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


class _Carrier:
    """Brings areas of a file to the evaluation points at hand."""

    def __init__(self, document: Mapping[str, Any], evaluation: EvaluationMesh) -> None:
        self._document = document
        self._evaluation = evaluation

    def points(self, name: str, entry: Mapping[str, Any]) -> BoolArray:
        if "design_vertices" in entry:
            return _from_design_vertices(name, entry["design_vertices"], self._evaluation)
        there = _from_runs(name, entry["runs"], len(self._source.points))
        return there if self._nearest is None else there[self._nearest]

    @cached_property
    def _source(self) -> EvaluationMesh:
        """Evaluation mesh that the file's runs count on."""
        if not {"point_count", "spacing_mm"} <= set(self._document):
            raise AreaError(
                "It has runs, but not the spacing_mm and point_count that they count on.",
                subject="runs",
                remedy="Save the areas again, or give areas by design_vertices.",
            )
        count, spacing = int(self._document["point_count"]), float(self._document["spacing_mm"])
        here = self._evaluation
        source = here if spacing == here.spacing_mm else evaluation_mesh(here.design, spacing)
        if len(source.points) != count:
            raise ValueError(f"point_count {count} does not belong to spacing_mm {spacing:g}")
        return source

    @cached_property
    def _nearest(self) -> IntArray | None:
        """Point of the file's evaluation mesh nearest to each point at hand, if they differ."""
        if self._source is self._evaluation:
            return None
        return np.asarray(cKDTree(self._source.points).query(self._evaluation.points)[1])


def _from_design_vertices(name: str, given: Any, evaluation: EvaluationMesh) -> BoolArray:
    count = len(evaluation.design.vertices)
    index = _whole_numbers(name, "design_vertices", given, count - 1)
    chosen = np.zeros(count)
    chosen[index] = 1.0
    inside: BoolArray = evaluation.interpolate(chosen) >= 0.5
    return inside


def _to_runs(points: BoolArray) -> list[int]:
    """Stretches of true: first, count, first, count, …"""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], points, [False]])))
    starts, stops = edges[::2], edges[1::2]
    return [int(v) for v in np.stack([starts, stops - starts], axis=1).ravel()]


def _from_runs(name: str, given: Any, count: int) -> BoolArray:
    numbers = _whole_numbers(name, "runs", given, count)
    if len(numbers) % 2:
        raise AreaError(
            f"Area {name} has {len(numbers)} numbers in its runs, which are pairs of first point "
            "and count.",
            subject=name,
            remedy=_REMEDY,
        )
    starts, lengths = numbers.reshape(-1, 2).T
    beyond = np.flatnonzero(starts + lengths > count)
    if len(beyond):
        raise AreaError(
            f"Area {name} has a run of {lengths[beyond[0]]} points from {starts[beyond[0]]} on, "
            f"but there are {count} evaluation points.",
            subject=name,
            remedy=_REMEDY,
        )
    steps = np.zeros(count + 1, dtype=np.int64)
    np.add.at(steps, starts, 1)
    np.add.at(steps, starts + lengths, -1)
    inside: BoolArray = np.cumsum(steps[:-1]) > 0
    return inside


def _whole_numbers(name: str, key: str, given: Any, largest: int) -> IntArray:
    """Return a list of whole numbers from 0 to the largest one allowed."""
    if not isinstance(given, list):
        raise AreaError(
            f"Area {name} has {reprlib.repr(given)} for {key}, which is no list.",
            subject=name,
            remedy=_REMEDY,
        )
    for value in given:
        if type(value) is not int or not 0 <= value <= largest:
            raise AreaError(
                f"Area {name} has {reprlib.repr(value)} in its {key}, which is no "
                f"whole number from 0 to {largest}.",
                subject=name,
                remedy=_REMEDY,
            )
    return np.array(given, dtype=np.int64)
