"""Lay the section plane: across the view, or across an axis."""

import bpy

from .. import identifiers
from ..blender.session import Answer, settings_of
from ..fit import section
from . import ready

NORMALS = {"X": (1.0, 0.0, 0.0), "Y": (0.0, -1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


class PlaceSection(bpy.types.Operator):
    """Lay the section plane and show it."""

    bl_idname = identifiers.PLACE_SECTION
    bl_label = "Place Section"
    bl_description = (
        "Lay the section plane across the view as it is now, or across an axis, through the "
        "middle of the crown or the 3D cursor; it stays there when the view turns"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    across: bpy.props.EnumProperty(
        name="Across",
        description="What the plane lies square to",
        items=(
            ("VIEW", "View", "Facing you as you look now"),
            ("X", "X Axis", "Square to the world's X axis"),
            ("Y", "Y Axis", "Square to the world's Y axis"),
            ("Z", "Z Axis", "Square to the world's Z axis"),
        ),
        options={"SKIP_SAVE"},
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Lay it there."""
        chosen = settings_of(context).teeth.section
        if self.across == "VIEW" and not section.take_view(context):
            self.report({"ERROR"}, "There is no 3D view here; press the button in its sidebar.")
            return {"CANCELLED"}
        if chosen.follows_view:
            chosen.follows_view = False
        if self.across != "VIEW":
            chosen.normal = NORMALS[self.across]
        chosen.offset_mm, chosen.shown = 0.0, True
        return {"FINISHED"}


CLASSES = (PlaceSection,)
