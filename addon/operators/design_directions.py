"""Say where mesial, buccal and the path of insertion of the design are."""

from collections.abc import Sequence
from typing import Any

import bpy

from ...standalone_core.areas.settings import AreaSettings
from ...standalone_core.setting import declared_in
from .. import identifiers
from ..blender.session import Answer, settings_of
from ..check import store
from ..check.setting_groups import DIRECTIONS
from ..drawing import overlay
from . import ready
from .directions import AXES, DirectionOperator, PickingDirection, in_view, of_view

TITLES = {"mesial_direction": "Mesial", "buccal_direction": "Buccal", "insertion": "Insertion"}
_DECLARED = declared_in(AreaSettings)
_KINDS = [(name, TITLES[name], _DECLARED[name].meaning.rstrip(".")) for name in DIRECTIONS]
_WAYS = (
    ("RIGHT", "To the Right", "It is to the right of what is seen", (1.0, 0.0, 0.0)),
    ("LEFT", "To the Left", "It is to the left of what is seen", (-1.0, 0.0, 0.0)),
    ("UP", "Up", "It is above what is seen", (0.0, 1.0, 0.0)),
    ("DOWN", "Down", "It is below what is seen", (0.0, -1.0, 0.0)),
    ("TOWARDS", "Towards Me", "It comes out of the screen", (0.0, 0.0, 1.0)),
    ("AWAY", "Away from Me", "It goes into the screen", (0.0, 0.0, -1.0)),
)


def _kind() -> Any:
    return bpy.props.EnumProperty(
        name="Direction", description="Which direction of the design is meant", items=_KINDS
    )


class DesignDirection(DirectionOperator):
    """Base of the three ways to say one; a subclass declares ``kind``."""

    def keep(self, context: bpy.types.Context, direction: Sequence[float]) -> str:
        """Keep it on the design, so that it goes with it."""
        kind: str = self.kind  # type: ignore[attr-defined]
        setattr(store.data_of(settings_of(context).design), kind, direction)
        overlay.redraw()
        return TITLES[kind]


class DesignDirectionFromAxis(DesignDirection, bpy.types.Operator):
    """Take an axis of the design as one of its directions."""

    bl_idname = identifiers.DESIGN_DIRECTION_FROM_AXIS
    bl_label = "Direction from Axis"
    bl_description = "Take an axis of the design as the direction, or take the direction away"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    kind: _kind()
    axis: bpy.props.EnumProperty(
        name="Axis",
        description="The design's own axis",
        items=[entry[:3] for entry in AXES],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep it."""
        return self.keep_axis(context, self.axis)


class DesignDirectionFromView(DesignDirection, bpy.types.Operator):
    """Take a direction of the view as one of the design's."""

    bl_idname = identifiers.DESIGN_DIRECTION_FROM_VIEW
    bl_label = "Direction from View"
    bl_description = (
        "Look at the crown and say where on the screen the direction points: looking at its "
        "occlusal surface, the path of insertion comes towards you"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    kind: _kind()
    way: bpy.props.EnumProperty(
        name="Way",
        description="Where on the screen the direction points",
        items=[entry[:3] for entry in _WAYS],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design and a 3D view."""
        return in_view(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Keep it."""
        way = next(entry[3] for entry in _WAYS if entry[0] == self.way)
        return self.keep_world(context, of_view(context, way))


class PickDesignDirection(DesignDirection, PickingDirection, bpy.types.Operator):
    """Click two points of the crown, the one that the direction starts from first."""

    bl_idname = identifiers.PICK_DESIGN_DIRECTION
    bl_label = "Pick Direction"
    bl_description = (
        "Click two places of the crown; the direction goes from the first to the second. Esc "
        "takes the first click back"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    help_text = "Click a place, then one that lies in the direction from it   Esc: Cancel"
    kind: _kind()
    first: bpy.props.FloatVectorProperty(
        name="First",
        description="The place that the direction starts from, in the world",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )
    second: bpy.props.FloatVectorProperty(
        name="Second",
        description="The place that the direction points to, in the world",
        subtype="TRANSLATION",
        options={"SKIP_SAVE"},
    )


CLASSES = (DesignDirectionFromAxis, DesignDirectionFromView, PickDesignDirection)
