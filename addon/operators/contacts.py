"""Say which teeth stand about a crown, check its contacts with them, see them."""

from typing import Any

import bpy

from ...standalone_core.progress import Progress, Steps
from .. import identifiers
from ..blender.job import JobOperator
from ..blender.session import Answer, scene_of, settings_of
from ..check import store
from ..drawing import colour_map, framing
from ..fit import contacts, crown_maps
from ..fit.crown_chosen import teeth_of
from . import ready, ready_crown


class AddNeighbours(bpy.types.Operator):
    """Add the selected meshes to the neighbours."""

    bl_idname = identifiers.ADD_NEIGHBOURS
    bl_label = "Add Selected"
    bl_description = (
        "Add the selected mesh objects, other than design, scans and antagonist, to the "
        "neighbours of the crown"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask whether anything selected can be added."""
        if not ready.no_job(cls, context):
            return False
        if not _new_neighbours(context):
            cls.poll_message_set("Select teeth that are neither design, scan, nor listed yet")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Add them."""
        found = _new_neighbours(context)
        for obj in found:
            settings_of(context).teeth.neighbours.add().tooth = obj
        self.report({"INFO"}, f"Added {', '.join(obj.name for obj in found)}.")
        return {"FINISHED"}


class RemoveNeighbour(bpy.types.Operator):
    """Take a neighbour off the list."""

    bl_idname = identifiers.REMOVE_NEIGHBOUR
    bl_label = "Remove Neighbour"
    bl_description = "Take this tooth off the list of neighbours; the object stays in the scene"
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Neighbour", description="Which of them; 0 is the first", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for neighbours."""
        if not ready.no_job(cls, context):
            return False
        if not settings_of(context).teeth.neighbours:
            cls.poll_message_set("There is no neighbour in the list")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> Answer:
        """Take it off."""
        listed = settings_of(context).teeth.neighbours
        if self.number >= len(listed):
            self.report({"ERROR"}, f"There is no neighbour {self.number + 1}.")
            return {"CANCELLED"}
        listed.remove(self.number)
        return {"FINISHED"}


class CheckContacts(JobOperator, bpy.types.Operator):
    """Measure how the crown touches the teeth about it."""

    bl_idname = identifiers.CHECK_CONTACTS
    bl_label = "Check Contacts"
    bl_description = (
        "Measure gap or overlap, area and place of the crown's contacts with neighbours and "
        "antagonist, as all of them lie now; those of a scan against its design's. Nothing is "
        "moved"
    )
    bl_options = {"UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for the crown that is looked at, and for another tooth."""
        if not ready_crown.can_measure_crown(cls, context):
            return False
        if not teeth_of(scene_of(context)):
            cls.poll_message_set("Choose neighbours or the antagonist first")
            return False
        return True

    def read(self, context: bpy.types.Context) -> Steps[None]:
        """Read crown, design and teeth."""
        self._read = yield from contacts.read_steps(context, ready_crown.chosen_scan(context))

    def start(self, _context: bpy.types.Context) -> Steps[Any]:
        """Measure the contacts."""
        return contacts.measure_steps(self._read)

    def finish(self, context: bpy.types.Context, result: Any) -> Steps[str]:
        """Keep and show them."""
        said = yield from contacts.keep_steps(context, self._read, result)
        yield Progress("Colouring the crown", 1.0)
        colour_map.show_crown_map(context, crown_maps.CONTACTS)
        for warning in result.contacts.warnings:
            self.report({"WARNING"}, contacts.said_here(warning))
        return f"{self._read.crown.obj.name}: {said}"


class ShowContacts(bpy.types.Operator):
    """Show where the crown touches other teeth."""

    bl_idname = identifiers.SHOW_CONTACTS
    bl_label = "Show Contacts"
    bl_description = (
        "Colour the crown by gap and overlap with the other teeth, with rings at its contacts, "
        "and hide the teeth meanwhile"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for contacts that were measured."""
        return ready_crown.has_kept(cls, context, contacts.CONTACTS, "Press Check Contacts first")

    def execute(self, context: bpy.types.Context) -> Answer:
        """Colour the crown; say so if the contacts are out of date."""
        colour_map.show_crown_map(context, crown_maps.CONTACTS)
        reason = contacts.why_out_of_date(ready_crown.chosen_crown(context), scene_of(context))
        if reason:
            self.report({"WARNING"}, f"The map is out of date: {reason}")
        return {"FINISHED"}


class FrameContact(bpy.types.Operator):
    """Bring a contact into view."""

    bl_idname = identifiers.FRAME_CONTACT
    bl_label = "Frame Contact"
    bl_description = (
        "Look at this contact from outside: ringed, the 3D cursor on it, what stands before it "
        "hidden. Back to View Before ends that"
    )
    bl_options = {"REGISTER", "UNDO"}  # noqa: RUF012

    number: bpy.props.IntProperty(
        name="Contact", description="Which of them; 0 is the first", min=0, options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for contacts that were measured."""
        return ready_crown.has_kept(cls, context, contacts.CONTACTS, "Press Check Contacts first")

    def execute(self, context: bpy.types.Context) -> Answer:
        """Go there."""
        crown = ready_crown.chosen_crown(context)
        rows = (contacts.CONTACTS.of(crown) or {"rows": ()})["rows"]
        if self.number >= len(rows) or rows[self.number]["local"] is None:
            self.report({"ERROR"}, f"{crown.name}: contact {self.number + 1} has no place.")
            return {"CANCELLED"}
        problem = framing.frame_local(context, crown, rows[self.number]["local"])
        if problem:
            self.report({"ERROR"}, problem)
            return {"CANCELLED"}
        return {"FINISHED"}


def _new_neighbours(context: bpy.types.Context) -> list[bpy.types.Object]:
    settings, scene = settings_of(context), scene_of(context)
    known = {settings.design, settings.teeth.antagonist, *store.listed_scans(scene)}
    known |= {item.tooth for item in settings.teeth.neighbours}
    return [o for o in context.selected_objects if o.type == "MESH" and o not in known]


CLASSES = (
    AddNeighbours,
    RemoveNeighbour,
    CheckContacts,
    ShowContacts,
    FrameContact,
)
