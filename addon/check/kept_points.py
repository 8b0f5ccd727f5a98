"""The points of a result, kept as a mesh of points and edges: what it takes to judge them anew.

Judging by other tolerances, and measuring support marks made later, need what was measured at
every point of design and scan, and the areas. The design's points are the mesh; what belongs to
them lies in its attributes, and the scan's side in arrays that the mesh carries.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.areas.area_set import Area, AreaSet, MarginLine
from ...standalone_core.deviation.field import DeviationField
from ...standalone_core.deviation.margin_directions import Directions
from ...standalone_core.deviation.margin_profile import MarginProfile
from ...standalone_core.deviation.margin_summary import MarginSummary
from ...standalone_core.deviation.settings import DeviationSettings, MarginProfileSettings
from ...standalone_core.deviation.verdict import ScanEvidence, evidence_from
from ...standalone_core.mesh.refine import EvaluationMesh
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ...standalone_core.progress import Progress, Steps
from ..blender import bridge
from ..identifiers import POINT_AREAS, POINT_DEVIATION, POINT_STATUS, POINT_WEIGHT, RESULT_MESH_NAME
from .scene_choices import deviation_settings

if TYPE_CHECKING:
    from ...standalone_core.check_result import CheckResult

BITS = 31  # areas to an attribute: Blender's whole numbers have 32 bits, one of them the sign
STATUS_BITS = 3  # a scan point's status lies in one number with the design point below it
MARGIN_LINE = "margin_line"
SCAN_ARRAYS = (
    "points",
    "faces",
    POINT_DEVIATION,
    POINT_STATUS,
    "unmatched_point",
    "unmatched_mm",
)
PROFILE_ARRAYS = (
    "place_mm",
    "angle_deg",
    "points_mm",
    "deviation_um",
    "vertical_um",
    "horizontal_um",
    "flash_um",
    "counted",
    "edge_seen",
)


@dataclass(frozen=True, eq=False)
class KeptPoints:
    """What was measured, as the core's own results.

    Attributes
    ----------
    there, back : DeviationField
        From design to scan, and from scan to design.
    area_set : AreaSet
        Its evaluation mesh has edges only.
    evidence : ScanEvidence
        What is known of the scan beside its deviations.
    """

    there: DeviationField
    back: DeviationField
    area_set: AreaSet
    evidence: ScanEvidence

    @property
    def fields(self) -> tuple[DeviationField, DeviationField]:
        """The deviations in both directions."""
        return self.there, self.back


# Writing -------------------------------------------------------------------------------------


def write_steps(result: CheckResult, edges: np.ndarray) -> Steps[bpy.types.Mesh]:
    """Keep what a check measured; ``edges`` (e, 2) are those between the design's points.

    Deviations and heights, which limits are compared with, are kept as they are; places and
    weights in single precision.
    """
    field = result.design_to_scan
    keeping = Progress("Keeping the result", 0.5)
    yield keeping
    mesh = bridge.new_mesh(RESULT_MESH_NAME, field.points_mm, edges=edges)
    yield keeping
    bridge.write_array(mesh, POINT_DEVIATION, field.deviation_mm, np.float64)
    bridge.write_attribute(mesh, POINT_WEIGHT, "FLOAT", field.weights_mm2)
    bridge.write_attribute(mesh, POINT_STATUS, "INT", field.status)
    write_areas(mesh, result.area_set.areas)
    for name, values, kind in _scan_arrays(result.scan_to_design):
        yield keeping
        bridge.write_array(mesh, f"scan {name}", values, kind)
    yield keeping
    if result.area_set.margin_line is not None:
        bridge.write_array(mesh, MARGIN_LINE, result.area_set.margin_line.points_mm, np.float64)
    if result.margin_profile is not None:
        for name in PROFILE_ARRAYS:
            values = getattr(result.margin_profile, name)
            bridge.write_array(mesh, f"margin {name}", values, np.float64)
    return mesh


def write_areas(mesh: bpy.types.Mesh, areas: Mapping[str, Area]) -> None:
    """Keep which areas hold the points, in the place of those kept before."""
    members = [area.points for area in areas.values()]
    for first in range(0, len(members), BITS):
        inside = np.zeros(len(mesh.vertices), dtype=np.int32)
        for bit, points in enumerate(members[first : first + BITS]):
            inside |= points.astype(np.int32) << np.int32(bit)
        bridge.write_attribute(mesh, _areas_attribute(first), "INT", inside)


def _scan_arrays(back: DeviationField) -> Iterator[tuple[str, np.ndarray, type]]:
    """Yield what is kept of the scan's side, and as which kind of number."""
    assert back.faces is not None  # it was measured
    assert back.unmatched_mm is not None
    standing = np.flatnonzero(np.isfinite(back.unmatched_mm))
    below = back.area_point.astype(np.int32) << np.int32(STATUS_BITS)
    arrays = (
        (back.points_mm, np.float32),
        (back.faces, np.int32),
        (back.deviation_mm, np.float64),
        (below | back.status, np.int32),
        (standing, np.int32),
        (back.unmatched_mm[standing], np.float64),
    )
    for name, (values, kind) in zip(SCAN_ARRAYS, arrays, strict=True):
        yield name, values, kind


