"""Results kept in the .blend, on the scan they belong to.

The scan object carries the result as text (the same document as ``check.json``, with what is
needed to repeat the check), the measured points as a mesh of points only, and its deviations as
an attribute of its mesh; the design carries one attribute per scan. All of it goes with the
object through saving, renaming, copying and appending. A result is out of date once a mesh, the
pose or the edited areas differ from those it was made with.
"""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.deviation.direction import DESIGN_TO_SCAN, Direction
from ...standalone_core.deviation.verdict import Verdict
from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Progress, Steps, run, scaled
from ...standalone_core.records import plain
from ...standalone_core.report.check.sentences import patch_limit_um, superimposition_lines
from ..areas import area_groups, margin_curve, support_marks
from ..blender import bridge, frames, updates
from ..blender.session import mesh_of, persistent
from ..identifiers import (
    OBJECT_PROPERTIES,
    SCENE_PROPERTIES,
    deviation_attribute,
    unmatched_attribute,
)
from . import attributes, kept_points, placement, verdict_lines
from .scene_choices import other_choices

if TYPE_CHECKING:
    from ...standalone_core.check_result import CheckResult
    from ...standalone_core.deviation.margin_profile import MarginProfile
    from ...standalone_core.superimpose.result import Superimposition
    from .inputs import DesignInput, ScanInput
    from .kept_points import KeptPoints

VERSION = 4
PATCHES_LISTED = 1000
AREAS_EDITED = "The areas were edited."


def data_of(obj: bpy.types.Object) -> Any:
    """Return what Cuspwise keeps on an object."""
    return getattr(obj, OBJECT_PROPERTIES)


def listed_scans(scene: bpy.types.Scene) -> Iterator[bpy.types.Object]:
    """Yield the scans of a scene's list that still are in the scene."""
    for item in getattr(scene, SCENE_PROPERTIES).scans:
        if item.scan is not None and is_in(item.scan, scene):
            yield item.scan


def is_in(obj: bpy.types.Object | None, scene: bpy.types.Scene) -> bool:
    """Tell whether an object is in a scene: a deleted one may live on in what points to it."""
    return obj is not None and scene in obj.users_scene


def result_of(scan: bpy.types.Object) -> dict[str, Any] | None:
    """Return a scan's kept result; None without one, or from a version not known here."""
    text = data_of(scan).result
    if not text:
        return None
    kept: dict[str, Any] = json.loads(text)
    return kept if kept.get("version") == VERSION else None


def shown_result_of(scan: bpy.types.Object) -> Mapping[str, Any] | None:
    """Return a scan's kept result for looking at only: it is not read anew at every drawing."""
    text = data_of(scan).result
    kept = _parsed(text) if text else None
    return kept if kept and kept.get("version") == VERSION else None


@lru_cache(maxsize=8)
def _parsed(text: str) -> Mapping[str, Any]:
    kept: Mapping[str, Any] = json.loads(text)
    return kept


def rows_of(kept: Mapping[str, Any], direction: Direction | None = None) -> list[dict[str, Any]]:
    """Return the measures of a direction, a row per area; missing numbers as NaN.

    Of the one that is judged first, if none is given.
    """
    wanted = direction or direction_of(kept)
    return [_numbers(row) for row in kept["check"]["measures"] if row["direction"] == wanted]


def direction_of(kept: Mapping[str, Any]) -> Direction:
    """Return the direction that a kept result is judged in first."""
    rules: Mapping[str, Direction] = kept["choices"].get("verdicts", {})
    return rules.get("direction", DESIGN_TO_SCAN)


def verdicts_of(kept: Mapping[str, Any]) -> list[Verdict]:
    """Return the verdicts of a kept result, one per area."""
    return [Verdict(**_numbers(row)) for row in kept["check"]["verdicts"]]


def _numbers(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: math.nan if value is None else value for name, value in row.items()}


# Keeping -------------------------------------------------------------------------------------


def keep(
    design: DesignInput,
    scan: ScanInput,
    result: CheckResult,
    choices: Mapping[str, Any],
    scene: bpy.types.Scene,
) -> None:
    """Keep a check's result on the scan, which lies in its place by now."""
    run(keep_steps(design, scan, result, choices, scene))


def keep_steps(
    design: DesignInput,
    scan: ScanInput,
    result: CheckResult,
    choices: Mapping[str, Any],
    scene: bpy.types.Scene,
) -> Steps[None]:
    """Keep a result as :func:`keep` does, step by step."""
    yield Progress("Keeping the result", 0.0)
    edges = result.evaluation.mesh.graph.edges
    yield Progress("Keeping the result", 0.2)
    points = yield from scaled(kept_points.write_steps(result, edges), 0.2, 0.4)
    data = data_of(scan.scan)
    forget(scan.scan, scene)
    result_id = uuid.uuid4().hex[:8]
    yield from scaled(attributes.write_steps(design, scan, result, result_id), 0.4, 0.8)
    kept = _kept(design, scan, result, choices)
    yield Progress("Keeping the result", 0.9)
    data.design = design.design
    data.result_id = result_id
    data.result_points = points
    data.result = json.dumps(kept)
    data.areas_measured = area_groups.listing(design.design)
    note_verdict(scan.scan, kept)
    list_patches(scan.scan, kept)
    keep_superimposition(scan.scan, result.superimposition)
    data.marks_out_of_date = False
    _set_state(scan.scan, "CURRENT", "")


