"""From an areas file's points to the evaluation points at hand, whatever the order of either.

A file names its points by their places. It belongs to a design that has the same vertices, in any
order, and the same surface; each point at hand is then what the nearest point of the file is.
Files without places (version 1, or written by hand) count on the order of the design's vertices,
which its checksum shows.
"""

from __future__ import annotations

import reprlib
from collections.abc import Mapping
from functools import cached_property
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from ..errors import AreaError
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.triangle_mesh import BoolArray, FloatArray, IntArray
from .mark_discs import disc_points
from .off_surface import cause_of

REMEDY = "Correct the entry, or delete it to have it found automatically."

MATCH_MM = 1e-3
"""Vertices closer together than this are the same: single precision rounds far less."""
_MATCH_AREA = 1e-4
"""Relative difference in surface below which two designs with equal vertices are the same."""


class Carrier:
    """Brings areas of a file to the evaluation points at hand.

    Parameters
    ----------
    document : mapping
        Content of the file.
    evaluation : EvaluationMesh
        The design at hand.

    Raises
    ------
    AreaError
        The file's places cannot be used.
    """

    def __init__(self, document: Mapping[str, Any], evaluation: EvaluationMesh) -> None:
        self._document = document
        self._evaluation = evaluation
        self._places = _places(document)

    def belongs(self) -> bool:
        """Return whether the file was made on the design at hand."""
        design = self._evaluation.design
        is_copy = self._document.get("design_checksum") == design.checksum
        if self._places is None:
            return is_copy
        if self._vertex_count != len(design.vertices):
            return False
        area = float(self._document["design_area_mm2"])
        same_surface = is_copy or abs(area - design.area_mm2) <= _MATCH_AREA * design.area_mm2
        return same_surface and (self._in_order or self._holds_vertices(self._places))

    @property
    def why_not(self) -> str:
        """Why the file's places probably do not lie on the design, as a sentence or nothing."""
        if self._places is None or self._vertex_count != len(self._evaluation.design.vertices):
            return ""
        return cause_of(self._places[: self._vertex_count], self._evaluation, MATCH_MM)

    def points(self, name: str, entry: Mapping[str, Any]) -> BoolArray:
        """Return which evaluation points at hand (n',) an entry holds.

        Raises
        ------
        AreaError
            The entry cannot be used.
        """
        if "design_vertices" in entry:
            return self._from_design_vertices(name, entry["design_vertices"])
        if "centre_mm" in entry:
            return self._disc(name, entry)
        if self._places is not None:
            return _from_runs(name, entry["runs"], len(self._places))[self._nearest]
        there = _from_runs(name, entry["runs"], len(self._source.points))
        return there if self._source is self._evaluation else there[self._nearest]

    def _holds_vertices(self, places: FloatArray) -> bool:
        """Return whether each of the design's vertices is one of the file's."""
        tree = cKDTree(places[: self._vertex_count])
        gaps = tree.query(self._evaluation.design.vertices, distance_upper_bound=MATCH_MM)[0]
        return bool(np.isfinite(gaps).all())

    @cached_property
    def _in_order(self) -> bool:
        """Whether the file's points are those at hand, in their order."""
        places = self._source.points if self._places is None else self._places
        here = self._evaluation.points
        return places.shape == here.shape and bool((np.abs(places - here) <= MATCH_MM).all())

    def _disc(self, name: str, entry: Mapping[str, Any]) -> BoolArray:
        centre, radius = np.array(entry["centre_mm"], dtype=float), float(entry["radius_mm"])
        largest = self._evaluation.design.diagonal_mm
        if centre.shape != (3,) or not np.isfinite(centre).all() or not 0 < radius <= largest:
            raise AreaError(
                f"Area {name} has the place {reprlib.repr(entry['centre_mm'])} and the radius "
                f"{radius:g} mm: three finite numbers, and a radius above 0 and up to "
                f"{largest:.3g} mm, the design's diagonal, can be used.",
                subject=name,
                remedy=REMEDY,
            )
        try:
            return disc_points(self._evaluation.mesh, centre, radius)
        except AreaError as problem:
            cause = cause_of(centre[None], self._evaluation, radius)
            raise AreaError(
                f"Area {name} cannot be placed: {problem.reason}{cause}",
                subject=name,
                remedy=problem.remedy,
            ) from problem

    @property
    def _vertex_count(self) -> int:
        return int(self._document["design_vertex_count"])

    @cached_property
    def _nearest(self) -> IntArray:
        """Point of the file nearest to each point at hand, (n',)."""
        here = self._evaluation.points
        if self._in_order:
            return np.arange(len(here))
        places = self._source.points if self._places is None else self._places
        return np.asarray(cKDTree(places).query(here)[1])

    @cached_property
    def _source(self) -> EvaluationMesh:
        """Evaluation mesh that runs count on in a file without places."""
        if not {"point_count", "spacing_mm"} <= set(self._document):
            raise AreaError(
                "It has runs, but neither points_mm nor the spacing_mm and point_count that they "
                "count on.",
                subject="runs",
                remedy="Save the areas again, or give areas by design_vertices.",
            )
        count, spacing = int(self._document["point_count"]), float(self._document["spacing_mm"])
        here = self._evaluation
        source = here if spacing == here.spacing_mm else evaluation_mesh(here.design, spacing)
        if len(source.points) != count:
            raise ValueError(f"point_count {count} does not belong to spacing_mm {spacing:g}")
        return source

    def _from_design_vertices(self, name: str, given: Any) -> BoolArray:
        count = len(self._evaluation.design.vertices)
        index = _whole_numbers(name, "design_vertices", given, count - 1)
        chosen = np.zeros(count)
        chosen[index] = 1.0
        if self._places is not None:
            chosen = chosen[self._nearest[:count]]
        inside: BoolArray = self._evaluation.interpolate(chosen) >= 0.5
        return inside


