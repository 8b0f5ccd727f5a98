"""Ways to say a direction in the design's frame: an axis, the view, or two points of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.in_blender import message
from ..blender.picking import Hit, PickingOperator
from ..blender.session import Answer, OperatorBase, eye_of, scene_of, settings_of
from ..check import store
from ..drawing import colour_map
from . import ready

AXES = (
    ("POS_X", "X", "Along the design's own X axis", (1.0, 0.0, 0.0)),
    ("NEG_X", "−X", "Against the design's own X axis", (-1.0, 0.0, 0.0)),
    ("POS_Y", "Y", "Along the design's own Y axis", (0.0, 1.0, 0.0)),
    ("NEG_Y", "−Y", "Against the design's own Y axis", (0.0, -1.0, 0.0)),
    ("POS_Z", "Z", "Along the design's own Z axis", (0.0, 0.0, 1.0)),
    ("NEG_Z", "−Z", "Against the design's own Z axis", (0.0, 0.0, -1.0)),
    ("NONE", "Not Known", "Take the direction away", (0.0, 0.0, 0.0)),
)


class DirectionOperator(OperatorBase):
    """Base of operators that say a direction; a subclass gives ``keep``."""

    def keep(self, context: bpy.types.Context, direction: Sequence[float]) -> str:
        """Keep a direction of the design's frame; return what it is called."""
        raise NotImplementedError

    def keep_axis(self, context: bpy.types.Context, axis: str) -> Answer:
        """Keep an axis of the design."""
        self.keep(context, next(entry[3] for entry in AXES if entry[0] == axis))
        return {"FINISHED"}

    def keep_world(self, context: bpy.types.Context, world: Vector) -> Answer:
        """Keep a direction of the world as one of the design's frame."""
        try:
            frame = frames.frame_of(settings_of(context).design, scene_of(context))
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        direction = np.array(world.normalized()) @ frame.world_design[:3, :3]
        if not direction.any():
            self.report({"ERROR"}, "Both places are the same. Give two that are apart.")
            return {"CANCELLED"}
        x, y, z = direction.tolist()
        name = self.keep(context, (x, y, z))
        self.report({"INFO"}, f"{name}: {x:.2f}, {y:.2f}, {z:.2f} in the design's frame.")
        return {"FINISHED"}


def of_view(context: bpy.types.Context, way: Sequence[float]) -> Vector:
    """Return a direction of the view, such as to the right of it, in the world."""
    towards: Vector = eye_of(context).view_rotation @ Vector(way)
    return towards


def in_view(operator: Any, context: bpy.types.Context) -> bool:
    """Tell whether there is a design, and a 3D view that is pressed in."""
    if not ready.has_design(operator, context):
        return False
    if context.region_data is None:
        operator.poll_message_set("Press this in a 3D view")
        return False
    return True


class PickingDirection(DirectionOperator, PickingOperator):
    """Base of operators that take the direction between two clicks.

    A subclass declares ``first`` and ``second``, which a script can give.
    """

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Pick with the mouse; in the background, take the places given."""
        if bpy.app.background:
            return self.execute(context)
        self._places: list[Vector] = []
        return self.start_picking(context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep the direction between the places given."""
        given: Any = self
        return self.keep_world(context, Vector(given.second) - Vector(given.first))

    def objects(self, context: bpy.types.Context) -> tuple[bpy.types.Object, ...]:
        """Return the design, and the scan that lies on it."""
        design, scan = settings_of(context).design, colour_map.selected_scan(scene_of(context))
        lies = scan is not None and store.data_of(scan).state in ("CURRENT", "PLACED")
        same = scan is not None and store.data_of(scan).design == design
        return (design, scan) if scan is not None and lies and same else (design,)

    def picked(self, context: bpy.types.Context, hit: Hit) -> None:
        """Note a place."""
        del context
        self._places.append(hit.world)

    def take_back(self) -> None:
        """Forget the first click; nothing was kept yet."""
        self._places = []

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Answer:
        """End with the second click."""
        answer = super().modal(context, event)
        if answer == {"FINISHED"}:
            self.report({"INFO"}, "One place tells no direction; nothing was changed.")
            return {"CANCELLED"}
        if answer != {"RUNNING_MODAL"} or len(self._places) < 2:
            return answer
        self.cancel(context)
        given: Any = self
        given.first, given.second = self._places
        return self.execute(context)
