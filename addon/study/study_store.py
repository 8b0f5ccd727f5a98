"""A study's results kept in the .blend, on the design they belong to.

The design carries numbers and sentences as text and its maps as a mesh of points only; every scan
carries which of the study's scans it is. All of it goes with the objects through saving, renaming
and appending. A study is out of date once a scan, a group, the design or a setting
is another one.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import bpy
import numpy as np

from ...standalone_core.errors import CuspwiseError
from ...standalone_core.progress import Progress, Steps
from ..areas import area_groups
from ..blender import bridge, frames, updates
from ..blender.session import mesh_of, persistent
from ..check import store
from ..identifiers import SCENE_PROPERTIES, STUDY_MESH_NAME
from . import export, study_crowns, study_scene
from .file import STUDY_FILE
from .summary import Outcome, map_values, summary

if TYPE_CHECKING:
    from .export import ScanEntry, StudyInput

VERSION = 3
SAME_MM = 5e-5  # a scan's place that differs by more than this (and single precision) was moved
SETTINGS_WORDS = {
    "spacing_mm": "spacing",
    "search_mm": "search distance",
    "tolerances_um": "tolerances",
    "scanner_um": "scanner's uncertainty",
    "max_unmatched_um": "height of unmatched scan surface",
    "max_unmatched_mm2": "size of unmatched scan surface",
    "max_missing_mm": "length of missing margin",
    "support_marks": "limits of support marks",
    "start": "start of the superimposition",
    "fit_areas": "areas that scans are laid on",
    "superimpose": "best fit",
    "points": "which points count",
    "areas": "thresholds or directions of the areas",
    "scanners_um": "scanner's uncertainty of single areas",
    "verdicts": "rules of verdicts",
    "equivalence_um": "equivalence limit",
    "equivalences_um": "equivalence limits of single areas",
    "secondary": "comparisons after the main one",
    "measures": "measures",
    "analysis": "analysis",
    "question": "question",
    "earlier": "earlier study",
    "primary_area": "main area",
    "primary_measure": "main measure",
    "productions": "facts of the production",
    "causes": "scanner's scale",
}


def design_of(scene: bpy.types.Scene) -> bpy.types.Object | None:
    """Return the scene's design, if it is in the scene."""
    design: bpy.types.Object | None = getattr(scene, SCENE_PROPERTIES).design
    return design if store.is_in(design, scene) else None


def study_of(scene: bpy.types.Scene) -> dict[str, Any] | None:
    """Return the study kept on the scene's design; None without one, or of another version."""
    design = design_of(scene)
    text = store.data_of(design).study if design is not None else ""
    if not text:
        return None
    kept = _read(text)
    return kept if kept.get("version") == VERSION else None


def kept_study(scene: bpy.types.Scene) -> dict[str, Any]:
    """Return the study kept on the scene's design, which ``poll`` has asked for."""
    return cast(dict[str, Any], study_of(scene))


def is_of_another_version(scene: bpy.types.Scene) -> bool:
    """Tell whether a study is kept that this version cannot read."""
    design = design_of(scene)
    return design is not None and bool(store.data_of(design).study) and study_of(scene) is None


def keep_steps(read: StudyInput, outcome: Outcome) -> Steps[None]:
    """Keep a study on its design, in the place of the one before."""
    yield Progress("Keeping the numbers", 0.0)
    design = read.design.design
    data = store.data_of(design)
    document = {
        "version": VERSION,
        "folder": str(read.folder),
        "choices": dict(read.choices),
        "without": list(read.without),
        "made_with": {
            "design": read.design.checksum,
            "shape": _shape(design, read.design.frame.scale_mm),
            "areas": read.areas,
            "scans": {entry.entry: _entry(entry) for entry in read.entries},
        },
        **summary(outcome, read.unreadable),
    }
    text = json.dumps(document)
    yield Progress("Keeping the maps", 0.4)
    points = _points_mesh(outcome)
    yield Progress("Keeping the maps", 0.9)
    forget(design)
    data.study_points = points
    data.study = text
    data.study_reason = ""
    for entry in read.entries:
        own = store.data_of(entry.scan)
        own.study_entry, own.study_place = entry.entry, ""


