"""The panel of design and scans; it says in a line what is done and what is next."""

from collections.abc import Mapping
from typing import Any

import bpy

from ...standalone_core.errors import CuspwiseError
from .. import identifiers
from ..blender import frames
from ..blender.session import scene_of, settings_of
from ..blender.units import unit_words
from ..check import judging, store, verdict_lines
from ..check.scene_choices import judging_choices, tolerances_of, why_unusual
from ..drawing import colour_map
from .base import SidebarPanel, draw_job, say

LINES_SHOWN = 4  # warnings; the rest are in the results


class ScanList(bpy.types.UIList):
    """The list of scans with group and verdict, or why there is none."""

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
        symbol: Any = _standing(item.scan).icon
        row = layout.row(align=True)
        row.prop(item.scan, "name", text="", emboss=False, icon=symbol)
        row.prop(item, "group", text="", emboss=False, placeholder="group")


class DesignAndScans(SidebarPanel, bpy.types.Panel):
    """Choose what is compared with what."""

    bl_idname = "CUSPWISE_PT_scans"
    bl_label = "Design and Scans"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw pickers, list and the main button."""
        layout, settings = self.layout, settings_of(context)
        _draw_head(layout, context)
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
        kept = store.shown_result_of(scan) if scan else None
        if scan is not None and kept is not None:
            _draw_answer(layout, context, scan, kept)


def _standing(scan: bpy.types.Object) -> verdict_lines.Standing:
    return verdict_lines.standing(store.data_of(scan).state, store.data_of(scan).verdict)


def _draw_head(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Say how the chosen scan stands, in a line; what is next where it was not measured."""
    scan = colour_map.selected_scan(scene_of(context))
    if scan is None or store.data_of(scan).state not in ("CURRENT", "OUT_OF_DATE"):
        say(layout, context, _next_step(context), "INFO")
        return
    found = _standing(scan)
    symbol: Any = found.icon
    say(layout, context, f"{scan.name}: {found.words}", symbol)


def _draw_answer(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    scan: bpy.types.Object,
    kept: Mapping[str, Any],
) -> None:
    """Draw verdict, reasons and warnings where they are seen without scrolling."""
    box, data = layout.box(), store.data_of(scan)
    chosen = judging_choices(settings_of(context))
    if data.state == "OUT_OF_DATE":
        say(box, context, f"Out of date: {data.state_reason} Check again.", "ERROR")
    elif judging.is_behind(kept, chosen):
        unusual = why_unusual(chosen)
        words = unusual or "Comparing with the new limits; below is what was before."
        say(box, context, words, "ERROR" if unusual else "TIME")
    found = opening_of(kept)
    symbol: Any = verdict_lines.VERDICT_ICONS[found.verdict]
    say(box, context, f"{found.title}.", symbol)
    for line in found.why:
        say(box, context, line)
    for line in found.caveats:
        say(box, context, line, "INFO")
    warnings = warnings_of(kept)
    if warnings:
        say(box, context, "Read before trusting the numbers:", "ERROR")
    for line in warnings[:LINES_SHOWN]:
        say(box, context, line)
    if len(warnings) > LINES_SHOWN:
        say(box, context, f"{len(warnings) - LINES_SHOWN} more below the results.")


def opening_of(kept: Mapping[str, Any]) -> verdict_lines.Opening:
    """Sum the verdicts of a kept result up."""
    tolerances = tolerances_of(kept["choices"])
    return verdict_lines.opening(store.verdicts_of(kept), kept["check"], tolerances)


def warnings_of(kept: Mapping[str, Any]) -> list[str]:
    """Return the warnings of a kept result, but for those that are reasons of its verdict."""
    reasons = opening_of(kept).reasons
    return [text for text in kept["check"]["warnings"] if text not in reasons]


def _next_step(context: bpy.types.Context) -> str:
    """Say in a line what is next."""
    settings = settings_of(context)
    scan = colour_map.selected_scan(scene_of(context))
    if not store.is_in(settings.design, scene_of(context)):
        return "Import or choose the design, the crown that was modelled."
    if scan is None:
        return "Import the scan of the produced crown, or add a selected mesh."
    if store.data_of(scan).state == "PLACED":
        return "The scan is superimposed; measure its deviation."
    return "Press Check Crown to do everything with the defaults."


def _size_words(design: bpy.types.Object, scene: bpy.types.Scene) -> str:
    try:
        scale = frames.scene_scale_mm(design, scene)
    except CuspwiseError as error:
        return f"{error.reason} {error.remedy}"
    return f"{unit_words(scale)}; longest side {scale * frames.longest_side(design):.2f} mm."


CLASSES = (ScanList, DesignAndScans)
