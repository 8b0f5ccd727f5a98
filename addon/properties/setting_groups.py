"""Groups of the core's settings as properties, made from their declarations."""

from __future__ import annotations

from typing import Any

import bpy

from ..blender.session import scene_of
from ..check import judging_meanwhile, store
from ..check.setting_groups import GROUPS
from ..drawing import colour_map, overlay
from . import choices


def limits_changed(_owner: Any, context: bpy.types.Context) -> None:
    """Judge every result anew."""
    judging_meanwhile.judge(scene_of(context))
    colour_map.refresh(scene_of(context))


def measuring_changed(_owner: Any, context: bpy.types.Context) -> None:
    """Say of every result whether it was measured with the choices of now."""
    scene = scene_of(context)
    for scan in store.listed_scans(scene):
        if store.data_of(scan).result:
            store.refresh_choices(scan, scene)
    overlay.redraw()


_UPDATES = {
    "areas": measuring_changed,
    "superimpose": measuring_changed,
    "doubt": measuring_changed,
    "points": measuring_changed,
    "verdicts": limits_changed,
}


def _class(key: str) -> Any:
    group = GROUPS[key]
    properties = {name: choices.of(one, _UPDATES[key]) for name, one in group.settings.items()}
    name = f"{key.title()}Choices"
    words = f"Choices about {group.title.lower()} in a scene."
    base = (bpy.types.PropertyGroup,)
    return type(name, base, {"__doc__": words, "__annotations__": properties})


TYPES: dict[str, Any] = {key: _class(key) for key in GROUPS}


def pointer(key: str) -> Any:
    """Return the property of a scene that holds a group."""
    title = GROUPS[key].title
    return bpy.props.PointerProperty(
        name=title, description=f"Choices about {title.lower()}", type=TYPES[key]
    )


CLASSES = tuple(TYPES.values())