def forget(design: bpy.types.Object) -> None:
    """Drop what is kept of a study on a design."""
    data = store.data_of(design)
    points = data.study_points
    data.study, data.study_reason, data.study_points = "", "", None
    if points is not None and points.users == 0:
        bpy.data.meshes.remove(points)


def map_of(design: bpy.types.Object, attribute: str) -> np.ndarray | None:
    """Return a map at the evaluation points, (p,) float64; None if it is not kept."""
    mesh = store.data_of(design).study_points
    values = bridge.read_attribute(mesh, attribute) if mesh is not None else None
    return None if values is None else values.astype(np.float64)


def on_design(design: bpy.types.Object, scale_mm: float, values: np.ndarray) -> np.ndarray:
    """Return values of the evaluation points at the design's own vertices, (n,).

    NaN where a vertex is no longer one of the points: the design was changed since.
    """
    mesh = store.data_of(design).study_points
    shape = export.shape_matrix(design, scale_mm)[:3, :3]
    own = bridge.positions(mesh_of(design)).astype(np.float64) @ shape.T
    points = bridge.positions(mesh).astype(np.float64)
    # As it was written: equal coordinates tell which vertex is which point.
    return bridge.carried_to(own.astype(np.float32).astype(np.float64), points, values)


def folder_of(scene: bpy.types.Scene) -> Path | None:
    """Return the folder that the kept study was written to; None if it is gone.

    Where it is no longer where it was, the one that the scene would write to now: folders move
    with their .blend.
    """
    kept = study_of(scene)
    if kept is None:
        return None
    folders = [Path(kept["folder"])]
    with suppress(CuspwiseError):
        folders.append(study_scene.folder_of(scene))
    return next((folder for folder in folders if (folder / STUDY_FILE).is_file()), None)


# Out of date or not ---------------------------------------------------------------------------


def why_out_of_date(scene: bpy.types.Scene) -> str:
    """Say why the kept study no longer belongs to the scene; empty if it does.

    Looks at the list and the settings, and at what was noticed about the meshes; cheap enough for
    a panel.
    """
    kept, design = study_of(scene), design_of(scene)
    if kept is None or design is None:
        return ""
    noticed: str = store.data_of(design).study_reason
    return noticed or _why_other_scans(scene, kept) or _why_other_settings(scene, kept)


def refresh(scene: bpy.types.Scene) -> str:
    """Look at meshes and areas too; return why the study is out of date, empty if not."""
    kept, design = study_of(scene), design_of(scene)
    if kept is None or design is None:
        return ""
    reason = _why_other_design(design, scene, kept)
    reason = reason or _why_other_areas(design, kept, area_groups.user_areas(design))
    for scan in store.listed_scans(scene):
        reason = reason or _why_other_scan(scan, design, scene, kept)
    _note(design, reason)
    return why_out_of_date(scene)


def refresh_areas(scene: bpy.types.Scene, areas: area_groups.UserAreas) -> None:
    """Bring up to date whether the areas, as they were read, are those of the study."""
    kept, design = study_of(scene), design_of(scene)
    if kept is None or design is None:
        return
    if store.data_of(design).study_reason in ("", store.AREAS_EDITED):
        _note(design, _why_other_areas(design, kept, areas))


def mark_areas_edited(design: bpy.types.Object) -> None:
    """Mark a study kept on a design out of date because the areas were edited."""
    if store.data_of(design).study and not store.data_of(design).study_reason:
        _note(design, store.AREAS_EDITED)


