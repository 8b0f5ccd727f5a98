"""Areas of one's own: make them from a selection, delete them, get automatic ones back."""

from typing import Any

import bpy
import numpy as np

from ...standalone_core.areas.area_set import AREA_NAMES
from ...standalone_core.areas.support_marks import SUPPORTS, is_support
from ...standalone_core.errors import AreaError, CuspwiseError
from ...standalone_core.words.names import AREA_WORDS, area_words
from .. import identifiers
from ..areas import area_groups
from ..blender import bridge
from ..blender.in_blender import message
from ..blender.session import Answer, manager_of, mesh_of, scene_of, settings_of
from ..check import store
from ..drawing import overlay
from . import ready
from .areas import AreaFinding, mark_out_of_date


class MakeArea(bpy.types.Operator):
    """Make an area of what is selected on the design."""

    bl_idname = identifiers.MAKE_AREA
    bl_label = "Make Area from Selection"
    bl_description = (
        "Make an area of your own of the vertices that are selected on the design; it is measured "
        "with the next check. Named as an automatic area, it takes that one's place"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    area: bpy.props.StringProperty(
        name="Name", description="What the area is called in tables and reports", default="my area"
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design; it may be edited."""
        if not ready.no_job(cls, context):
            return False
        if not store.is_in(settings_of(context).design, scene_of(context)):
            cls.poll_message_set("Choose the design first")
            return False
        return True

    def invoke(self, context: bpy.types.Context, _event: bpy.types.Event) -> Answer:
        """Ask for the name."""
        if bpy.app.background:
            return self.execute(context)
        manager: Any = manager_of(context)
        answer: Answer = manager.invoke_props_dialog(self)
        return answer

    def execute(self, context: bpy.types.Context) -> Answer:
        """Read the selection and write the vertex group, which edit mode does not allow."""
        design = settings_of(context).design
        editing = design.mode == "EDIT"
        if editing:
            bpy.ops.object.mode_set(mode="OBJECT")
        try:
            name, count = _make(design, self.area)
            mark_out_of_date(scene_of(context), design)
        except CuspwiseError as error:
            self.report({"ERROR"}, message(error))
            return {"CANCELLED"}
        finally:
            if editing:
                bpy.ops.object.mode_set(mode="EDIT")
        self.report({"INFO"}, f"Made {area_words(name)} of {count} vertices.")
        return {"FINISHED"}


def _make(design: bpy.types.Object, words: str) -> tuple[str, int]:
    """Write the vertex group of what is selected; return the area's name and its size."""
    bridge.check_usable(design)
    name = area_groups.area_name(" ".join(words.split()))
    if not name or is_support(name) or name in (SUPPORTS, "whole", *_NOT_OWN):
        raise AreaError(
            f"“{words}” cannot be an area's name.",
            subject="Name",
            remedy="Give another one; support marks have a panel of their own.",
        )
    chosen = np.zeros(len(mesh_of(design).vertices), dtype=bool)
    mesh_of(design).vertices.foreach_get("select", chosen)
    vertices = np.flatnonzero(chosen)
    if not len(vertices):
        raise AreaError(
            "No vertex is selected.",
            subject=design.name,
            remedy="Select a part of its surface in Edit Mode, then press this again.",
        )
    area_groups.write_group(design, area_groups.group_name(name), vertices)
    return name, len(vertices)


_NOT_OWN = [name for name in AREA_WORDS if name not in AREA_NAMES]


class RemoveArea(bpy.types.Operator):
    """Delete an area of one's own."""

    bl_idname = identifiers.REMOVE_AREA
    bl_label = "Remove Area"
    bl_description = "Delete this area of your own, its vertex group with it"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    area: bpy.props.StringProperty(
        name="Area", description="The area's name, as in the list above", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a design."""
        return ready.has_design(cls, context)

    def execute(self, context: bpy.types.Context) -> Answer:
        """Delete the group."""
        design = settings_of(context).design
        if self.area not in area_groups.names(design) or is_support(self.area):
            self.report({"ERROR"}, f"{design.name} has no area {self.area!r}.")
            return {"CANCELLED"}
        area_groups.remove(design, self.area)
        mark_out_of_date(scene_of(context), design)
        overlay.refresh()
        return {"FINISHED"}


class RestoreArea(AreaFinding, bpy.types.Operator):
    """Find one area again, in the place of the one that was edited."""

    bl_idname = identifiers.RESTORE_AREA
    bl_label = "Restore Automatic Area"
    bl_description = (
        "Find this area again as it is found automatically; what you painted or loaded for it is "
        "dropped, and all other areas stay as they are"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    area: bpy.props.StringProperty(
        name="Area", description="The area's name, as in the list above", options={"SKIP_SAVE"}
    )


CLASSES = (MakeArea, RemoveArea, RestoreArea)
