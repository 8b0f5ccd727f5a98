"""What Blender's types call possibly absent though it is there, and what operators answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypeVar, cast

import bpy

from ..identifiers import SCENE_PROPERTIES

Handler = TypeVar("Handler", bound=Callable[..., None])
Answer: TypeAlias = set[
    Literal["RUNNING_MODAL", "CANCELLED", "FINISHED", "PASS_THROUGH", "INTERFACE"]
]

if TYPE_CHECKING:
    OperatorBase: TypeAlias = bpy.types.Operator
    PanelBase: TypeAlias = bpy.types.Panel
else:
    # Blender takes what these bases hold from the class that is registered, which names its own.
    OperatorBase = PanelBase = object


def scene_of(context: bpy.types.Context) -> bpy.types.Scene:
    """Return the scene that is worked in."""
    return cast(bpy.types.Scene, context.scene)


def settings_of(context: bpy.types.Context) -> Any:
    """Return the choices of the scene that is worked in."""
    return getattr(context.scene, SCENE_PROPERTIES)


def layer_of(context: bpy.types.Context) -> bpy.types.ViewLayer:
    """Return the view layer that is worked in."""
    return cast(bpy.types.ViewLayer, context.view_layer)


def manager_of(context: bpy.types.Context) -> bpy.types.WindowManager:
    """Return the window manager."""
    return cast(bpy.types.WindowManager, context.window_manager)


def view_of(context: bpy.types.Context) -> bpy.types.SpaceView3D:
    """Return the 3D view that is drawn or clicked in."""
    return cast(bpy.types.SpaceView3D, context.space_data)


def preferences_of(context: bpy.types.Context) -> bpy.types.Preferences:
    """Return the preferences."""
    return cast(bpy.types.Preferences, context.preferences)


def window_of(context: bpy.types.Context) -> bpy.types.Window:
    """Return the window that is worked in."""
    return cast(bpy.types.Window, context.window)


def area_of(context: bpy.types.Context) -> bpy.types.Area:
    """Return the editor that is drawn or clicked in."""
    return cast(bpy.types.Area, context.area)


def region_of(context: bpy.types.Context) -> bpy.types.Region:
    """Return the region that is drawn or clicked in."""
    return cast(bpy.types.Region, context.region)


def eye_of(context: bpy.types.Context) -> bpy.types.RegionView3D:
    """Return from where the 3D view is seen."""
    return cast(bpy.types.RegionView3D, context.region_data)


def ui_scale(context: bpy.types.Context) -> float:
    """Return the scale of the interface; 1 is usual."""
    return float(preferences_of(context).system.ui_scale)


def show_status(context: bpy.types.Context, text: str | None) -> None:
    """Write in the status bar, where there is one; None gives it back to Blender."""
    if context.workspace:
        context.workspace.status_text_set(text)


def our_operators() -> Any:
    """Return the operators of this extension."""
    operators: Any = bpy.ops
    return operators.cuspwise


def mesh_of(obj: bpy.types.Object) -> bpy.types.Mesh:
    """Return the mesh of an object that is known to be one."""
    return cast(bpy.types.Mesh, obj.data)


def persistent(handler: Handler) -> Handler:
    """Mark a handler that Blender keeps when another file is opened."""
    return cast(Handler, bpy.app.handlers.persistent(handler))