@persistent
def notice_changes(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Note when the study's design or a scan of it was edited, or moved if that counts."""
    kept, design = study_of(scene), design_of(scene)
    if kept is None or design is None or store.data_of(design).study_reason:
        return
    touched = updates.edited(depsgraph) | updates.moved(depsgraph)
    if not touched:
        return
    reason = _why_other_design(design, scene, kept) if design in touched else ""
    moved = design in touched and kept["choices"]["start"] != "auto"
    for scan in store.listed_scans(scene):
        if not reason and (scan in touched or moved):
            reason = _why_other_scan(scan, design, scene, kept)
    _note(design, reason)


def _note(design: bpy.types.Object, reason: str) -> None:
    data = store.data_of(design)
    # Written only when it differs: writing makes Blender update the object once more.
    if data.study_reason != reason:
        data.study_reason = reason


def _why_other_scans(scene: bpy.types.Scene, kept: Mapping[str, Any]) -> str:
    """Compare the list with the study's scans, by what each scan carries."""
    entries = kept["made_with"]["scans"]
    left = dict(entries)
    unreadable = {(row["name"], row["group"]) for row in kept["left_out"]}
    for title, scans in study_scene.listing_of(scene).groups.items():
        for scan in scans:
            entry = left.pop(store.data_of(scan).study_entry, None)
            if entry is None:
                if (scan.name, title) not in unreadable:
                    return f"{scan.name} is not in the study yet."
            elif entry["group"].casefold() != title.casefold():
                return f"{scan.name} is in another group now."
    if left:
        return f"{next(iter(left.values()))['name']} is no longer in the list with a group."
    return ""


def _why_other_settings(scene: bpy.types.Scene, kept: Mapping[str, Any]) -> str:
    now = study_scene.choices_of(getattr(scene, SCENE_PROPERTIES))
    before = {**now, **kept["choices"]}
    changed = [words for key, words in SETTINGS_WORDS.items() if now[key] != before[key]]
    return f"Another setting was chosen since: {', '.join(changed)}." if changed else ""


def _why_other_areas(
    design: bpy.types.Object, kept: Mapping[str, Any], areas: area_groups.UserAreas
) -> str:
    same = export.areas_checksum(design, areas) == kept["made_with"]["areas"]
    return "" if same else store.AREAS_EDITED


def _why_other_design(
    design: bpy.types.Object, scene: bpy.types.Scene, kept: Mapping[str, Any]
) -> str:
    if design.mode == "EDIT":
        return ""
    if bridge.checksum(mesh_of(design)) != kept["made_with"]["design"]:
        return "The design's mesh was changed."
    try:
        scale_mm = frames.scene_scale_mm(design, scene)
    except CuspwiseError as error:
        return error.reason
    then = np.array(kept["made_with"]["shape"])
    if np.abs(_shape(design, scale_mm) - then).max() > frames.POSE_PRECISION * np.abs(then).max():
        return "The design's scale or unit was changed."
    return ""


def _why_other_scan(
    scan: bpy.types.Object,
    design: bpy.types.Object,
    scene: bpy.types.Scene,
    kept: Mapping[str, Any],
) -> str:
    entry = kept["made_with"]["scans"].get(store.data_of(scan).study_entry)
    if entry is None or scan.mode == "EDIT":
        return ""
    if bridge.checksum(mesh_of(scan)) != entry["checksum"]:
        return f"{scan.name}: its mesh was changed."
    start = kept["choices"]["start"]
    try:
        frame = frames.frame_of(design, scene)
        now = export.file_matrix(scan, design, frame, start, scene)
    except CuspwiseError as error:
        return f"{scan.name}: {error.reason}"
    slack = SAME_MM + frames.POSE_PRECISION * max(np.abs(now).max(), 10.0)
    placed = study_crowns.place_of(scan) if start == "in_place" else None
    places = (np.array(entry["matrix"]), *(() if placed is None else (placed,)))
    if min(frames.displacement(scan, now, place) for place in places) > slack:
        where = "its scale was changed" if start == "auto" else "it or the design was moved"
        return f"{scan.name}: {where}."
    return ""


def _shape(design: bpy.types.Object, scale_mm: float) -> list[list[float]]:
    shape: list[list[float]] = export.shape_matrix(design, scale_mm)[:3, :3].tolist()
    return shape


def _entry(entry: ScanEntry) -> dict[str, Any]:
    return {
        "name": entry.name,
        "group": entry.group,
        "file": entry.file,
        "checksum": entry.checksum,
        "matrix": entry.matrix.tolist(),
    }


def _points_mesh(outcome: Outcome) -> bpy.types.Mesh:
    """Keep every map at the evaluation points, as a mesh of points."""
    mesh = bridge.new_mesh(STUDY_MESH_NAME, outcome.run.area_set.evaluation.points)
    for name, values in map_values(outcome.run).items():
        bridge.write_attribute(mesh, name, "FLOAT", values)
    return mesh


@lru_cache(maxsize=4)
def _read(text: str) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(text)
    return kept