def document(result: CheckResult) -> dict[str, Any]:
    """Return what belongs to the points and is no array, as plain data."""
    line, profile = result.area_set.margin_line, result.margin_profile
    kept: dict[str, Any] = {
        "areas": list(result.area_set.areas),
        "margin_closed": line is None or line.closed,
    }
    if profile is not None:
        directions = profile.directions
        kept["directions"] = {
            "zero": directions.zero.tolist(),
            "quarter": directions.quarter.tolist(),
            "zero_name": directions.zero_name,
            "buccal_deg": directions.buccal_deg if np.isfinite(directions.buccal_deg) else None,
        }
    return kept


# Reading -------------------------------------------------------------------------------------


def deviations(mesh: bpy.types.Mesh | None) -> tuple[np.ndarray, np.ndarray] | None:
    """Return deviations (mm) and weights (mm²) at the points; None if they are not there."""
    if mesh is None:
        return None
    deviation = bridge.read_array(mesh, POINT_DEVIATION)
    weight = bridge.read_attribute(mesh, POINT_WEIGHT)
    return None if deviation is None or weight is None else (deviation, weight)


Raw = dict[str, np.ndarray]


def read(mesh: bpy.types.Mesh, kept: Mapping[str, Any]) -> KeptPoints:
    """Return the kept points as the core's own results, with what their scan's result says."""
    return made(raw(mesh, kept), kept)


def raw(mesh: bpy.types.Mesh, kept: Mapping[str, Any]) -> Raw:
    """Return the arrays of a mesh of points as they lie there, to be made use of in a thread."""
    found = {
        "points": bridge.positions(mesh),
        "edges": bridge.edges_of(mesh),
        POINT_WEIGHT: np.asarray(bridge.read_attribute(mesh, POINT_WEIGHT)),
        POINT_STATUS: np.asarray(bridge.read_attribute(mesh, POINT_STATUS)),
    }
    for first in range(0, len(kept["areas"]), BITS):
        name = _areas_attribute(first)
        found[name] = np.asarray(bridge.read_attribute(mesh, name))
    for name in (POINT_DEVIATION, MARGIN_LINE, *(f"scan {part}" for part in SCAN_ARRAYS)):
        values = bridge.read_array(mesh, name)
        if values is not None:
            found[name] = values
    return found


def made(found: Raw, kept: Mapping[str, Any]) -> KeptPoints:
    """Return arrays as the core's own results; touches nothing of Blender's."""
    points = found["points"].astype(np.float64)
    settings = deviation_settings(kept["choices"])
    there = DeviationField(
        direction="design_to_scan",
        points_mm=points,
        deviation_mm=found[POINT_DEVIATION],
        status=found[POINT_STATUS].astype(np.uint8),
        weights_mm2=found[POINT_WEIGHT].astype(np.float64),
        area_point=np.arange(len(points)),
        settings=settings,
    )
    # Measures ask for points and areas only, patches for edges: each as a face without area.
    bare = TriangleMesh(points, found["edges"][:, [0, 1, 1]], RESULT_MESH_NAME)
    no_face = np.full(len(points), -1)
    evaluation = EvaluationMesh(
        bare, bare, np.zeros(0, dtype=np.int64), no_face, np.zeros((len(points), 3)), 1.0
    )
    line = found.get(MARGIN_LINE)
    area_set = AreaSet(
        evaluation=evaluation,
        areas=_areas(found, kept["areas"]),
        margin_line=None
        if line is None
        else MarginLine(line.reshape(-1, 3), closed=kept["margin_closed"]),
        missing=kept["check"]["missing_areas"],
    )
    return KeptPoints(there, _made_scan(found, settings), area_set, _evidence(kept["check"]))


