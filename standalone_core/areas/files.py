"""Areas files: JSON that saves, loads and shares the areas of one design.

::

    {
      "format": "cuspwise areas", "version": 1,
      "design_checksum": "…", "spacing_mm": 0.1, "point_count": 95000,
      "settings": {…}, "insertion": [x, y, z],
      "margin_line": {"origin": "automatic", "closed": true, "points_mm": [[x, y, z], …]},
      "areas": {"occlusal": {"origin": "user", "note": "…", "runs": [first, count, …]},
                "mine": {"origin": "user", "design_vertices": [0, 5, …]}},
      "missing": {"contact_mesial": "…"}
    }

``runs`` are stretches of evaluation points at the file's spacing. An area may be given by
``design_vertices`` instead. Every entry but the first three may be left out: what a file does not
hold is found automatically; a margin line of origin "user" makes the areas that follow from
it anew.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from ..atomic import atomic_write
from ..errors import AreaError, SettingError
from ..mesh.refine import EvaluationMesh, evaluation_mesh
from ..mesh.triangle_mesh import BoolArray, IntArray
from ..progress import run
from .area_set import Area, AreaSet, MarginLine, Origin
from .find import areas_of_layout_steps, find_areas
from .layout import find_layout_steps, with_margin_line
from .settings import AreaSettings, checked_direction

FORMAT = "cuspwise areas"
VERSION = 1


def save_areas(path: str | Path, area_set: AreaSet) -> Path:
    """Write an areas file, whole or not at all.

    Parameters
    ----------
    path : str or pathlib.Path
    area_set : AreaSet

    Raises
    ------
    FileError
        The file cannot be written.
    """
    text = json.dumps(areas_document(area_set), ensure_ascii=False, allow_nan=False)
    return atomic_write(path, text + "\n")


def areas_document(area_set: AreaSet) -> dict[str, Any]:
    """Return the content of an areas file."""
    line = area_set.margin_line
    return {
        "format": FORMAT,
        "version": VERSION,
        "design_checksum": area_set.evaluation.design.checksum,
        "spacing_mm": area_set.evaluation.spacing_mm,
        "point_count": len(area_set.evaluation.points),
        "settings": asdict(area_set.settings),
        "insertion": None if area_set.insertion is None else area_set.insertion.tolist(),
        "margin_line": line
        and {
            "origin": line.origin,
            "closed": line.closed,
            "length_mm": line.length_mm,
            "points_mm": np.round(line.points_mm, 6).tolist(),
        },
        "areas": {
            name: {
                "origin": area.origin,
                "note": area.note,
                "area_mm2": area_set.area_mm2(name),
                "runs": _to_runs(area.points),
            }
            for name, area in area_set.areas.items()
        },
        "missing": dict(area_set.missing),
        "warnings": list(area_set.warnings),
    }


def load_areas(path: str | Path, evaluation: EvaluationMesh) -> AreaSet:
    """Read an areas file for a design.

    Parameters
    ----------
    path : str or pathlib.Path
    evaluation : EvaluationMesh
        The design; its spacing may differ from the file's.

    Returns
    -------
    AreaSet
        Areas that somebody replaced have the origin "file"; areas that the file does not hold
        are found automatically, with its settings.

    Raises
    ------
    AreaError
        The file is not an areas file, is broken, or belongs to another design.
    """
    document = _read(Path(path))
    _check_design(document, evaluation, path)
    try:
        return _areas_from(document, evaluation)
    except (KeyError, TypeError, ValueError, AttributeError, SettingError) as problem:
        raise AreaError(
            f"An entry cannot be used ({problem}).",
            subject=path,
            remedy="Save the areas again, or correct the entry.",
        ) from problem


def _read(path: Path) -> Mapping[str, Any]:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise AreaError(
            f"The file cannot be read ({problem.strerror or problem}).",
            subject=path,
            remedy="Check the path and its permissions.",
        ) from problem
    except (ValueError, RecursionError) as problem:
        raise AreaError(
            "The file is not JSON.", subject=path, remedy="Choose an areas file."
        ) from problem
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise AreaError(
            "The file is not an areas file.", subject=path, remedy="Choose an areas file."
        )
    if document.get("version") != VERSION:
        raise AreaError(
            f"It has version {document.get('version')}; this program reads version {VERSION}.",
            subject=path,
            remedy="Save the areas again with this version of the program.",
        )
    return document


def _check_design(
    document: Mapping[str, Any], evaluation: EvaluationMesh, path: str | Path
) -> None:
    if document.get("design_checksum") != evaluation.design.checksum:
        raise AreaError(
            f"Its areas were made on another design than {evaluation.design.name}.",
            subject=path,
            remedy="Choose the design that the areas were made on, or find the areas anew.",
        )


def _areas_from(document: Mapping[str, Any], evaluation: EvaluationMesh) -> AreaSet:
    settings = _settings(document.get("settings") or {})
    line = _margin_line(document.get("margin_line"))
    given = document.get("areas") or {}
    areas = _areas(given, document, evaluation)
    if line is not None and line.origin == "file":
        layout = with_margin_line(evaluation, run(find_layout_steps(evaluation, settings)), line)
        base = run(areas_of_layout_steps(evaluation, layout, settings))
        return base.replaced(area for area in areas if area.origin == "file")
    known = {area.name for area in areas} | set(document.get("missing") or {})
    if "insertion" in document and known >= {"whole", "external", "intaglio", "margin"}:
        insertion = document["insertion"]
        if insertion is not None:
            insertion = np.array(checked_direction("insertion", insertion))
            insertion /= np.linalg.norm(insertion)
        return AreaSet(
            evaluation=evaluation,
            areas={area.name: area for area in areas},
            margin_line=line,
            insertion=insertion,
            missing={str(k): str(v) for k, v in (document.get("missing") or {}).items()},
            warnings=tuple(str(text) for text in document.get("warnings") or ()),
            settings=settings,
        )
    return find_areas(evaluation, settings).replaced(areas)


def _settings(given: Mapping[str, Any]) -> AreaSettings:
    names = {field.name for field in fields(AreaSettings)}
    unknown = sorted(set(given) - names)
    if unknown:
        raise ValueError(f"unknown settings: {', '.join(unknown)}")
    return replace(AreaSettings(), **given)


def _margin_line(given: Mapping[str, Any] | None) -> MarginLine | None:
    if given is None:
        return None
    points = np.array(given["points_mm"], dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3 or len(points) < 3:
        raise ValueError("the margin line is not a list of three or more points")
    if not np.isfinite(points).all():
        raise ValueError("the margin line has points that are not finite")
    return MarginLine(points, bool(given.get("closed", True)), _loaded_origin(given))


def _loaded_origin(given: Mapping[str, Any]) -> Origin:
    return "automatic" if given.get("origin", "user") == "automatic" else "file"


def _areas(
    given: Mapping[str, Any], document: Mapping[str, Any], evaluation: EvaluationMesh
) -> list[Area]:
    carry = _Carrier(document, evaluation)
    return [
        Area(
            str(name),
            carry.points(entry),
            origin=_loaded_origin(entry),
            note=str(entry.get("note", "")),
        )
        for name, entry in given.items()
    ]


class _Carrier:
    """Brings areas of a file to the evaluation points at hand."""

    def __init__(self, document: Mapping[str, Any], evaluation: EvaluationMesh) -> None:
        self._document = document
        self._evaluation = evaluation

    def points(self, entry: Mapping[str, Any]) -> BoolArray:
        if "design_vertices" in entry:
            return _from_design_vertices(entry["design_vertices"], self._evaluation)
        there = _from_runs(entry["runs"], len(self._source.points))
        return there if self._nearest is None else there[self._nearest]

    @cached_property
    def _source(self) -> EvaluationMesh:
        """Evaluation mesh that the file's runs count on."""
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