def _kept(
    design: DesignInput, scan: ScanInput, result: CheckResult, choices: Mapping[str, Any]
) -> dict[str, Any]:
    """Return a result and what it was made with, as plain data."""
    from ...standalone_core.report.check.document import check_document

    return {
        "version": VERSION,
        "choices": dict(choices),
        **kept_points.document(result),
        "patch_limit_um": plain(patch_limit_um(result.settings)),
        "judged_warnings": list(result.judged_warnings),
        "made_with": {
            "design": design.checksum,
            "scan": scan.checksum,
            "design_linear": design.local_to_mm[:3, :3].tolist(),
            "areas": design.areas.checksum,
            "margin_line": margin_curve.fingerprint(design.design),
            "marks": support_marks.checksum(design.design, design.areas.groups),
            "scan_before": scan.local_to_mm.tolist(),
            "scan_after": design.frame.local_to_mm(scan.scan).tolist(),
        },
        "check": support_marks.without_marks(check_document(result)),
    }


def keep_superimposition(scan: bpy.types.Object, found: Superimposition) -> None:
    """Keep how a scan was laid on its design and how far to trust that."""
    document = {
        "version": VERSION,
        "verdict": found.verdict,
        "reason": found.reason,
        "rms_um": 1e3 * found.rms_mm,
        "lines": list(superimposition_lines(found)),
        "warnings": list(found.warnings),
        "T_design_scan": plain(found.T_design_scan),
    }
    data_of(scan).superimposition = json.dumps(document)


def superimposition_of(scan: bpy.types.Object) -> dict[str, Any] | None:
    """Return how a scan was laid on its design; None if it was not."""
    text = data_of(scan).superimposition
    kept: dict[str, Any] | None = json.loads(text) if text else None
    return kept if kept and kept.get("version") == VERSION else None


def forget(scan: bpy.types.Object, scene: bpy.types.Scene) -> None:
    """Drop a scan's result, and its attributes where no copy of the scan needs them."""
    data = data_of(scan)
    result_id, points, design = data.result_id, data.result_points, data.design
    data.result_id, data.result, data.result_points, data.problem = "", "", None, ""
    data.verdict = data.areas_measured = ""
    data.patches.clear()
    _set_state(scan, "NONE", "")
    if not result_id or any(data_of(o).result_id == result_id for o in bpy.data.objects):
        return
    for obj in (scan, design):
        if obj is not None and obj.type == "MESH" and not mesh_of(obj).library:
            for name in (deviation_attribute(result_id), unmatched_attribute(result_id)):
                bridge.drop_attribute(mesh_of(obj), name)
    if points is not None and points.users == 0:
        bpy.data.meshes.remove(points)


# What was measured ---------------------------------------------------------------------------


def kept_of(scan: bpy.types.Object) -> KeptPoints | None:
    """Return what was measured at all points of a result; None without a result."""
    kept, mesh = result_of(scan), data_of(scan).result_points
    return None if kept is None or mesh is None else kept_points.read(mesh, kept)


def profile_of(scan: bpy.types.Object) -> MarginProfile | None:
    """Return a result's profile along the margin line; None without one."""
    kept = result_of(scan)
    return None if kept is None else kept_points.read_profile(data_of(scan).result_points, kept)


def points_of(scan: bpy.types.Object) -> tuple[np.ndarray, np.ndarray] | None:
    """Return deviations (mm) and weights (mm²) at a result's points; None without a result."""
    return kept_points.deviations(data_of(scan).result_points)


def note_verdict(scan: bpy.types.Object, kept: Mapping[str, Any]) -> None:
    """Note which verdict decides about a scan, so that lists need not read its result."""
    data_of(scan).verdict = verdict_lines.deciding(verdicts_of(kept))


def list_patches(scan: bpy.types.Object, kept: Mapping[str, Any]) -> None:
    """Fill the scan's list of patches outside the tolerance, worst first."""
    patches = data_of(scan).patches
    patches.clear()
    for found in kept["check"]["patches"][:PATCHES_LISTED]:
        patch = patches.add()
        patch.peak_um, patch.area_mm2 = found["peak_um"], found["area_mm2"]
        patch.where = ",".join(found["areas"])
        patch.unmatched, patch.seen_from = found["unmatched"], found["seen_from"]


# Out of date or not ---------------------------------------------------------------------------