def _evidence(document: Mapping[str, Any]) -> ScanEvidence:
    """Return what a result's document says of the scan."""
    margin = document["margin_profile"]
    summary = None if margin["reason"] else _numbers_of(MarginSummary, margin)
    # Results kept by earlier versions say nothing of facet sag, nor of doubts.
    sags, doubt = document.get("facet_sag", ()), document.get("doubt", "")
    return evidence_from(
        document["is_design"], document["layers"], summary, facet_sag=sags, doubt=doubt
    )


def _numbers_of(kind: type, document: Mapping[str, Any]) -> dict[str, Any]:
    return {field.name: _number(document[field.name]) for field in fields(kind)}


def _made_scan(found: Raw, settings: DeviationSettings) -> DeviationField:
    points = found["scan points"].reshape(-1, 3).astype(np.float64)
    faces = found["scan faces"].reshape(-1, 3).astype(np.int64)
    packed = found[f"scan {POINT_STATUS}"]
    unmatched = np.full(len(points), np.nan)
    unmatched[found["scan unmatched_point"]] = found["scan unmatched_mm"]
    return DeviationField(
        direction="scan_to_design",
        points_mm=points,
        deviation_mm=found[f"scan {POINT_DEVIATION}"],
        status=(packed & ((1 << STATUS_BITS) - 1)).astype(np.uint8),
        weights_mm2=TriangleMesh(points, faces).vertex_areas,
        area_point=(packed >> np.int32(STATUS_BITS)).astype(np.int64),
        settings=settings,
        faces=faces,
        unmatched_mm=unmatched,
    )


def read_profile(mesh: bpy.types.Mesh | None, kept: Mapping[str, Any]) -> MarginProfile | None:
    """Return the kept profile along the margin line; None without one."""
    if mesh is None or "directions" not in kept:
        return None
    arrays = {name: _array(mesh, f"margin {name}") for name in PROFILE_ARRAYS}
    arrays["points_mm"] = arrays["points_mm"].reshape(-1, 3)
    for name in ("counted", "edge_seen"):
        arrays[name] = arrays[name].astype(bool)
    document, found = kept["check"]["margin_profile"], kept["directions"]
    profile = MarginProfile(
        **arrays,
        beyond=np.zeros_like(arrays["counted"]),
        step_mm=document["step_mm"],
        closed=document["closed"],
        directions=Directions(
            np.array(found["zero"]),
            np.array(found["quarter"]),
            found["zero_name"],
            _number(found["buccal_deg"]),
        ),
        summary=MarginSummary(**_numbers_of(MarginSummary, document)),
        settings=MarginProfileSettings(**document["settings"]),
    )
    return profile.with_tolerance(profile.summary.tolerance_um)


def _array(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    values = bridge.read_array(mesh, name)
    return np.zeros(0) if values is None else values


def _number(value: Any) -> Any:
    return np.nan if value is None else value


def _areas(found: Raw, names: Sequence[str]) -> dict[str, Area]:
    """Return the areas of these names, in the order in which they were written."""
    areas = {}
    for number, name in enumerate(names):
        inside = found[_areas_attribute(number)] >> np.int32(number % BITS) & 1
        areas[name] = Area(name, inside.astype(bool))
    return areas


def _areas_attribute(number: int) -> str:
    """Return the attribute that holds an area, by the area's number."""
    return POINT_AREAS if number < BITS else f"{POINT_AREAS} {number // BITS + 1}"
