"""How 3D views and renders show colours, and as they were before when the colours go.

How a view is shaded belongs to the window, not to the file, so undo leaves it alone. What it was
is therefore kept twice: in the scene, to be saved, and in the window manager, for undo.
"""

from __future__ import annotations

import json
from typing import Any

import bpy

from ..identifiers import JOB_PROPERTIES, SCENE_PROPERTIES


def change_views(scene: bpy.types.Scene) -> dict[str, Any]:
    """Show vertex colours in solid mode and plain colours in renders; return what was there."""
    before: dict[str, Any] = {
        "view_transform": scene.view_settings.view_transform,
        "look": scene.view_settings.look,
        "solid": {key: space.shading.color_type for key, space in _spaces()},
    }
    scene.view_settings.view_transform = "Standard"
    scene.view_settings.look = "None"
    _show_vertex_colours(before["solid"])
    return before


def restore_views(scene: bpy.types.Scene, before: dict[str, Any]) -> None:
    """Shade all views and renders as they were before ``change_views``."""
    _restore_solid(before["solid"])
    scene.view_settings.view_transform = before["view_transform"]
    scene.view_settings.look = before["look"]


def _show_vertex_colours(before: dict[str, str]) -> None:
    for _, space in _spaces():
        space.shading.color_type = "VERTEX"
    _session().solid_before = json.dumps(before)


def _restore_solid(before: dict[str, str]) -> None:
    for key, space in _spaces():
        if key in before:
            space.shading.color_type = before[key]
    _session().solid_before = ""


def _session() -> Any:
    return getattr(bpy.context.window_manager, JOB_PROPERTIES)


@bpy.app.handlers.persistent
def follow_undo(scene: bpy.types.Scene, _depsgraph: bpy.types.Depsgraph | None = None) -> None:
    """Shade the views as the scene asks for after undo or redo."""
    settings, kept = getattr(scene, SCENE_PROPERTIES), _session().solid_before
    if kept and not settings.show_colours:
        _restore_solid(json.loads(kept))
    elif settings.show_colours and settings.views_before and not kept:
        _show_vertex_colours(json.loads(settings.views_before)["solid"])


@bpy.app.handlers.persistent
def forget_session(_path: str) -> None:
    """Forget the views of the file before, when another is opened."""
    _session().solid_before = ""


def _spaces() -> list[tuple[str, bpy.types.SpaceView3D]]:
    """Return every 3D view of every screen, with a key that stays the same when saved."""
    return [
        (f"{screen.name}/{number}", area.spaces.active)
        for screen in bpy.data.screens
        for number, area in enumerate(screen.areas)
        if area.type == "VIEW_3D"
    ]
