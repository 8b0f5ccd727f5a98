"""What a scene says of how each scan's crown was produced, as plain data for the core."""

from __future__ import annotations

from typing import Any

import bpy

from ..identifiers import SCENE_PROPERTIES

NUMBERS = ("enlargement", "enlargement_along_build", "bur_radius_mm")


def group_of(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> str:
    """Return the group that a scan has in the scene's list; empty if it has none."""
    for item in getattr(scene, SCENE_PROPERTIES).scans:
        if scan is not None and item.scan == scan:
            return " ".join(item.group.split())
    return ""


def production_of(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> Any:
    """Return what is said of a scan's production: its group's, or that of all without a group."""
    causes = getattr(scene, SCENE_PROPERTIES).causes
    found = causes.productions.get(group_of(scene, scan).casefold())
    return causes.production if found is None else found


def make_room(scene: bpy.types.Scene, group: str) -> None:
    """Give a group facts of its own, which begin as those of crowns without a group."""
    causes, key = getattr(scene, SCENE_PROPERTIES).causes, " ".join(group.split()).casefold()
    if not key or key in causes.productions:
        return
    made = causes.productions.add()
    made.name = key
    for name in ("way", "build_direction", *NUMBERS):
        setattr(made, name, getattr(causes.production, name))


def facts_of(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> dict[str, Any]:
    """Return the facts of a scan's production as plain data; what is not known is None."""
    production = production_of(scene, scan)
    direction = [_rounded(part) for part in production.build_direction]
    return {
        "way": production.way,
        "build_direction": direction if any(direction) else None,
        **{name: _rounded(getattr(production, name)) or None for name in NUMBERS},
    }


def search_of(scene: bpy.types.Scene) -> dict[str, Any]:
    """Return how causes are looked for, as far as a scene says it, as plain data."""
    causes = getattr(scene, SCENE_PROPERTIES).causes
    if not causes.scanner_is_known:
        return {}
    names = ("scanner_scale_permille", "scanner_scale_uncertainty_permille")
    return {name: _rounded(getattr(causes, name)) for name in names}


def choices_of(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> dict[str, Any]:
    """Return both, as they are kept with what was found."""
    return {"production": facts_of(scene, scan), "causes": search_of(scene)}


def _rounded(number: float) -> float:
    """Return a number of Blender's without its noise: 0.1 comes back as 0.10000000149."""
    return float(f"{number:.6g}")
