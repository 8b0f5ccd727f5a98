"""Results as plain data for JSON: strict, without NaN, with a schema version."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import numpy as np

from ...causes.document import causes_document
from ...deviation.margin_profile import why_no_margin_profile
from ...records import plain
from .sentences import SIGN

if TYPE_CHECKING:
    from ...areas.area_set import AreaSet
    from ...check_result import CheckResult
    from ...checked_mesh import CheckedMesh
    from ...mesh.files import MeshFile
    from ...mesh.intersections import SelfIntersections
    from ...mesh.repair import Repair

CHECK_SCHEMA_VERSION = 2
SCHEMA_VERSION = 1
"""Raised when a name changes or goes; the second one is that of areas and health."""


def check_document(result: CheckResult) -> dict[str, Any]:
    """Return a check as plain data, ready for ``json.dumps(…, allow_nan=False)``.

    Numbers that do not exist are None. Files are named without their folders.
    """
    return {
        "schema": "cuspwise check",
        "schema_version": CHECK_SCHEMA_VERSION,
        "versions": dict(result.versions),
        "sign": SIGN,
        "design": _surface(result.design, result.origins.get("design")),
        "scan": _surface(result.scan, result.origins.get("scan")),
        "settings": plain(result.settings),
        "direction": result.settings.direction,
        "T_design_scan": plain(result.superimposition.T_design_scan),
        "superimposition": _without(plain(result.superimposition), "settings", "T_design_scan"),
        "areas": areas_document(result.area_set)["areas"],
        "missing_areas": dict(result.area_set.missing),
        "insertion": plain(result.area_set.insertion),
        "margin_line": _margin_line(result.area_set),
        "status_shares": {field.direction: plain(field.status_shares) for field in result.fields},
        "measures": plain(result.measures),
        "verdicts": plain(result.verdicts),
        "patches": plain(result.patches),
        "is_design": result.is_design,
        "doubt": result.doubt,
        "layers": plain(result.layers),
        "unmatched": plain(result.unmatched),
        "facet_sag": plain(result.facet_sag),
        "marks": plain(result.marks),
        "margin_profile": margin_document(result),
        **_causes(result),
        "warnings": list(result.warnings),
        "seconds": {stage: round(spent, 4) for stage, spent in result.seconds.items()},
    }


def margin_document(result: CheckResult) -> dict[str, Any]:
    """Return what the margin profile comes to; ``reason`` says why there is none.

    The places themselves are in ``margin_profile.csv``.
    """
    profile = result.margin_profile
    if profile is None:
        return {"reason": why_no_margin_profile(result.area_set)}
    directions = profile.directions
    return {
        "reason": "",
        "places": len(profile),
        "step_mm": profile.step_mm,
        "closed": profile.closed,
        "angle_from": directions.zero_name,
        "zero_direction": plain(directions.zero),
        "buccal_deg": plain(directions.buccal_deg),
        "settings": plain(profile.settings),
        **plain(profile.summary),
    }


def _causes(result: CheckResult) -> dict[str, Any]:
    """Return why a crown deviates: all None if causes were not looked for.

    ``causes`` and ``correction`` by themselves, everything else that goes with them as ``why``.
    """
    if result.causes is None:
        return {"causes": None, "correction": None, "why": None}
    found = causes_document(result.causes)
    told_already = ("causes", "correction", "production", "settings")
    return {
        "causes": found["causes"],
        "correction": found["correction"],
        "why": _without(found, *told_already),
    }


def areas_document(area_set: AreaSet) -> dict[str, Any]:
    """Return a design's areas as plain data (their sizes, not their points)."""
    return {
        "schema": "cuspwise areas summary",
        "schema_version": SCHEMA_VERSION,
        "design": area_set.evaluation.design.name,
        "checksum": area_set.evaluation.design.checksum,
        "spacing_mm": area_set.evaluation.spacing_mm,
        "areas": [
            {
                "name": area.name,
                "area_mm2": round(area_set.area_mm2(area.name), 6),
                "points": int(np.count_nonzero(area.points)),
                "origin": area.origin,
                "note": area.note,
            }
            for area in area_set.areas.values()
        ],
        "missing_areas": dict(area_set.missing),
        "insertion": plain(area_set.insertion),
        "margin_line": _margin_line(area_set),
        "warnings": list(area_set.warnings),
        "settings": plain(area_set.settings),
    }


def health_document(
    mesh_file: MeshFile, repair: Repair, intersections: SelfIntersections
) -> dict[str, Any]:
    """Return the health of a mesh file as plain data."""
    return {
        "schema": "cuspwise health",
        "schema_version": SCHEMA_VERSION,
        "file": _file(mesh_file),
        "health": plain(repair.health),
        "self_intersections": plain(intersections),
        "repairs": list(repair.actions),
        "warnings": list(repair.warnings),
    }


def _surface(part: CheckedMesh, origin: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what a surface is; ``origin`` in the place of its file, if it was read from none."""
    return {
        "name": part.mesh.name,
        "checksum": part.mesh.checksum,
        "file": plain(origin) if part.file is None else _file(part.file),
        "health": plain(part.repair.health),
        "repairs": list(part.repair.actions),
        "warnings": list(part.repair.warnings),
    }


def _file(mesh_file: MeshFile) -> dict[str, Any]:
    names = [field.name for field in fields(mesh_file) if field.name != "mesh"]
    return {name: plain(getattr(mesh_file, name)) for name in names}


def _margin_line(area_set: AreaSet) -> dict[str, Any] | None:
    line = area_set.margin_line
    if line is None:
        return None
    return {
        "length_mm": round(line.length_mm, 6),
        "closed": line.closed,
        "origin": line.origin,
        "points": len(line.points_mm),
    }


def _without(values: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name not in names}
