"""The panel of the contacts: which teeth stand about the crown, and how it touches them."""

from collections.abc import Mapping
from typing import Any

import bpy

from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..drawing import colour_map
from ..fit import contact_lines, contacts
from ..fit.crown_chosen import crown_of, teeth_of
from .base import SidebarPanel, below_title, choose, draw_way_back, say
from .fit import FitPanel
from .walls import draw_out_of_date

ICONS: dict[str, Any] = {"none": "QUESTION", "open": "QUESTION", "tight": "ERROR"}


class ContactsPanel(SidebarPanel, bpy.types.Panel):
    """Say which teeth there are, check the contacts, read them, see them on the crown."""

    bl_idname = "CUSPWISE_PT_contacts"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Contacts"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the teeth, the button, and every contact."""
        layout, scene = self.layout, scene_of(context)
        _draw_teeth(layout, context)
        layout.operator(identifiers.CHECK_CONTACTS, icon="VIEWZOOM")
        crown = crown_of(scene, colour_map.selected_scan(scene))
        if crown is None:
            return
        reason = contacts.why_out_of_date(crown, scene)
        draw_out_of_date(layout, context, reason, "Check contacts again.")
        kept = contacts.CONTACTS.of(crown)
        if kept is not None:
            _draw_kept(layout, context, kept)
        elif not teeth_of(scene):
            say(layout, context, "Choose the teeth that stand about the crown, where they stand.")


class ContactLimitsPanel(SidebarPanel, bpy.types.Panel):
    """When a contact is open, tight, or as designed."""

    bl_idname = "CUSPWISE_PT_contact_limits"
    bl_parent_id = ContactsPanel.bl_idname
    bl_label = "Open or Tight"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the limits."""
        chosen = settings_of(context).teeth
        column = self.layout.column(align=True)
        for name in ("open_um", "tight_um", "change_um", "search_mm"):
            choose(column, context, chosen, name, "000.0")


def _draw_teeth(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    chosen = settings_of(context).teeth
    column = layout.column(align=True)
    column.label(text="Neighbours:")
    for number, item in enumerate(chosen.neighbours):
        row = column.row(align=True)
        row.prop(item, "tooth", text="")
        row.prop(item, "side", text="")
        row.operator(identifiers.REMOVE_NEIGHBOUR, text="", icon="X").number = number
    column.operator(identifiers.ADD_NEIGHBOURS, icon="ADD")
    below_title(layout, chosen, "antagonist")


def _draw_kept(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: Mapping[str, Any]
) -> None:
    for text in kept["warnings"]:
        say(layout, context, text, "ERROR")
    for number, row in enumerate(kept["rows"]):
        box = layout.box().column(align=True)
        say(box, context, row["sentence"], ICONS.get(row["strength"], "CHECKMARK"))
        for text in contact_lines.details(row):
            say(box, context, text)
        if row["local"] is not None:
            button = box.operator(identifiers.FRAME_CONTACT, text="Show Place", icon="VIEWZOOM")
            button.number = number
    draw_way_back(layout, context)
    layout.operator(identifiers.SHOW_CONTACTS, icon="HIDE_OFF")


CLASSES = (ContactsPanel, ContactLimitsPanel)
