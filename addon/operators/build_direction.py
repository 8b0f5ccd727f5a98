"""Say in which direction the chosen scan's crown was built: an axis, the view, or two points."""

from collections.abc import Sequence

import bpy

from .. import identifiers
from ..blender.session import Answer, scene_of
from ..causes import production
from ..drawing import colour_map
from . import ready
from .directions import AXES, DirectionOperator, PickingDirection, in_view, of_view


class BuildDirection(DirectionOperator):
    """Base of the three ways to say it."""

    def keep(self, context: bpy.types.Context, direction: Sequence[float]) -> str:
        """Keep it with the facts of the chosen scan's group."""
        scene = scene_of(context)
        facts = production.production_of(scene, colour_map.selected_scan(scene))
        facts.build_direction = direction
        return "Build direction"


class BuildDirectionFromAxis(BuildDirection, bpy.types.Operator):
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
        return self.keep_axis(context, self.axis)


class BuildDirectionFromView(BuildDirection, bpy.types.Operator):
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
        return in_view(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep it."""
        return self.keep_world(context, of_view(context, (0.0, 0.0, 1.0)))


class PickBuildDirection(BuildDirection, PickingDirection, bpy.types.Operator):
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


CLASSES = (BuildDirectionFromAxis, BuildDirectionFromView, PickBuildDirection)
