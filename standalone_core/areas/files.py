"""Areas files: JSON that saves, loads and shares the areas of one design.

::

    {
      "format": "cuspwise areas", "version": 2,
      "design_checksum": "…", "design_vertex_count": 30000, "design_area_mm2": 312.5,
      "spacing_mm": 0.1, "point_count": 95000,
      "settings": {…}, "insertion": [x, y, z],
      "margin_line": {"origin": "automatic", "digest": "…", "closed": true,
                      "points_mm": [[x, y, z], …]},
      "areas": {"occlusal": {"origin": "automatic", "digest": "…", "note": "…",
                             "runs": [first, count, …]},
                "mine": {"design_vertices": [0, 5, …]},
                "support: 1": {"centre_mm": [x, y, z], "radius_mm": 0.5}},
      "missing": {"contact_mesial": "…"},
      "points_mm": [[x, y, z], …]
    }

``runs`` are stretches of ``points_mm``, the evaluation points at the file's spacing, the design's
vertices first. An area may be given by ``design_vertices`` instead, or as all that lies within a
radius of a place along the surface; areas named ``support: …`` or ``sprue: …`` (in older files
``connector: …``) are support marks. A file belongs to a design by the places, not by their order:
it serves every copy of the design, however vertices and triangles are sorted there. Every entry but
the first two may be left out; a file without ``points_mm`` (all of version 1) counts on the order
of vertices by which ``design_checksum`` is made, and on ``spacing_mm`` and ``point_count``.

What a file does not hold, neither as an area nor as ``missing``, is found automatically. What was
changed in it is the user's, with no need to change anything else: an entry whose ``digest`` is
absent or does not belong to its numbers. A margin line of the user's makes all areas anew but
those of the user's.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..arrays import FloatArray
from ..atomic import atomic_write
from ..errors import AreaError, OtherDesignError, SettingError
from ..mesh.refine import EvaluationMesh
from ..progress import Progress, Steps, run, scaled
from .area_set import AreaSet, MarginLine
from .carry import Carrier
from .completion import completed_steps
from .entries import area_entry, line_entry, read_areas, read_line
from .settings import AreaSettings, checked_direction

FORMAT = "cuspwise areas"
VERSION = 2
READABLE = (1, 2)
_DECIMALS = 5  # of the places, mm


def save_areas(path: str | Path, area_set: AreaSet) -> Path:
    """Write an areas file, whole or not at all.

    Parameters
    ----------
    path : str or pathlib.Path
        JSON, whatever its ending.
    area_set : AreaSet

    Returns
    -------
    pathlib.Path
        The path written.

    Raises
    ------
    FileError
        The file cannot be written.

    Examples
    --------
    >>> import cuspwise
    >>> evaluation = cuspwise.evaluation_mesh(cuspwise.demo_crown(edge_mm=0.5).mesh, 0.5)
    >>> cuspwise.save_areas("areas.json", cuspwise.find_areas(evaluation)).name
    'areas.json'
    """
    text = json.dumps(areas_document(area_set), ensure_ascii=False, allow_nan=False)
    return atomic_write(path, text + "\n")


def areas_document(area_set: AreaSet) -> dict[str, Any]:
    """Return the content of an areas file."""
    return {
        "format": FORMAT,
        "version": VERSION,
        "design_checksum": area_set.evaluation.design.checksum,
        "design_vertex_count": len(area_set.evaluation.design.vertices),
        "design_area_mm2": area_set.evaluation.design.area_mm2,
        "spacing_mm": area_set.evaluation.spacing_mm,
        "point_count": len(area_set.evaluation.points),
        "settings": asdict(area_set.settings),
        "insertion": None if area_set.insertion is None else area_set.insertion.tolist(),
        "margin_line": line_entry(area_set.margin_line),
        "areas": {
            name: area_entry(area, area_set.area_mm2(name)) for name, area in area_set.areas.items()
        },
        "missing": dict(area_set.missing),
        "warnings": list(area_set.warnings),
        "points_mm": np.round(area_set.evaluation.points, _DECIMALS).tolist(),
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
        Areas and margin line that somebody replaced or changed have the origin "file"; what the
        file does not hold is found automatically, with its settings.

    Raises
    ------
    AreaError
        The file is not an areas file, is broken, or holds a line or a place off the surface.
    OtherDesignError
        It belongs to another design.

    Examples
    --------
    >>> import cuspwise
    >>> evaluation = cuspwise.evaluation_mesh(cuspwise.demo_crown(edge_mm=0.5).mesh, 0.5)
    >>> found = cuspwise.find_areas(evaluation)
    >>> again = cuspwise.load_areas(cuspwise.save_areas("areas.json", found), evaluation)
    >>> bool((again.areas["margin"].points == found.areas["margin"].points).all())
    True
    """
    return run(load_areas_steps(path, evaluation))


