"""Picking places on surfaces with the mouse."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import bpy
from bpy_extras import view3d_utils
from mathutils import Vector

from .job import LOOKING
from .session import Answer, OperatorBase, manager_of, show_status, window_of

COVERING = ("UI", "TOOLS", "HEADER", "TOOL_HEADER", "ASSET_SHELF", "ASSET_SHELF_HEADER")


@dataclass(frozen=True)
class Hit:
    """A place on an object's surface.

    Attributes
    ----------
    obj : bpy.types.Object
    world : mathutils.Vector
        The place, in the world.
    local : mathutils.Vector
        The same in the object's own coordinates.
    face : int
        Index of the polygon.
    """

    obj: bpy.types.Object
    world: Vector
    local: Vector
    face: int


def hit_under_mouse(
    area: bpy.types.Area, event: Any, objects: tuple[bpy.types.Object, ...]
) -> Hit | None:
    """Return the nearest place of these objects under the mouse; None beside them."""
    region = free_region(area, event)
    if region is None:
        return None
    view: Any = cast(bpy.types.SpaceView3D, area.spaces.active).region_3d
    place = (event.mouse_x - region.x, event.mouse_y - region.y)
    origin = view3d_utils.region_2d_to_origin_3d(region, view, place)
    along = view3d_utils.region_2d_to_vector_3d(region, view, place)
    hits = [hit for obj in objects if (hit := hit_along(obj, origin, along)) is not None]
    return min(hits, key=lambda hit: (hit.world - origin).length, default=None)


def hit_along(obj: bpy.types.Object, origin: Vector, along: Vector) -> Hit | None:
    """Return where a ray, in the world, first meets an object that is shown."""
    if obj.hide_get():
        return None
    to_local = obj.matrix_world.inverted_safe()
    start = to_local @ origin
    direction = (to_local @ (origin + along) - start).normalized()
    found, place, _normal, face = obj.ray_cast(start, direction)
    return Hit(obj, obj.matrix_world @ place, place, face) if found else None


def free_region(area: bpy.types.Area, event: Any) -> bpy.types.Region | None:
    """Return the view's own region if the mouse is over it and over nothing that covers it."""
    over = [
        region
        for region in area.regions
        if region.x <= event.mouse_x < region.x + region.width
        and region.y <= event.mouse_y < region.y + region.height
    ]
    if any(region.type in COVERING for region in over):
        return None
    return next((region for region in over if region.type == "WINDOW"), None)


class PickingOperator(OperatorBase):
    """Base of operators that pick with the mouse until Enter or the right button ends them.

    A subclass gives ``objects`` (what may be picked), ``picked`` (what a click does) and
    ``take_back`` (what Esc undoes).
    """

    help_text = "Click on a surface   Enter: Done   Esc: Cancel"

    def objects(self, context: bpy.types.Context) -> tuple[bpy.types.Object, ...]:
        """Return the objects that may be picked on."""
        raise NotImplementedError

    def picked(self, context: bpy.types.Context, hit: Hit) -> None:
        """Do what a click does."""
        raise NotImplementedError

    def take_back(self) -> None:
        """Undo the clicks of this time."""
        raise NotImplementedError

    def start_picking(self, context: bpy.types.Context) -> Answer:
        """Wait for clicks from now on."""
        if context.area is None or context.area.type != "VIEW_3D":
            self.report({"ERROR"}, "Start this in a 3D view.")
            return {"CANCELLED"}
        self._area, self._count = context.area, 0
        manager_of(context).modal_handler_add(self)
        show_status(context, self.help_text)
        window_of(context).cursor_modal_set("CROSSHAIR")
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """Take clicks; everything that only looks goes on."""
        if event.type == "ESC" and event.value == "PRESS":
            self.take_back()
            self.cancel(context)
            return {"CANCELLED"}
        if event.type in ("RET", "NUMPAD_ENTER", "RIGHTMOUSE") and event.value == "PRESS":
            self.cancel(context)
            return {"FINISHED"} if self._count else {"CANCELLED"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            hit = hit_under_mouse(self._area, event, self.objects(context))
            if hit is not None:
                self.picked(context, hit)
                self._count += 1
                self._area.tag_redraw()
        return {"PASS_THROUGH"} if event.type in LOOKING else {"RUNNING_MODAL"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Stop waiting for clicks; Blender calls this too when the window closes."""
        show_status(context, None)
        window_of(context).cursor_modal_restore()
        self._area.tag_redraw()