def refresh(scan: bpy.types.Object, scene: bpy.types.Scene, *, with_areas: bool = False) -> bool:
    """Bring a scan's state up to date; return whether its result is current.

    Parameters
    ----------
    scan : bpy.types.Object
    scene : bpy.types.Scene
    with_areas : bool
        Look at the edited areas too, which reads every vertex's groups.
    """
    kept = shown_result_of(scan)
    if kept is None:
        unknown = bool(data_of(scan).result)
        if unknown:
            _set_state(scan, "OUT_OF_DATE", "It was measured with another version; check again.")
        elif data_of(scan).state in ("CURRENT", "OUT_OF_DATE"):
            _set_state(scan, "NONE", "")
        return False
    if not data_of(scan).verdict:  # kept by an earlier version
        note_verdict(scan, kept)
    reason = _why_out_of_date(scan, scene, kept["made_with"], with_areas)
    reason = reason or _why_other_choices(scan, scene, kept["choices"])
    _set_state(scan, "OUT_OF_DATE" if reason else "CURRENT", reason)
    return not reason


def refresh_choices(scan: bpy.types.Object, scene: bpy.types.Scene) -> None:
    """Bring a scan's state up to date after a choice: while it is another one, nothing is read."""
    kept = shown_result_of(scan)
    reason = "" if kept is None else _why_other_choices(scan, scene, kept["choices"])
    if reason:
        _set_state(scan, "OUT_OF_DATE", reason)
    else:
        refresh(scan, scene)


def refresh_areas(
    scan: bpy.types.Object, areas: area_groups.UserAreas, scene: bpy.types.Scene
) -> bool:
    """Bring up to date whether the areas, as they were read, are those that a scan was measured in.

    Return whether they are.
    """
    kept = shown_result_of(scan)
    if kept is None:
        return False
    same = areas.checksum == kept["made_with"]["areas"] and not areas_differ(scan)
    if not same:
        mark_areas_edited(scan)
    elif data_of(scan).state_reason == AREAS_EDITED:
        _set_state(scan, "CURRENT", "")
        refresh(scan, scene)
    return same


def areas_differ(scan: bpy.types.Object, *, with_line: bool = False) -> bool:
    """Tell, without reading any vertex, whether a scan's design has other areas than measured.

    Parameters
    ----------
    scan : bpy.types.Object
        A measured one whose design is there.
    with_line : bool
        Compare the margin line too.
    """
    data = data_of(scan)
    if data.areas_measured and area_groups.listing(data.design) != data.areas_measured:
        return True
    kept = shown_result_of(scan) if with_line else None
    then = kept["made_with"].get("margin_line") if kept else None
    return then is not None and margin_curve.fingerprint(data.design) != then


def mark_areas_edited(scan: bpy.types.Object) -> None:
    """Mark a scan's result out of date because its design's areas were edited."""
    if data_of(scan).state == "CURRENT":
        _set_state(scan, "OUT_OF_DATE", AREAS_EDITED)


def _why_out_of_date(
    scan: bpy.types.Object, scene: bpy.types.Scene, then: Mapping[str, Any], with_areas: bool
) -> str:
    """Return why a result no longer belongs to what is shown; empty if it does."""
    design = data_of(scan).design
    if not is_in(design, scene):
        return "Its design is not in this scene."
    if design.mode == "EDIT" or scan.mode == "EDIT":
        return str(data_of(scan).state_reason)
    for obj, kind in ((scan, "scan"), (design, "design")):
        if bridge.checksum(mesh_of(obj)) != then[kind]:
            return f"The {kind}'s mesh was changed."
    try:
        moved = placement.why_misplaced(scan, design, frames.frame_of(design, scene), then)
    except CuspwiseError as error:
        return error.reason
    if moved:
        return moved
    edited = areas_differ(scan)
    if with_areas:
        edited = edited or area_groups.user_areas(design).checksum != then["areas"]
    else:
        edited = edited or data_of(scan).state_reason == AREAS_EDITED
    return AREAS_EDITED if edited else ""


def _why_other_choices(
    scan: bpy.types.Object, scene: bpy.types.Scene, then: Mapping[str, Any]
) -> str:
    """Return what the scene chooses otherwise than a scan was measured with; empty if nothing."""
    changed = other_choices(then, getattr(scene, SCENE_PROPERTIES), data_of(scan).design)
    return f"It was measured with other settings: {', '.join(changed)}." if changed else ""


def _set_state(scan: bpy.types.Object, state: str, reason: str) -> None:
    data = data_of(scan)
    # Written only when it differs: writing makes Blender update the object once more.
    if data.state != state:
        data.state = state
    if data.state_reason != reason:
        data.state_reason = reason


@persistent
def notice_changes(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Mark results out of date when their scan or design was moved or edited."""
    touched = updates.edited(depsgraph) | updates.moved(depsgraph)
    if not touched:
        return
    for scan in listed_scans(scene):
        if data_of(scan).result and (scan in touched or data_of(scan).design in touched):
            refresh(scan, scene)
