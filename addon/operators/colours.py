"""Show the colour map and take it away; look at a place no more."""

import bpy

from .. import identifiers
from ..blender.session import Answer, scene_of, settings_of
from ..drawing import colour_map, framing, looking
from . import ready


class ShowColourMap(bpy.types.Operator):
    """Show the deviations in colours."""

    bl_idname = identifiers.SHOW_COLOUR_MAP
    bl_label = "Show Colour Map"
    bl_description = (
        "Colour the chosen scan and its design by deviation, in solid mode, material preview and "
        "renders. With the standard palette, red is material outside the design, blue is missing "
        "material, grey was not measured. The other scans are hidden meanwhile"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a result that is not shown yet."""
        if not ready.has_result(cls, context):
            return False
        if colour_map.shows_deviations(scene_of(context)):
            cls.poll_message_set("The colour map is shown already")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Colour both surfaces."""
        colour_map.show(context)
        return {"FINISHED"}


class RemoveColourMap(bpy.types.Operator):
    """Give materials and views back what they had."""

    bl_idname = identifiers.REMOVE_COLOUR_MAP
    bl_label = "Remove Colour Map"
    bl_description = (
        "Take the colours away; materials, views, and what is hidden are as they were before"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for colours to remove."""
        if not settings_of(context).show_colours:
            cls.poll_message_set("No colour map is shown")
            return False
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Take the colours off."""
        colour_map.remove(scene_of(context))
        return {"FINISHED"}


class LeavePlace(bpy.types.Operator):
    """Give the view back what it looked at."""

    bl_idname = identifiers.LEAVE_PLACE
    bl_label = "Back to View Before"
    bl_description = (
        "Look from where the view looked before a place was clicked; its ring goes, and what was "
        "hidden for it comes back"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a place that is looked at."""
        if looking.place_of(scene_of(context)) is None:
            cls.poll_message_set("No place is looked at")
            return False
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go back."""
        framing.leave(context)
        return {"FINISHED"}


CLASSES = (ShowColourMap, RemoveColourMap, LeavePlace)