def to_runs(points: BoolArray) -> list[int]:
    """Return stretches of true: first, count, first, count, …"""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], points, [False]])))
    starts, stops = edges[::2], edges[1::2]
    return [int(v) for v in np.stack([starts, stops - starts], axis=1).ravel()]


def _places(document: Mapping[str, Any]) -> FloatArray | None:
    """Return the file's points (k, 3), the design's vertices first; None if it names none."""
    if document.get("points_mm") is None:
        return None
    if not {"design_vertex_count", "design_area_mm2"} <= set(document):
        raise AreaError(
            "It has points_mm, but neither design_vertex_count nor design_area_mm2.",
            subject="points_mm",
            remedy="Save the areas again.",
        )
    places: FloatArray = np.array(document["points_mm"], dtype=np.float64)
    count = int(document["design_vertex_count"])
    if places.ndim != 2 or places.shape[1] != 3 or not np.isfinite(places).all():
        raise ValueError("points_mm are not rows of three finite numbers")
    if not 0 < count <= len(places):
        raise ValueError(f"design_vertex_count {count} does not belong to {len(places)} points")
    if document.get("point_count", len(places)) != len(places):
        raise ValueError(f"point_count {document['point_count']} is not that of points_mm")
    if not 0 < float(document.get("spacing_mm", 1.0)) < np.inf:
        raise ValueError(f"spacing_mm {document['spacing_mm']} is no length")
    return places


def _from_runs(name: str, given: Any, count: int) -> BoolArray:
    numbers = _whole_numbers(name, "runs", given, count)
    if len(numbers) % 2:
        raise AreaError(
            f"Area {name} has {len(numbers)} numbers in its runs, which are pairs of first point "
            "and count.",
            subject=name,
            remedy=REMEDY,
        )
    starts, lengths = numbers.reshape(-1, 2).T
    beyond = np.flatnonzero(starts + lengths > count)
    if len(beyond):
        raise AreaError(
            f"Area {name} has a run of {lengths[beyond[0]]} points from {starts[beyond[0]]} on, "
            f"but there are {count} measuring points.",
            subject=name,
            remedy=REMEDY,
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
            remedy=REMEDY,
        )
    for value in given:
        if type(value) is not int or not 0 <= value <= largest:
            raise AreaError(
                f"Area {name} has {reprlib.repr(value)} in its {key}, which is no "
                f"whole number from 0 to {largest}.",
                subject=name,
                remedy=REMEDY,
            )
    return np.array(given, dtype=np.int64)
