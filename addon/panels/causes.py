"""The panel of the causes: why the chosen scan deviates, and what to change."""

from collections.abc import Mapping
from typing import Any

import bpy

from ...standalone_core.causes.words import CAUTION
from ...standalone_core.words.text import capital
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..causes import cause_lines, causes_store, production
from ..check import store
from ..drawing import colour_map
from .base import SidebarPanel, choose, draw_way_back, press, say


class CausesPanel(SidebarPanel, bpy.types.Panel):
    """Find the causes, read them, see them on the design."""

    bl_idname = "CUSPWISE_PT_causes"
    bl_label = "Causes"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what was found in sentences, and the choice of the map."""
        layout, scene = self.layout, scene_of(context)
        scan = colour_map.selected_scan(scene)
        kept = causes_store.causes_of(scan)
        layout.operator(identifiers.FIND_CAUSES, icon="VIEWZOOM")
        if scan is None or not store.data_of(scan).result:
            say(layout, context, "Check Crown comes first.")
            return
        reason = causes_store.why_out_of_date(scan, scene)
        if reason:
            say(layout, context, f"Out of date: {reason} Find causes again.", "ERROR")
        if kept is None:
            if not reason:
                words = "Finds why the crown deviates. Say below what is known of its production."
                say(layout, context, words)
            return
        for text in cause_lines.sentences(kept):
            say(layout, context, text, "DOT")
        _draw_maps(layout, context, kept)


class SizesPanel(SidebarPanel, bpy.types.Panel):
    """Every cause with its size and interval, and the next factors."""

    bl_idname = "CUSPWISE_PT_cause_sizes"
    bl_parent_id = CausesPanel.bl_idname
    bl_label = "Sizes"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for causes."""
        return _kept(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the causes that are stated, what to change, and what was not looked for."""
        layout, kept = self.layout, _kept(context) or {}
        for row in cause_lines.stated(kept):
            _draw_cause(layout, context, kept, row)
        corrections = cause_lines.correction_lines(kept)
        if corrections:
            box = layout.box().column(align=True)
            box.label(text="Next enlargement", icon="FORWARD")
            for axis, factor, condition in corrections:
                box.label(text=axis)
                say(box, context, factor)
                if condition:
                    say(box, context, condition)
            say(box, context, CAUTION, "INFO")
        for text in (cause_lines.not_shown(kept), *kept["notes"]):
            if text:
                say(layout, context, text, "INFO")


class FoundMarksPanel(SidebarPanel, bpy.types.Panel):
    """Support marks that nobody marked, to be accepted or dismissed."""

    bl_idname = "CUSPWISE_PT_found_marks"
    bl_parent_id = CausesPanel.bl_idname
    bl_label = "Found Support Marks"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for one that is not answered yet."""
        kept = _kept(context)
        return kept is not None and bool(causes_store.open_marks(kept))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw a row for each."""
        say(
            self.layout,
            context,
            "Places that may be support marks, with their likelihood. Click one to look at it; "
            "then accept or dismiss it.",
        )
        column = self.layout.column(align=True)
        for number, mark in causes_store.open_marks(_kept(context) or {}):
            part = column.column(align=True)
            words, row = part.column(align=True), part.row(align=True)
            text = cause_lines.mark_words(mark)
            frame = identifiers.FRAME_FOUND_PLACE
            button = press(row, context, frame, text, "Show Place", above=words, others=2)
            button.kind, button.number = "marks", number
            row.operator(identifiers.ACCEPT_FOUND_MARK, text="", icon="CHECKMARK").number = number
            row.operator(identifiers.DISMISS_FOUND_MARK, text="", icon="X").number = number
        draw_way_back(self.layout, context)


class FilledPlacesPanel(SidebarPanel, bpy.types.Panel):
    """Where fossae were filled, or the tool did not reach."""

    bl_idname = "CUSPWISE_PT_filled_places"
    bl_parent_id = CausesPanel.bl_idname
    bl_label = "Filled Places"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for one."""
        kept = _kept(context)
        return kept is not None and bool(kept["places"])

    def draw(self, context: bpy.types.Context) -> None:
        """Draw a row for each: how deep, how large."""
        column = self.layout.column(align=True)
        for number, place in enumerate((_kept(context) or {})["places"]):
            text = cause_lines.place_words(place)
            button = press(column, context, identifiers.FRAME_FOUND_PLACE, text, "Show Place")
            button.kind, button.number = "places", number
        draw_way_back(self.layout, context)


class PredictionPanel(SidebarPanel, bpy.types.Panel):
    """What the areas would measure after a correction."""

    bl_idname = "CUSPWISE_PT_prediction"
    bl_parent_id = CausesPanel.bl_idname
    bl_label = "Prediction"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for one."""
        kept = _kept(context)
        return kept is not None and bool(kept["predicted"])

    def draw(self, context: bpy.types.Context) -> None:
        """Draw measured and predicted mean absolute deviations."""
        say(self.layout, context, "Mean absolute deviation; a prediction, nothing measured.")
        for title, lines in cause_lines.predictions(_kept(context) or {}):
            box = self.layout.box().column(align=True)
            say(box, context, title)
            for text in lines:
                say(box, context, text)


class ProductionPanel(SidebarPanel, bpy.types.Panel):
    """What is known of how the chosen scan's crown was produced."""

    bl_idname = "CUSPWISE_PT_production"
    bl_parent_id = CausesPanel.bl_idname
    bl_label = "Production"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the facts of the scan's group."""
        layout, scene = self.layout, scene_of(context)
        scan = colour_map.selected_scan(scene)
        facts, group = production.production_of(scene, scan), production.group_of(scene, scan)
        whose = f"Of the group “{group}”:" if group else "Of crowns without a group:"
        say(layout, context, whose)
        layout.prop(facts, "way", text="")
        column = layout.column(align=True)
        for name in ("enlargement", "enlargement_along_build"):
            choose(column, context, facts, name, "1.0000")
        row = column.row()
        row.active = facts.way != "printed"
        choose(row, context, facts, "bur_radius_mm", "0.000")
        _draw_direction(layout, context, facts)


class ScannerPanel(SidebarPanel, bpy.types.Panel):
    """What is known of the scanner's own scale."""

    bl_idname = "CUSPWISE_PT_scanner_scale"
    bl_parent_id = CausesPanel.bl_idname
    bl_label = "Scanner's Scale"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        causes = settings_of(context).causes
        self.layout.prop(causes, "scanner_is_known", text="Known from a Calibrated Part")
        column = self.layout.column(align=True)
        column.enabled = causes.scanner_is_known
        for name in ("scanner_scale_permille", "scanner_scale_uncertainty_permille"):
            choose(column, context, causes, name, "−0.000")


def _kept(context: bpy.types.Context) -> dict[str, Any] | None:
    return causes_store.causes_of(colour_map.selected_scan(scene_of(context)))


def _draw_maps(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: Mapping[str, Any]
) -> None:
    """Draw which maps there are, and what is shown."""
    scene = scene_of(context)
    scan, key = colour_map.selected_scan(scene), settings_of(context).causes.map_key
    shown = causes_store.is_chosen_map(scan, scene) and settings_of(context).show_colours
    column = layout.column(align=True)
    say(column, context, f"Map of {cause_lines.title_of(kept, key)}" if shown else "Maps:")
    row = column.row(align=True)
    row.operator(identifiers.SHOW_COLOUR_MAP, text="Deviation")
    if causes_store.ALL in kept["maps"]:
        row.operator(identifiers.SHOW_CAUSE_MAP, text="All Causes").key = causes_store.ALL
    row.operator(identifiers.SHOW_CAUSE_MAP, text="Left").key = causes_store.LEFT


def _draw_cause(
    layout: bpy.types.UILayout,
    context: bpy.types.Context,
    kept: Mapping[str, Any],
    row: cause_lines.Row,
) -> None:
    """Draw one cause: its name with the button of its map, its size, its weight."""
    box, key = layout.box().column(align=True), cause_lines.key_of(row)
    lines = [cause_lines.size_line(row), cause_lines.weight_line(row), cause_lines.share_line(row)]
    say(box, context, capital(cause_lines.title_of(kept, key)), "KEYFRAME_HLT")
    for text in filter(None, lines):
        say(box, context, text)
    if row["change"]:
        say(box, context, row["change"])
    if key in kept["maps"]:
        box.operator(identifiers.SHOW_CAUSE_MAP, text="Show Its Map", icon="HIDE_OFF").key = key


def _draw_direction(layout: bpy.types.UILayout, context: bpy.types.Context, facts: Any) -> None:
    """Draw the build direction and where it can be had from."""
    column = layout.column(align=True)
    column.label(text="Build direction, in the design's frame:")
    column.row(align=True).prop(facts, "build_direction", text="")
    row = column.row(align=True)
    row.operator_menu_enum(identifiers.BUILD_DIRECTION_FROM_AXIS, "axis", text="Axis")
    row.operator(identifiers.BUILD_DIRECTION_FROM_VIEW, text="View")
    row.operator(identifiers.PICK_BUILD_DIRECTION, text="Points")
    layout.prop(settings_of(context).causes, "show_build_direction")


CLASSES = (
    CausesPanel,
    SizesPanel,
    FoundMarksPanel,
    FilledPlacesPanel,
    PredictionPanel,
    ProductionPanel,
    ScannerPanel,
)
