"""The table of all crowns: a row for each, and below it the areas of the one chosen."""

from typing import Any, ClassVar

import bpy

from ...standalone_core.report.check.sentences import marks_line
from ...standalone_core.words.names import NO_TOLERANCE, NOT_DECIDABLE, OUTSIDE, WITHIN, area_words
from ...standalone_core.words.text import capital
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import all_scans, crown_rows
from ..check.crown_rows import Row
from ..properties.crown_choices import filters_of
from .base import SidebarPanel, beside, say

ICONS: dict[str, Any] = {
    WITHIN: "CHECKMARK",
    OUTSIDE: "CANCEL",
    NOT_DECIDABLE: "QUESTION",
    NO_TOLERANCE: "NONE",
    crown_rows.FAILED: "ERROR",
    crown_rows.OUT_OF_DATE: "ERROR",
    crown_rows.NOT_CHECKED: "MESH_DATA",
    "": "NONE",
}
AREA_ICONS: dict[str, Any] = {**ICONS, NO_TOLERANCE: "BLANK1"}
NAME_SHARE = 0.45


class CrownList(bpy.types.UIList):
    """All crowns: verdict, name, worst area; clicking one chooses its scan."""

    bl_idname = "CUSPWISE_UL_crowns"
    rows: ClassVar[list[Row]] = []

    def draw_filter(self, context: Any, layout: bpy.types.UILayout) -> None:
        """Draw a search for names; order and choice stand above the list."""
        layout.prop(self, "filter_name", text="", icon="VIEWZOOM")

    def filter_items(self, context: bpy.types.Context, data: Any, _property: str) -> Any:
        """Put the rows in their order and leave out those not asked for."""
        CrownList.rows = rows = all_scans.rows_of(scene_of(context))
        group, status = filters_of(context)
        sought = self.filter_name.casefold()
        flags = [
            self.bitflag_filter_item
            if crown_rows.is_shown(row, group, status) and sought in row.name.casefold()
            else 0
            for row in rows
        ]
        order = crown_rows.order_of(rows, data.crowns.sort_by, data.crowns.area)
        places = [0] * len(rows)
        for place, number in enumerate(order):
            places[number] = place
        return flags, places

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
        """Draw one crown."""
        if index >= len(CrownList.rows):
            return
        row = CrownList.rows[index]
        split = layout.split(factor=NAME_SHARE)
        split.label(text=row.name, icon=ICONS[row.status])
        found = row.of_area(data.crowns.area) if data.crowns.sort_by == "AREA" else None
        split.label(text=crown_rows.numbers(found) if found else crown_rows.short(row))


class CrownsPanel(SidebarPanel, bpy.types.Panel):
    """All crowns side by side."""

    bl_idname = "CUSPWISE_PT_crowns"
    bl_label = "All Crowns"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the table, the chosen crown's areas, and the ways out."""
        layout, settings = self.layout, settings_of(context)
        rows = all_scans.rows_of(scene_of(context))
        if not any(row is not crown_rows.GONE for row in rows):
            say(layout, context, "No scan is listed yet.")
            return
        say(layout, context, crown_rows.sum_of(rows))
        chosen = settings.crowns
        column = layout.column(align=True)
        column.prop(chosen, "sort_by")
        if chosen.sort_by == "AREA":
            column.prop(chosen, "area")
        show = column.row(align=True)
        show.prop(chosen, "group", text="")
        show.prop(chosen, "status", text="")
        layout.template_list(
            CrownList.bl_idname, "", settings, "scans", settings, "scan_index", rows=5, maxrows=12
        )
        if 0 <= settings.scan_index < len(rows):
            _draw_crown(layout, context, rows[settings.scan_index])
        _draw_ways_out(layout)


def _draw_ways_out(layout: bpy.types.UILayout) -> None:
    row = layout.row(align=True)
    row.operator(identifiers.COPY_CROWNS, icon="COPYDOWN")
    row.operator(identifiers.EXPORT_CROWNS, icon="EXPORT")
    layout.operator(identifiers.OPEN_CROWNS, icon="URL")
    again = layout.operator(identifiers.CHECK_ALL, text="Measure All Anew", icon="FILE_REFRESH")
    again.anew = True


def _draw_crown(layout: bpy.types.UILayout, context: bpy.types.Context, row: Row) -> None:
    """Draw the areas of one crown, each with its number against its limit."""
    if row is crown_rows.GONE:
        return
    box = layout.box().column(align=True)
    box.label(text=row.name, icon=ICONS[row.status])
    if row.reason:
        say(box, context, row.reason)
    if row.crown is None:
        return
    for found in row.verdicts:
        cells = capital(area_words(found.area)), crown_rows.numbers(found)
        beside(box, context, cells, (": ".join(cells),), 0.5, AREA_ICONS[found.verdict])
    box.label(text="Mean absolute deviation and its limit")
    if row.crown.marks:
        say(box, context, marks_line(row.crown.marks))


CLASSES = (CrownList, CrownsPanel)
