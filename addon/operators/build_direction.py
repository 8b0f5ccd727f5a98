"""Say in which direction the chosen scan's crown was built: an axis, the view, or two points."""

from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender import frames
from ..blender.in_blender import message
from ..blender.picking import Hit, PickingOperator
from ..blender.session import Answer, eye_of, scene_of, settings_of
from ..causes import production
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
    ("NONE", "Not Known", "Take the build direction away", (0.0, 0.0, 0.0)),
)


class BuildDirectionFromAxis(bpy.types.Operator):
    """Take an axis of the design as build direction."""

    bl_idname = identifiers.BUILD_DIRECTION_FROM_AXIS
    bl_label = "Build Direction from Axis"
    bl_description = (
        "Take an axis of the design as the direction in which the crown grew, away from the "
        "platform"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    axis: bpy.props.EnumProperty(
        name="Axis",
        description="The design's own axis, away from the platform",
        items=[entry[:3] for entry in AXES],
        default="POS_Z",
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for nothing but that no job runs."""
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep it."""
        direction = next(entry[3] for entry in AXES if entry[0] == self.axis)
        _production(context).build_direction = direction
        return {"FINISHED"}


class BuildDirectionFromView(bpy.types.Operator):
    """Take the direction towards the viewer as build direction."""

    bl_idname = identifiers.BUILD_DIRECTION_FROM_VIEW
    bl_label = "Build Direction from View"
    bl_description = (
        "Look down on the crown as it stood on the platform, last layer in front: the direction "
        "towards you is taken"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design and a 3D view."""
        if not ready.has_design(cls, context):
            return False
        if context.region_data is None:
            cls.poll_message_set("Press this in a 3D view")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep it."""
        towards = eye_of(context).view_rotation @ Vector((0.0, 0.0, 1.0))
        return _keep(self, context, towards)


class PickBuildDirection(PickingOperator, bpy.types.Operator):
    """Click two points of the crown, the one nearer to the platform first."""

    bl_idname = identifiers.PICK_BUILD_DIRECTION
    bl_label = "Pick Build Direction"
    bl_description = (
        "Click two places of the crown that lay above one another on the platform, the lower one "
        "first. Esc takes the first click back"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    help_text = "Click the place nearer to the platform, then one straight above it   Esc: Cancel"
    first: bpy.props.FloatVectorProperty(
        name="First",
        description="The place nearer to the platform, in the world",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )
    second: bpy.props.FloatVectorProperty(
        name="Second",
        description="A place straight above it, in the world",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )

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
        return _keep(self, context, Vector(self.second) - Vector(self.first))

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
        self.first, self.second = self._places
        return self.execute(context)


def _keep(operator: Any, context: bpy.types.Context, world: Vector) -> Answer:
    """Keep a direction of the world as one of the design's frame."""
    design = settings_of(context).design
    try:
        frame = frames.frame_of(design, scene_of(context))
    except CuspwiseError as error:
        operator.report({"ERROR"}, message(error))
        return {"CANCELLED"}
    direction = np.array(world.normalized()) @ frame.world_design[:3, :3]
    if not direction.any():
        operator.report({"ERROR"}, "Both places are the same. Give two that are apart.")
        return {"CANCELLED"}
    _production(context).build_direction = direction.tolist()
    x, y, z = direction.tolist()
    operator.report({"INFO"}, f"Build direction: {x:.2f}, {y:.2f}, {z:.2f} in the design's frame.")
    return {"FINISHED"}


def _production(context: bpy.types.Context) -> Any:
    scene = scene_of(context)
    return production.production_of(scene, colour_map.selected_scan(scene))


CLASSES = (BuildDirectionFromAxis, BuildDirectionFromView, PickBuildDirection)
