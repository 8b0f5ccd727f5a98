"""Causes kept in the .blend, on the scan they belong to.

The scan carries what was found as text, and its maps at the points that were measured as a mesh
of points; the design carries each map as an attribute of its mesh. All of it goes with the
objects through saving, renaming, copying and appending. Causes are out of date once the crown was
checked again, or once something else is said of its production.
"""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.causes.document import causes_document
from ...standalone_core.progress import Progress, Steps
from ...standalone_core.records import plain
from ..blender import bridge
from ..blender.session import mesh_of
from ..check import store
from ..identifiers import CAUSES_MESH_NAME, POINT_WEIGHT, SCENE_PROPERTIES, cause_attribute
from . import production

if TYPE_CHECKING:
    from ...standalone_core.causes.result import CausesResult
    from .explaining import Explained, ToExplain

VERSION = 1
ALL, LEFT = "all", "left"
"""Maps beside those of single causes: of all that are stated, and of what they leave."""
OPEN, ACCEPTED, DISMISSED = "open", "accepted", "dismissed"


def causes_of(scan: bpy.types.Object | None) -> dict[str, Any] | None:
    """Return the causes kept of a scan; None without any, or from a version not known here."""
    text = store.data_of(scan).causes if scan is not None else ""
    if not text:
        return None
    kept = _read(text)
    return kept if kept.get("version") == VERSION else None


def open_marks(kept: Mapping[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    """Return the support marks found that nobody has decided on, each with its number."""
    return [(k, row) for k, row in enumerate(kept["marks"]) if row["answer"] == OPEN]


def map_of(scan: bpy.types.Object, key: str) -> tuple[np.ndarray, np.ndarray] | None:
    """Return a map (mm) and the weights (mm²) at the points measured; None if it is not kept."""
    mesh = store.data_of(scan).causes_points
    if mesh is None:
        return None
    values, weights = (bridge.read_attribute(mesh, name) for name in (key, POINT_WEIGHT))
    return None if values is None or weights is None else (values.astype(np.float64), weights)


# Keeping -------------------------------------------------------------------------------------


def keep_steps(read: ToExplain, found: Explained) -> Steps[None]:
    """Keep what was found, in the place of what was found before, step by step."""
    yield Progress("Keeping the causes", 0.0)
    scan, design = read.scan.scan, read.design.design
    causes_id, maps = uuid.uuid4().hex[:8], _maps(found.causes)
    mesh = bridge.new_mesh(CAUSES_MESH_NAME, found.evaluation.points)
    bridge.write_attribute(mesh, POINT_WEIGHT, "FLOAT", found.evaluation.weights_mm2)
    before = causes_of(scan)
    forget(scan, design)
    source = found.evaluation.design.vertices
    for number, (key, values) in enumerate(maps.items()):
        yield Progress("Keeping the maps", 0.2 + 0.8 * number / len(maps))
        bridge.write_attribute(mesh, key, "FLOAT", values)
        own = bridge.carried_to(read.design.mesh.vertices, source, values[: len(source)])
        bridge.write_attribute(mesh_of(design), cause_attribute(causes_id, key), "FLOAT", own)
    document = {
        "version": VERSION,
        "result_id": store.data_of(scan).result_id,
        "choices": plain(read.choices),
        "tolerances_um": dict(read.kept["choices"]["tolerances_um"]),
        "maps": list(maps),
        "build_direction": plain(found.causes.build_direction),
        **causes_document(found.causes),
        "marks": _marks(found.causes, before),
    }
    data = store.data_of(scan)
    data.causes_id, data.causes_points = causes_id, mesh
    data.causes = json.dumps(document)


def forget(scan: bpy.types.Object, design: bpy.types.Object) -> None:
    """Drop the causes of a scan, and their maps where no copy of the scan needs them."""
    data = store.data_of(scan)
    causes_id, points = data.causes_id, data.causes_points
    data.causes_id, data.causes, data.causes_points = "", "", None
    if causes_id and not any(store.data_of(o).causes_id == causes_id for o in bpy.data.objects):
        start = cause_attribute(causes_id, "")
        for name in [a.name for a in mesh_of(design).attributes if a.name.startswith(start)]:
            bridge.drop_attribute(mesh_of(design), name)
    if points is not None and points.users == 0:
        bpy.data.meshes.remove(points)


def answer_mark(scan: bpy.types.Object, number: int, answer: str) -> None:
    """Keep what somebody said of a support mark that was found."""
    kept = json.loads(store.data_of(scan).causes)
    kept["marks"][number]["answer"] = answer
    store.data_of(scan).causes = json.dumps(kept)


def _maps(found: CausesResult) -> dict[str, np.ndarray]:
    """Return all maps by their keys, mm, at the points measured."""
    maps = dict(found.fields_mm)
    if maps:
        maps[ALL] = np.sum(list(found.fields_mm.values()), axis=0)
    return {**maps, LEFT: found.left_mm}


def _marks(found: CausesResult, before: Mapping[str, Any] | None) -> list[dict[str, Any]]:
    """Return the support marks that were found, as plain data, with the circle each would be.

    What was dismissed before stays dismissed.
    """
    from ...standalone_core.causes.found_marks import as_support_mark

    dismissed = [row for row in (before or {}).get("marks", ()) if row["answer"] == DISMISSED]
    rows = []
    for number, mark in enumerate(found.marks, 1):
        circle = as_support_mark(mark, str(number))
        again = any(
            math.dist(row["place_mm"], mark.place_mm) < row["radius_mm"] for row in dismissed
        )
        rows.append(
            {
                "place_mm": list(mark.place_mm),
                "height_um": mark.height_um,
                "kind": mark.kind,
                "likelihood": mark.likelihood,
                "radius_mm": circle.radius_mm,
                "answer": DISMISSED if again else OPEN,
            }
        )
    return rows


# Out of date or not ---------------------------------------------------------------------------


def why_out_of_date(scan: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why the causes kept no longer belong to what is shown; empty if they do."""
    kept, data = causes_of(scan), store.data_of(scan)
    if kept is None:
        return "They were found with another version." if data.causes else ""
    now, then = production.choices_of(scene, scan), kept["choices"]
    judged = (store.result_of(scan) or {}).get("choices", {})
    other_tolerances = judged.get("tolerances_um", kept["tolerances_um"]) != kept["tolerances_um"]
    changes = (
        (data.result_id != kept["result_id"], "The crown was checked again."),
        (data.state == "OUT_OF_DATE", str(data.state_reason)),
        (now["production"] != then["production"], "Something else is said of the production."),
        (now["causes"] != then["causes"], "Something else is said of the scanner's scale."),
        (other_tolerances, "The tolerances, which predictions are for, were changed."),
    )
    return next((reason for changed, reason in changes if changed), "")


def is_chosen_map(scan: bpy.types.Object | None, scene: bpy.types.Scene) -> bool:
    """Tell whether the map of causes that the scene asks for is there for a scan."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.causes.map_key or settings.study.shown:
        return False
    kept = causes_of(scan)
    if scan is None or kept is None or settings.causes.map_key not in kept["maps"]:
        return False
    return store.is_in(store.data_of(scan).design, scene)


@lru_cache(maxsize=8)
def _read(text: str) -> dict[str, Any]:
    kept: dict[str, Any] = json.loads(text)
    return kept
