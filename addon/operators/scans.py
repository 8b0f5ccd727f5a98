"""Scans of the scene into the list and out of it."""

import bpy

from .. import identifiers
from ..blender.session import Answer, scene_of, settings_of
from ..check import store
from ..drawing import colour_map
from ..files.placing import add_to_list
from ..properties.defaults import take_defaults
from . import ready


class AddScans(bpy.types.Operator):
    """Add the selected meshes to the list of scans."""

    bl_idname = identifiers.ADD_SCANS
    bl_label = "Add Selected"
    bl_description = "Add the selected mesh objects, other than the design, to the list of scans"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether anything selected is not in the list yet."""
        if not ready.no_job(cls, context):
            return False
        if not _new_scans(context):
            cls.poll_message_set("Select mesh objects that are neither the design nor listed yet")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add them."""
        take_defaults(scene_of(context))
        found = _new_scans(context)
        add_to_list(scene_of(context), [(scan, "") for scan in found])
        for scan in found:
            store.refresh(scan, scene_of(context))
        colour_map.refresh(scene_of(context))
        self.report({"INFO"}, f"Added {', '.join(scan.name for scan in found)}.")
        return {"FINISHED"}


class RemoveScan(bpy.types.Operator):
    """Take the chosen scan off the list."""

    bl_idname = identifiers.REMOVE_SCAN
    bl_label = "Remove from List"
    bl_description = "Take the chosen scan off the list; the object and its results stay"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether a row is chosen."""
        settings = settings_of(context)
        if not 0 <= settings.scan_index < len(settings.scans):
            cls.poll_message_set("Choose a scan in the list")
            return False
        return ready.no_job(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Remove the row."""
        settings = settings_of(context)
        settings.scans.remove(settings.scan_index)
        settings.scan_index = max(0, min(settings.scan_index, len(settings.scans) - 1))
        return {"FINISHED"}


def _new_scans(context: bpy.types.Context) -> list[bpy.types.Object]:
    settings = settings_of(context)
    listed = {item.scan for item in settings.scans}
    return [
        obj
        for obj in context.selected_objects
        if obj.type == "MESH" and obj != settings.design and obj not in listed
    ]


CLASSES = (AddScans, RemoveScan)
