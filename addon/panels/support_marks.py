"""The list of support marks, with what was measured at each."""

from collections.abc import Mapping
from typing import Any, ClassVar

import bpy

from ...standalone_core.areas.support_marks import mark_area_name
from ...standalone_core.deviation.support_marks import (
    CLEAN,
    GOUGE,
    MARK_WORDS,
    NOT_MEASURED,
    STUB,
)
from ...standalone_core.shares import share_words
from ...standalone_core.words.text import capital, micrometres
from .. import identifiers
from ..areas import support_marks
from ..blender.session import scene_of, settings_of
from ..check import mark_results, store
from ..check.mark_results import number
from ..check.scene_choices import MARK_LIMITS
from ..drawing import colour_map
from .areas import AreasPanel
from .base import SidebarPanel, choose, draw_way_back, say

ICONS: dict[str, Any] = {
    STUB: "TRIA_UP",
    GOUGE: "TRIA_DOWN",
    CLEAN: "CHECKMARK",
    NOT_MEASURED: "QUESTION",
}


class MarkList(bpy.types.UIList):
    """The vertex groups of the design that are support marks."""

    bl_idname = "CUSPWISE_UL_marks"
    rows: ClassVar[dict[str, dict[str, Any]]] = {}

    def filter_items(self, context: bpy.types.Context, data: Any, _property: str) -> Any:
        """Leave out all other vertex groups; look the numbers up once for all rows."""
        scan = colour_map.selected_scan(scene_of(context))
        MarkList.rows = mark_results.rows(scan, data) if scan else {}
        shown = self.bitflag_filter_item
        flags = [shown if support_marks.mark_of_group(g) else 0 for g in data.vertex_groups]
        return flags, []

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
        """Draw one mark."""
        known = support_marks.mark_of_group(item)
        if known is None:
            return
        found = MarkList.rows.get(mark_area_name(*known))
        row = layout.split(factor=0.42)  # the number has room for all its digits
        row.label(text=known[1], icon=ICONS[found["verdict"]] if found else "DOT")
        row.label(text=_short(found))


class MarksPanel(SidebarPanel, bpy.types.Panel):
    """Where supports touched the crown, and what is left of them."""

    bl_idname = "CUSPWISE_PT_marks"
    bl_parent_id = AreasPanel.bl_idname
    bl_label = "Support Marks"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw marking, the list and the mark chosen."""
        layout, settings = self.layout, settings_of(context)
        design = settings.design
        layout.prop(settings, "mark_kind")
        layout.prop(settings, "mark_radius_mm")
        layout.operator(identifiers.MARK_SUPPORT, icon="CURSOR")
        layout.operator(identifiers.ASSIGN_MARK, icon="FACESEL")
        if not store.is_in(design, scene_of(context)) or not support_marks.names(design):
            say(layout, context, "None marked yet. Mark where supports touched the crown.")
            return
        data = store.data_of(design)
        row = layout.row()
        row.template_list(
            MarkList.bl_idname, "", design, "vertex_groups", data, "mark_index", rows=3
        )
        buttons = row.column(align=True)
        buttons.operator(identifiers.REMOVE_MARK, text="", icon="REMOVE")
        buttons.operator(identifiers.FRAME_MARK, text="", icon="VIEWZOOM")
        draw_way_back(layout, context)
        layout.prop(settings, "show_marks")
        scan = colour_map.selected_scan(scene_of(context))
        _draw_chosen(layout, context, design, scan)
        _draw_state(layout, context, scan)
        layout.operator(identifiers.MEASURE_MARKS, icon="FILE_REFRESH")


class MarkLimitsPanel(SidebarPanel, bpy.types.Panel):
    """When a support mark counts as a stub or a gouge."""

    bl_idname = "CUSPWISE_PT_mark_limits"
    bl_parent_id = MarksPanel.bl_idname
    bl_label = "Stub or Gouge"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the limits."""
        column = self.layout.column()
        for name in MARK_LIMITS:
            choose(column, context, settings_of(context).support_marks, name, "000.0")


def _draw_chosen(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    design: bpy.types.Object,
    scan: bpy.types.Object | None,
) -> None:
    area = support_marks.chosen(design)
    if area is None:
        say(layout, context, "Choose a mark in the list.")
        return
    data = store.data_of(design)
    column = layout.column(align=True)
    column.prop(data, "mark_name")
    column.prop(data, "mark_kind")
    if area in support_marks.circles(design):
        column.prop(data, "mark_radius_mm")
    found = mark_results.rows(scan, design).get(area) if scan else None
    if found is None:
        return
    box = layout.box().column(align=True)
    height, peak = (
        micrometres(number(found[key]), signed=True) for key in ("height_um", "peak_um")
    )
    what = "depth" if number(found["height_um"]) < 0 else "height"
    say(box, context, capital(MARK_WORDS[found["verdict"]]), ICONS[found["verdict"]])
    say(box, context, f"{what} {height} µm · from design {peak} µm")
    area_mm2 = micrometres(number(found["area_mm2"]), digits=2)
    volume = micrometres(number(found["volume_mm3"]), signed=True, digits=4)
    say(box, context, f"area {area_mm2} mm² · volume {volume} mm³")
    say(box, context, f"coverage {share_words(number(found['coverage']))}")
    say(box, context, found["reason"])


def _draw_state(
    layout: bpy.types.UILayout, context: bpy.types.Context, scan: bpy.types.Object | None
) -> None:
    if scan is None or not store.data_of(scan).result:
        say(layout, context, "Check Crown measures them.")
        return
    data = store.data_of(scan)
    if data.state == "OUT_OF_DATE":
        say(layout, context, f"Out of date: {data.state_reason} Check again.", "ERROR")
    elif data.marks_out_of_date:
        say(layout, context, "Edited since: press Measure Marks.", "ERROR")


def _short(found: Mapping[str, Any] | None) -> str:
    """Return verdict and height in few words."""
    if found is None:
        return "not measured yet"
    words = MARK_WORDS[found["verdict"]]
    if found["verdict"] == NOT_MEASURED:
        return words
    return f"{words} {micrometres(number(found['height_um']), signed=True, digits=0)} µm"


CLASSES = (MarkList, MarksPanel, MarkLimitsPanel)