def margin_line_of_file(path: str | Path) -> MarginLine:
    """Read the margin line alone of an areas file, whatever the design.

    Parameters
    ----------
    path : str or pathlib.Path

    Raises
    ------
    AreaError
        The file is not an areas file, or holds no margin line that can be used.
    """
    document = _read(Path(path))
    try:
        line = read_line(document.get("margin_line"))
    except AreaError as problem:
        raise AreaError(problem.reason, subject=path, remedy=problem.remedy) from problem
    if line is None:
        raise AreaError(
            "It holds no margin line.",
            subject=path,
            remedy="Choose an areas file with a margin line, or a CSV file of points.",
        )
    return line


def load_areas_steps(path: str | Path, evaluation: EvaluationMesh) -> Steps[AreaSet]:
    """Read an areas file as :func:`load_areas` does, step by step."""
    yield Progress("Reading the areas", 0.0)
    document = _read(Path(path))
    try:
        return (yield from scaled(areas_of_document_steps(document, evaluation), 0.1, 1.0))
    except AreaError as problem:
        raise type(problem)(problem.reason, subject=path, remedy=problem.remedy) from problem


def areas_of_document_steps(
    document: Mapping[str, Any], evaluation: EvaluationMesh
) -> Steps[AreaSet]:
    """Return the areas that the content of an areas file holds, as :func:`load_areas` does.

    ``points_mm`` may be an array.

    Raises
    ------
    AreaError
        The content is broken, or holds a line or a place off the surface.
    OtherDesignError
        It belongs to another design.
    """
    try:
        carry = Carrier(document, evaluation)
        yield Progress("Comparing with the design", 0.1)
        _check_design(carry, evaluation)
        held = _held(document, evaluation, carry)
        return (yield from scaled(completed_steps(held), 0.2, 1.0))
    except (
        LookupError,
        TypeError,
        ValueError,
        ArithmeticError,
        AttributeError,
        SettingError,
    ) as problem:
        raise AreaError(
            f"An entry cannot be used ({problem}).",
            subject=evaluation.design.name,
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
    if document.get("version") not in READABLE:
        raise AreaError(
            f"It has version {document.get('version')}; this program reads versions up to "
            f"{VERSION}.",
            subject=path,
            remedy="Save the areas again with this version of the program.",
        )
    return document


def _check_design(carry: Carrier, evaluation: EvaluationMesh) -> None:
    if not carry.belongs():
        raise OtherDesignError(
            f"Its areas were made on another design than {evaluation.design.name}.{carry.why_not}",
            subject=evaluation.design.name,
            remedy="Choose the design that the areas were made on, or find the areas anew.",
        )


def _held(document: Mapping[str, Any], evaluation: EvaluationMesh, carry: Carrier) -> AreaSet:
    """Return what the content of an areas file holds itself."""
    areas = {area.name: area for area in read_areas(document, carry)}
    missing = {str(name): str(why) for name, why in (document.get("missing") or {}).items()}
    return AreaSet(
        evaluation=evaluation,
        areas=areas,
        margin_line=read_line(document.get("margin_line")),
        insertion=_insertion(document.get("insertion")),
        missing={name: why for name, why in missing.items() if name not in areas},
        warnings=tuple(str(text) for text in document.get("warnings") or ()),
        settings=_settings(document.get("settings") or {}),
    )


def _insertion(given: Any) -> FloatArray | None:
    if given is None:
        return None
    direction = np.array(checked_direction("insertion", given))
    unit: FloatArray = direction / np.linalg.norm(direction)
    return unit


def _settings(given: Mapping[str, Any]) -> AreaSettings:
    names = {field.name for field in fields(AreaSettings)}
    unknown = sorted(set(given) - names)
    if unknown:
        raise ValueError(f"unknown settings: {', '.join(unknown)}")
    return replace(AreaSettings(), **given)
