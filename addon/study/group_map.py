"""A group's map on the design: attribute, colours, legend, and all as it was when it goes.

:mod:`.drawing.colour_map` decides which is shown: a scan's deviations or this.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.errors import CuspwiseError
from ..blender import bridge, frames
from ..blender.session import mesh_of
from ..drawing.painting import paint
from ..identifiers import SCENE_PROPERTIES, STUDY_ATTRIBUTE
from . import map_legend, study_store
from .summary import POINT_WEIGHT

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.legend import Legend

LONGEST_NAME = 60  # bytes of an attribute's name; Blender keeps a few more


@dataclass(frozen=True, eq=False)
class ChosenMap:
    """The map that the scene's choices name.

    Attributes
    ----------
    kind, title : str
    values : (p,) float
        At the evaluation points: mm, or shares from 0 to 1; as coloured.
    raw : (p,) float
        The same, also where it is not told from chance.
    q : (p,) float or None
        Adjusted p-values of a difference.
    weights : (p,) float
    limit : float
        Of the colours, in µm or %.
    """

    kind: str
    title: str
    values: np.ndarray
    raw: np.ndarray
    q: np.ndarray | None
    weights: np.ndarray
    limit: float


def row_of(scene: bpy.types.Scene) -> dict[str, Any] | None:
    """Return the chosen map's row of the kept study; None if there is no such map."""
    kept, chosen = study_store.study_of(scene), getattr(scene, SCENE_PROPERTIES).study
    if kept is None:
        return None
    group = chosen.map_pair if chosen.map_kind == "difference" else chosen.map_group
    rows = [row for row in kept["maps"] if row["kind"] == chosen.map_kind]
    return next((row for row in rows if row["group"] == group), None)


def colour(scene: bpy.types.Scene) -> tuple[bpy.types.Object, ...]:
    """Colour the design by the chosen map; return what is coloured now."""
    design, found = study_store.design_of(scene), chosen_map(scene)
    if design is None or found is None:
        return ()
    settings = getattr(scene, SCENE_PROPERTIES)
    settings.shown_limit_um = found.limit
    settings.share_clipped, settings.share_unmeasured = map_legend.shares(
        found.kind, found.values, found.weights, found.limit
    )
    scale_mm = frames.scene_scale_mm(design, scene)
    at_vertices = study_store.on_design(design, scale_mm, found.values)
    _write(design, scale_mm, found)
    colours = map_legend.colours_of(found.kind, at_vertices, found.limit, settings.palette)
    paint(design, colours)
    return (design,)


def drop_maps() -> None:
    """Take the study's maps off every mesh; they stay kept with the study."""
    for obj in bpy.data.objects:
        if obj.type == "MESH" and not mesh_of(obj).library:
            _drop(mesh_of(obj))


def legend_of(scene: bpy.types.Scene) -> tuple[Legend, tuple[str, ...]] | None:
    """Return the legend of the map shown and the lines above it; None if none is."""
    row, settings = row_of(scene), getattr(scene, SCENE_PROPERTIES)
    kept = study_store.study_of(scene)
    if row is None or kept is None or settings.shown_limit_um <= 0.0:
        return None
    limit = float(f"{settings.shown_limit_um:.6g}")
    legend = map_legend.legend_for(row["kind"], limit, kept["tolerance_um"], settings.palette)
    legend = map_legend.with_shares(legend, settings.share_clipped, settings.share_unmeasured)
    return legend, map_legend.heads(row["kind"], row["title"])


def chosen_map(scene: bpy.types.Scene) -> ChosenMap | None:
    """Return the map that the scene's choices name; None if it is not kept."""
    row, kept = row_of(scene), study_store.study_of(scene)
    design = study_store.design_of(scene)
    if row is None or kept is None or design is None:
        return None
    raw, weights = (study_store.map_of(design, n) for n in (row["attribute"], POINT_WEIGHT))
    q = study_store.map_of(design, row["q"]) if "q" in row else None
    if raw is None or weights is None:
        return None
    shown = raw if q is None else map_legend.only_significant(raw, q, kept["alpha"])
    limit = _limit(scene, kept, row["kind"], weights)
    return ChosenMap(row["kind"], row["title"], shown, raw, q, weights, limit)


def _limit(scene: bpy.types.Scene, kept: dict[str, Any], kind: str, weights: np.ndarray) -> float:
    """Return the limit that the scene asks for, or one for the maps of all groups."""
    settings, design = getattr(scene, SCENE_PROPERTIES), study_store.design_of(scene)
    if not settings.limit_is_automatic and kind != "share":
        return float(f"{settings.limit_um:.6g}")
    alike = "mean" if kind == "difference" else kind
    names = [row["attribute"] for row in kept["maps"] if row["kind"] == alike]
    maps = [study_store.map_of(design, name) for name in names] if design is not None else []
    found = [values for values in maps if values is not None]
    return map_legend.common_limit(kind, found, weights, kept["tolerance_um"])


def _write(design: bpy.types.Object, scale_mm: float, found: ChosenMap) -> None:
    """Write the map to the design's vertices, in the place of another one."""
    _drop(mesh_of(design))
    unit = "" if found.kind == "share" else "_mm"
    parts = [(f"{found.kind}{unit}", found.raw)]
    if found.q is not None:
        parts.append(("q", found.q))
    for words, values in parts:
        name = _cut(f"{STUDY_ATTRIBUTE} {words}: {found.title}")
        carried = study_store.on_design(design, scale_mm, values)
        bridge.write_attribute(mesh_of(design), name, "FLOAT", carried)


def _cut(name: str) -> str:
    return name.encode()[:LONGEST_NAME].decode(errors="ignore")


def _drop(mesh: bpy.types.Mesh) -> None:
    for name in [a.name for a in mesh.attributes if a.name.startswith(f"{STUDY_ATTRIBUTE} ")]:
        bridge.drop_attribute(mesh, name)


def problem_with(scene: bpy.types.Scene) -> str:
    """Say why the chosen map cannot be shown; empty if it can."""
    kept, design = study_store.study_of(scene), study_store.design_of(scene)
    if kept is None or design is None:
        return "Run the study first"
    if chosen_map(scene) is None:
        kind = getattr(scene, SCENE_PROPERTIES).study.map_kind
        if kind == "difference":
            return "Differences need two groups of two or more crowns"
        return "This group has too few crowns for that map"
    try:
        frames.scene_scale_mm(design, scene)
    except CuspwiseError as error:
        return f"{error.reason} {error.remedy}"
    return ""
