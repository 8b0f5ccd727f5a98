"""The panel of design and scans; it says in a line what is done and what is next."""

from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender import frames
from ..blender.session import scene_of, settings_of
from ..blender.units import unit_words
from ..check import store
from ..drawing import colour_map
from ..properties.object_data import STATES
from .base import SidebarPanel, draw_job, say

STATE_ICONS: dict[str, Any] = {key: icon for key, _title, _words, icon, _number in STATES}


class ScanList(bpy.types.UIList):
    """The list of scans with group and state."""

    bl_idname = "CUSPWISE_UL_scans"

    def draw_item(
        self,
        context: Any,
        layout: bpy.types.UILayout,
        data: Any,
        item: Any,
        icon: Any,
        active_data: Any,
        active_property: Any,
        index: Any,
        flt_flag: Any = 0,
    ) -> None:
        """Draw one scan."""
        if item.scan is None or not item.scan.users_scene:
            layout.label(text="(deleted)", icon="X")
            return
        state = store.data_of(item.scan).state
        row = layout.row(align=True)
        row.prop(item.scan, "name", text="", emboss=False, icon=STATE_ICONS[state])
        row.prop(item, "group", text="", emboss=False, placeholder="group")


class DesignAndScans(SidebarPanel, bpy.types.Panel):
    """Choose what is compared with what."""

    bl_idname = "CUSPWISE_PT_scans"
    bl_label = "Design and Scans"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw pickers, list and the main button."""
        layout, settings = self.layout, settings_of(context)
        say(layout, context, _next_step(context), "INFO")
        row = layout.row(align=True)
        row.prop(settings, "design")
        row.operator(identifiers.IMPORT_DESIGN, text="", icon="IMPORT")
        design = settings.design
        if store.is_in(design, scene_of(context)):
            say(layout, context, _size_words(design, scene_of(context)))
        layout.prop(settings, "unit")
        row = layout.row()
        row.template_list(ScanList.bl_idname, "", settings, "scans", settings, "scan_index", rows=3)
        buttons = row.column(align=True)
        buttons.operator(identifiers.ADD_SCANS, text="", icon="ADD")
        buttons.operator(identifiers.REMOVE_SCAN, text="", icon="REMOVE")
        row = layout.row(align=True)
        row.operator(identifiers.IMPORT_SCANS, icon="IMPORT")
        row.operator(identifiers.IMPORT_FOLDER, text="", icon="FILE_FOLDER")
        scan = colour_map.selected_scan(scene_of(context))
        if scan is not None:
            for line in store.data_of(scan).file_notes.splitlines():
                say(layout, context, line)
        draw_job(layout, context)
        main = layout.column()
        main.scale_y = 1.4
        main.operator(identifiers.CHECK_CROWN, icon="PLAY")
        main.operator(identifiers.CHECK_ALL, icon="PLAY")


def _next_step(context: bpy.types.Context) -> str:
    """Say in a line what is next."""
    settings = settings_of(context)
    scan = colour_map.selected_scan(scene_of(context))
    if not store.is_in(settings.design, scene_of(context)):
        return "Import or choose the design, the crown that was modelled."
    if scan is None:
        return "Import the scan of the produced crown, or add a selected mesh."
    return {
        "NONE": "Press Check Crown to do everything with the defaults.",
        "PLACED": "The scan is superimposed; measure its deviation.",
        "CURRENT": "Measured. Read the results below.",
        "OUT_OF_DATE": f"{store.data_of(scan).state_reason} Check again.",
    }[store.data_of(scan).state]


def _size_words(design: bpy.types.Object, scene: bpy.types.Scene) -> str:
    try:
        scale = frames.scene_scale_mm(design, scene)
    except CuspwiseError as error:
        return f"{error.reason} {error.remedy}"
    return f"{unit_words(scale)}; longest side {scale * frames.longest_side(design):.2f} mm."


CLASSES = (ScanList, DesignAndScans)
