"""A coarse crown with its areas, and how areas files are written by hand, for several tests."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from cuspwise.standalone_core.areas.area_set import AreaSet, AreaSettings
from cuspwise.standalone_core.areas.files import areas_document
from cuspwise.standalone_core.areas.find import find_areas
from cuspwise.standalone_core.mesh.refine import EvaluationMesh, evaluation_mesh
from made.crowns import demo_crown

SETTINGS = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), margin_band_mm=0.8)


@cache
def crown_points() -> EvaluationMesh:
    """The demo crown and its evaluation points."""
    return evaluation_mesh(demo_crown(0.3).mesh, 0.15)


@cache
def crown_areas() -> AreaSet:
    """Its areas as they are found."""
    return find_areas(crown_points(), SETTINGS)


@cache
def _crown_text() -> str:
    return json.dumps(areas_document(crown_areas()))


def crown_document() -> dict[str, Any]:
    """The content of their areas file, to be changed at will."""
    document: dict[str, Any] = json.loads(_crown_text())
    return document


def write(path: Path, document: Any) -> Path:
    """Write a document as JSON; return its path."""
    path.write_text(json.dumps(document), encoding="utf-8")
    return path


def as_version_1(document: dict[str, Any]) -> dict[str, Any]:
    """The same file as the first version wrote it: it counts on the order of the vertices."""
    new = ("points_mm", "design_vertex_count", "design_area_mm2")
    return {name: value for name, value in document.items() if name not in new} | {"version": 1}


def overlap(area_set: AreaSet, one: np.ndarray, other: np.ndarray) -> float:
    """Share of the surface of two areas together that belongs to both."""
    weights = area_set.evaluation.weights_mm2
    return float(weights[one & other].sum() / weights[one | other].sum())