def _from_design_vertices(vertices: Any, evaluation: EvaluationMesh) -> BoolArray:
    count = len(evaluation.design.vertices)
    index = np.array(vertices, dtype=np.int64)
    if index.ndim != 1 or (index.size and (index.min() < 0 or index.max() >= count)):
        raise ValueError(f"design_vertices are not among the {count} vertices of the design")
    chosen = np.zeros(count)
    chosen[index] = 1.0
    inside: BoolArray = evaluation.interpolate(chosen) >= 0.5
    return inside


def _to_runs(points: BoolArray) -> list[int]:
    """Stretches of true: first, count, first, count, …"""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], points, [False]])))
    starts, stops = edges[::2], edges[1::2]
    return [int(v) for v in np.stack([starts, stops - starts], axis=1).ravel()]


def _from_runs(runs: Any, count: int) -> BoolArray:
    pairs = np.array(runs, dtype=np.int64).reshape(-1, 2)
    starts, lengths = pairs.T
    if (starts < 0).any() or (lengths < 0).any() or (starts + lengths > count).any():
        raise ValueError(f"runs reach outside the {count} evaluation points")
    steps = np.zeros(count + 1, dtype=np.int64)
    np.add.at(steps, starts, 1)
    np.add.at(steps, starts + lengths, -1)
    inside: BoolArray = np.cumsum(steps[:-1]) > 0
    return inside
