"""Areas files: JSON that saves, loads and shares the areas of one design.

::

    {
      "format": "cuspwise areas", "version": 1,
      "design_checksum": "…", "spacing_mm": 0.1, "point_count": 95000,
      "settings": {…}, "insertion": [x, y, z],
      "margin_line": {"origin": "automatic", "digest": "…", "closed": true,
                      "points_mm": [[x, y, z], …]},
      "areas": {"occlusal": {"origin": "automatic", "digest": "…", "note": "…",
                             "runs": [first, count, …]},
                "mine": {"design_vertices": [0, 5, …]}},
      "missing": {"contact_mesial": "…"}
    }

``runs`` are stretches of evaluation points at the file's spacing. An area may be given by
``design_vertices`` instead. Every entry but the first three may be left out (``runs`` need
``spacing_mm`` and ``point_count``).

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

from ..atomic import atomic_write
from ..errors import AreaError, SettingError
from ..mesh.refine import EvaluationMesh
from ..mesh.triangle_mesh import FloatArray
from ..progress import run
from .area_set import AREA_NAMES, AreaSet, MarginLine
from .entries import area_entry, line_entry, read_areas, read_line
from .find import areas_of_layout_steps
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
    return {
        "format": FORMAT,
        "version": VERSION,
        "design_checksum": area_set.evaluation.design.checksum,
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
        The file is not an areas file, is broken, or belongs to another design.
    """
    document = _read(Path(path))
    _check_design(document, evaluation, path)
    try:
        return _areas_from(document, evaluation)
    except AreaError as problem:
        raise AreaError(problem.reason, subject=path, remedy=problem.remedy) from problem
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
    line = read_line(document.get("margin_line"))
    areas = {area.name: area for area in read_areas(document, evaluation)}
    missing = {str(name): str(why) for name, why in (document.get("missing") or {}).items()}
    missing = {name: why for name, why in missing.items() if name not in areas}
    held = AreaSet(
        evaluation=evaluation,
        areas=areas,
        margin_line=line,
        insertion=_insertion(document.get("insertion")),
        missing=missing,
        warnings=tuple(str(text) for text in document.get("warnings") or ()),
        settings=settings,
    )
    if line is not None and line.origin == "file":
        anew = _found(held, line)
        return anew.replaced(area for area in areas.values() if area.origin == "file")
    return held if _is_whole(held) else _completed(held)


def _is_whole(held: AreaSet) -> bool:
    """Tell whether nothing is left to be found."""
    return (
        {*held.areas, *held.missing}.issuperset(AREA_NAMES)
        and (held.margin_line is not None or "margin" in held.missing)
        and (held.insertion is not None or "occlusal" in held.missing)
    )


def _completed(held: AreaSet) -> AreaSet:
    """Add what a file does not hold to what it holds."""
    found = _found(held, None)
    areas = {name: area for name, area in found.areas.items() if name not in held.missing}
    areas |= held.areas
    missing = {**found.missing, **held.missing}
    return replace(
        found,
        areas=areas,
        margin_line=held.margin_line or found.margin_line,
        missing={name: why for name, why in missing.items() if name not in areas},
    )


def _found(held: AreaSet, line: MarginLine | None) -> AreaSet:
    """Find all areas, along a margin line and a path of insertion if these are given."""
    evaluation, settings = held.evaluation, held.settings
    layout = run(find_layout_steps(evaluation, settings))
    if held.insertion is not None and settings.insertion is None:
        layout = replace(layout, insertion=held.insertion)
    if line is not None:
        layout = with_margin_line(evaluation, layout, line)
    return run(areas_of_layout_steps(evaluation, layout, settings))


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
