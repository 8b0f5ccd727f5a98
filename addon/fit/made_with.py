"""What a kept part of a fit was made with, and whether that is still so.

Choices, places and numbers of vertices are compared whenever something is drawn; checksums, which
read whole meshes, only when Blender tells that a mesh was changed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...standalone_core.errors import CuspwiseError
from ..blender import bridge, frames, updates
from ..blender.session import mesh_of
from ..check import placement, store
from ..identifiers import SCENE_PROPERTIES
from .crown_chosen import Tooth, teeth_of
from .kept_part import OTHER_VERSION, KeptPart

OTHER_TEETH = "Other teeth, or other sides of them, are chosen."
OTHER_LIMITS = "What is asked for was changed."
NO_DESIGN = "Its design is not in this scene."


@dataclass(frozen=True, eq=False)
class Involved:
    """An object that a part depends on.

    Attributes
    ----------
    obj : bpy.types.Object
    place : (4, 4) float
        From its own coordinates to the frame in which it matters, mm.
    role : str
        "crown", "design", or kind and side of a tooth.
    slack_mm : float
        What rounding alone may change about where its corners lie.
    """

    obj: bpy.types.Object
    place: np.ndarray
    role: str
    slack_mm: float

    @property
    def plain(self) -> dict[str, Any]:
        """What is kept of it, but for its checksum."""
        count = len(mesh_of(self.obj).vertices)
        return {"role": self.role, "vertices": count, "place": self.place.tolist()}


def involved(
    crown: bpy.types.Object, scene: bpy.types.Scene, teeth: Sequence[Tooth] | None
) -> list[Involved]:
    """Return what a part of a crown depends on, as it is now.

    Parameters
    ----------
    crown : bpy.types.Object
    scene : bpy.types.Scene
    teeth : sequence of Tooth or None
        Those that matter; None if none does, nor where the crown lies.

    Raises
    ------
    CuspwiseError
        A frame cannot be told.
    """
    design = getattr(scene, SCENE_PROPERTIES).design
    frame = frames.frame_of(design, scene)
    lying = teeth is not None
    own = frames.own_frame(crown, frame.scale_mm).local_to_mm(crown)
    named = [(crown, frame.shown_to_mm(crown) if lying else own, "crown")]
    if crown != design:
        named.append((design, frame.local_to_mm(design), "design"))
    for tooth in teeth or ():
        role = f"{tooth.kind} {tooth.side}"
        named.append((tooth.obj, frame.shown_to_mm(tooth.obj), role))
    reach = max(float(np.abs(frames.matrix_of(obj)[:3, 3]).max()) for obj, _place, _role in named)
    slack = placement.MOVED_UM / 1e3 + frames.POSE_PRECISION * frame.scale_mm * reach
    return [Involved(obj, place, role, slack) for obj, place, role in named]


def document(
    choices: Mapping[str, Any], parts: Sequence[Involved], checksums: Sequence[str]
) -> dict[str, Any]:
    """Return what a part was made with, as plain data."""
    rows = zip(parts, checksums, strict=True)
    return {
        "choices": dict(choices),
        "involved": [{**part.plain, "checksum": checksum} for part, checksum in rows],
    }


def why_out_of_date(
    part: KeptPart,
    crown: bpy.types.Object,
    scene: bpy.types.Scene,
    choices: Mapping[str, Any],
    *,
    with_teeth: bool,
) -> str:
    """Say why a kept part no longer belongs to what is shown; empty if it does. Cheap."""
    kept = part.of(crown)
    if kept is None:
        return OTHER_VERSION if part.is_unknown(crown) else ""
    then = kept["made_with"]
    if any(kept_one != choices[name] for name, kept_one in then["choices"].items()):
        return OTHER_LIMITS
    if not store.is_in(getattr(scene, SCENE_PROPERTIES).design, scene):
        return NO_DESIGN
    try:
        now = involved(crown, scene, teeth_of(scene) if with_teeth else None)
    except CuspwiseError as error:
        return error.reason
    return _difference(now, then["involved"]) or part.reason(crown)


def _difference(now: Sequence[Involved], then: Sequence[Mapping[str, Any]]) -> str:
    if [one.role for one in now] != [row["role"] for row in then]:
        return OTHER_TEETH
    for one, row in zip(now, then, strict=True):
        if one.obj.mode != "EDIT" and one.plain["vertices"] != row["vertices"]:
            return f"The mesh of {one.obj.name} was changed."
        if frames.displacement(one.obj, one.place, np.array(row["place"])) > one.slack_mm:
            return f"{one.obj.name} was moved, or its scale or the unit was changed."
    return ""


# Edited meshes -------------------------------------------------------------------------------


def notice_edits(
    parts: Mapping[KeptPart, bool],
    scene: bpy.types.Scene,
    depsgraph: bpy.types.Depsgraph,
) -> None:
    """Keep with each crown whether a mesh that it depends on was changed.

    Parameters
    ----------
    parts : mapping of KeptPart to bool
        And whether they depend on other teeth.
    scene, depsgraph : as Blender hands them over
    """
    touched = updates.edited(depsgraph)
    design = getattr(scene, SCENE_PROPERTIES).design
    if not touched or not store.is_in(design, scene):
        return
    checksum = _once(lambda obj: bridge.checksum(mesh_of(obj)))
    for crown in {design, *store.listed_scans(scene)}:
        for part, with_teeth in parts.items():
            if part.of(crown) is not None:
                _look_at(part, crown, scene, touched, checksum, with_teeth=with_teeth)


def _look_at(
    part: KeptPart,
    crown: bpy.types.Object,
    scene: bpy.types.Scene,
    touched: set[Any],
    checksum: Callable[[bpy.types.Object], str],
    *,
    with_teeth: bool,
) -> None:
    try:
        now = involved(crown, scene, teeth_of(scene) if with_teeth else None)
    except CuspwiseError:
        return  # which is said anyway
    kept = part.of(crown) or {}
    then = kept["made_with"]["involved"]
    if not touched & {one.obj for one in now} or len(now) != len(then):
        return
    if any(one.obj.mode == "EDIT" for one in now):
        return
    changed = (
        one.obj.name
        for one, row in zip(now, then, strict=True)
        if checksum(one.obj) != row["checksum"]
    )
    name = next(changed, "")
    part.set_reason(crown, f"The mesh of {name} was changed." if name else "")


def _once(
    function: Callable[[bpy.types.Object], str],
) -> Callable[[bpy.types.Object], str]:
    """Ask for each object once."""
    known: dict[bpy.types.Object, str] = {}

    def ask(obj: bpy.types.Object) -> str:
        if obj not in known:
            known[obj] = function(obj)
        return known[obj]

    return ask


def rounded(number: float) -> float:
    """Return a number of Blender's without its noise: 0.1 comes back as 0.10000000149."""
    return float(f"{number:.6g}")
