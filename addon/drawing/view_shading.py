"""How 3D views and renders show colours, and as they were before when the colours go.

How a view is shaded belongs to the window, not to the file, so undo leaves it alone. What it was
is therefore kept twice: in the scene, to be saved, and in the window manager, for undo.
"""

from __future__ import annotations

import json
from typing import Any

import bpy

from ..blender.session import manager_of, persistent
from ..identifiers import JOB_PROPERTIES, SCENE_PROPERTIES


def change_views(scene: bpy.types.Scene) -> dict[str, Any]:
    """Show vertex colours in solid mode and plain colours in renders; return what was there."""
    colours: Any = scene.view_settings
    before: dict[str, Any] = {
        "view_transform": colours.view_transform,
        "look": colours.look,
        "solid": {key: space.shading.color_type for key, space in spaces()},
    }
    colours.view_transform = "Standard"
    colours.look = "None"
    _show_vertex_colours(before["solid"])
    return before


def restore_views(scene: bpy.types.Scene, before: dict[str, Any]) -> None:
    """Shade all views and renders as they were before ``change_views``."""
    _restore_solid(before["solid"])
    colours: Any = scene.view_settings
    colours.view_transform = before["view_transform"]
    colours.look = before["look"]


def _show_vertex_colours(before: dict[str, str]) -> None:
    for _, space in spaces():
        space.shading.color_type = "VERTEX"
    _session().solid_before = json.dumps(before)


def _restore_solid(before: dict[str, str]) -> None:
    for key, space in spaces():
        if key in before:
            space.shading.color_type = before[key]
    _session().solid_before = ""


def _session() -> Any:
    return getattr(manager_of(bpy.context), JOB_PROPERTIES)


@persistent
def follow_undo(scene: bpy.types.Scene, _depsgraph: bpy.types.Depsgraph | None = None) -> None:
    """Shade the views as the scene asks for after undo or redo."""
    settings, kept = getattr(scene, SCENE_PROPERTIES), _session().solid_before
    if kept and not settings.show_colours:
        _restore_solid(json.loads(kept))
    elif settings.show_colours and settings.views_before and not kept:
        _show_vertex_colours(json.loads(settings.views_before)["solid"])


@persistent
def forget_session(_path: str) -> None:
    """Forget the views of the file before, when another is opened."""
    _session().solid_before = ""


def spaces() -> list[tuple[str, Any]]:
    """Return every 3D view of every screen, with a key that stays the same when saved."""
    return [
        (f"{screen.name}/{number}", area.spaces.active)
        for screen in bpy.data.screens
        for number, area in enumerate(screen.areas)
        if area.type == "VIEW_3D"
    ]
