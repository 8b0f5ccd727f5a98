"""The points of a result, kept as a mesh of points and edges: what it takes to judge them anew.

Judging by other tolerances, and measuring support contacts marked later, need deviations, weights
and areas at every point. All of it lies in attributes of a mesh that the scan points to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import bpy
import numpy as np

from ..standalone_core.areas.area_set import Area, AreaSet
from ..standalone_core.deviation.field import DeviationField, DeviationSettings
from ..standalone_core.mesh.refine import EvaluationMesh
from ..standalone_core.mesh.triangle_mesh import TriangleMesh
from . import bridge
from .identifiers import (
    POINT_AREAS,
    POINT_DEVIATION,
    POINT_STATUS,
    POINT_WEIGHT,
    RESULT_MESH_NAME,
)

BITS = 31  # areas to an attribute: Blender's whole numbers have 32 bits, one of them the sign


def write(field: DeviationField, edges: np.ndarray, areas: Mapping[str, Area]) -> bpy.types.Mesh:
    """Keep deviations at points, the edges (e, 2) between these, and which areas hold them."""
    mesh = bridge.new_mesh(RESULT_MESH_NAME, field.points_mm, edges=edges)
    bridge.write_attribute(mesh, POINT_DEVIATION, "FLOAT", field.deviation_mm)
    bridge.write_attribute(mesh, POINT_WEIGHT, "FLOAT", field.weights_mm2)
    bridge.write_attribute(mesh, POINT_STATUS, "INT", field.status)
    members = [area.points for area in areas.values()]
    for first in range(0, len(members), BITS):
        inside = np.zeros(len(field), dtype=np.int32)
        for bit, points in enumerate(members[first : first + BITS]):
            inside |= points.astype(np.int32) << np.int32(bit)
        bridge.write_attribute(mesh, _areas_attribute(first), "INT", inside)
    return mesh


def deviations(mesh: bpy.types.Mesh | None) -> tuple[np.ndarray, np.ndarray] | None:
    """Return deviations (mm) and weights (mm²) at the points; None if they are not there."""
    if mesh is None:
        return None
    deviation = bridge.read_attribute(mesh, POINT_DEVIATION)
    weight = bridge.read_attribute(mesh, POINT_WEIGHT)
    return None if deviation is None or weight is None else (deviation, weight)


def read(mesh: bpy.types.Mesh, kept: Mapping[str, Any]) -> tuple[DeviationField, AreaSet]:
    """Return the kept points as the core's own results, with what their scan's result says."""
    points = bridge.positions(mesh).astype(np.float64)
    values = {
        name: np.asarray(bridge.read_attribute(mesh, name))
        for name in (POINT_DEVIATION, POINT_WEIGHT, POINT_STATUS)
    }
    field = DeviationField(
        direction="design_to_scan",
        points_mm=points,
        deviation_mm=values[POINT_DEVIATION].astype(np.float64),
        status=values[POINT_STATUS].astype(np.uint8),
        weights_mm2=values[POINT_WEIGHT].astype(np.float64),
        area_point=np.arange(len(points)),
        settings=DeviationSettings(search_mm=kept["choices"]["search_mm"]),
    )
    # Measures ask for points and areas only, patches for edges: each as a face without area.
    edges = bridge.edges_of(mesh)
    bare = TriangleMesh(points, edges[:, [0, 1, 1]], mesh.name)
    no_face = np.full(len(points), -1)
    evaluation = EvaluationMesh(
        bare, bare, np.zeros(0, dtype=np.int64), no_face, np.zeros((len(points), 3)), 1.0
    )
    areas = _areas(mesh, kept["areas"])
    missing = kept["check"]["missing_areas"]
    return field, AreaSet(evaluation=evaluation, areas=areas, missing=missing)


def _areas(mesh: bpy.types.Mesh, names: Sequence[str]) -> dict[str, Area]:
    """Return the areas of these names, in the order in which they were written."""
    found = {}
    for number, name in enumerate(names):
        inside = np.asarray(bridge.read_attribute(mesh, _areas_attribute(number)))
        found[name] = Area(name, (inside >> np.int32(number % BITS) & 1).astype(bool))
    return found


def _areas_attribute(number: int) -> str:
    """Return the attribute that holds an area, by the area's number."""
    return POINT_AREAS if number < BITS else f"{POINT_AREAS} {number // BITS + 1}"
