"""What Blender says may be absent and never is, and what its operators answer."""

from __future__ import annotations

from typing import Any, Literal, TypeAlias, cast

import bpy

from ..identifiers import SCENE_PROPERTIES

Answer: TypeAlias = set[
    Literal["RUNNING_MODAL", "CANCELLED", "FINISHED", "PASS_THROUGH", "INTERFACE"]
]


def scene_of(context: bpy.types.Context) -> bpy.types.Scene:
    """Return the scene that is worked in."""
    return cast(bpy.types.Scene, context.scene)


def settings_of(context: bpy.types.Context) -> Any:
    """Return the choices of the scene that is worked in."""
    return getattr(context.scene, SCENE_PROPERTIES)


def mesh_of(obj: bpy.types.Object) -> bpy.types.Mesh:
    """Return the mesh of an object that is known to be one."""
    return cast(bpy.types.Mesh, obj.data)
