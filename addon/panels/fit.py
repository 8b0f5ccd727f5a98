"""The panel of the fit: the crown on its die, its seat, gap and margin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bpy

from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import store
from ..drawing import colour_map
from ..fit import finish_line, fit_lines, fit_store, gap_map
from ..fit.crown_chosen import crown_of
from .base import SidebarPanel, below_title, beside, choose, draw_way_back, press, say
from .results import VERDICT_ICONS

MAP_TITLES = {fit_store.GAP: "Show Gap Map", fit_store.RELIEF: "Show What to Take Off"}


class FitPanel(SidebarPanel, bpy.types.Panel):
    """Choose the die, seat the crown, run it down."""

    bl_idname = "CUSPWISE_PT_fit"
    bl_label = "Fit"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choices, the answer, and the crown's way down."""
        layout, chosen = self.layout, settings_of(context).fit
        layout.row().prop(chosen, "crown", expand=True)
        layout.prop(chosen, "die")
        if chosen.die is not None:
            layout.prop(chosen, "lies_on_die")
        layout.operator(identifiers.SEAT_CROWN, icon="IMPORT")
        crown, kept = _kept(context)
        if crown is None or not store.data_of(crown).fit.text:
            words = "Seats the crown on its die and measures the gap between the two."
            say(layout, context, words if chosen.die else "Choose the prepared tooth as die.")
            return
        reason = fit_store.why_out_of_date(crown, scene_of(context))
        if reason:
            say(layout, context, f"Out of date: {reason} Seat it again.", "ERROR")
        if kept is None:
            return
        _draw_answer(layout, context, kept)
        _draw_way_down(layout, context, crown)
        _draw_maps(layout, context, kept)
        for text in fit_lines.CAUTIONS:
            say(layout, context, text, "INFO")


class FitChoicesPanel(SidebarPanel, bpy.types.Panel):
    """What else is known of the fit, and what is good enough."""

    bl_idname = "CUSPWISE_PT_fit_choices"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Choices"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw them."""
        layout, chosen = self.layout, settings_of(context).fit
        layout.prop(chosen, "contact")
        for name in ("marginal_limit_um", "cement_space_um", "margin_space_um"):
            choose(layout, context, chosen, name, "000.0")
        column = layout.column(align=True)
        column.prop(chosen, "mesial")
        column.prop(chosen, "buccal")
        below_title(layout, chosen, "seated")


class FinishLinePanel(SidebarPanel, bpy.types.Panel):
    """The die's finish line, where the margin is measured."""

    bl_idname = "CUSPWISE_PT_finish_line"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Finish Line"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a die."""
        return store.is_in(settings_of(context).fit.die, scene_of(context))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw where it comes from, and the ways to one."""
        layout, chosen = self.layout, settings_of(context).fit
        line = finish_line.there(chosen.die)
        if line is not None:
            say(layout, context, f"The curve “{line.name}”; edit it as any curve.", "CURVE_DATA")
        elif chosen.lies_on_die:
            say(layout, context, "Carried over from the design's margin line when it is seated.")
        else:
            words = "None: the margin is not measured. Draw it on the die."
            say(layout, context, words, "INFO")
        layout.operator(identifiers.CARRY_OVER_MARGIN_LINE)
        layout.operator(identifiers.DRAW_FINISH_LINE)
        if line is not None:
            layout.operator(identifiers.REMOVE_FINISH_LINE)


class SeatPanel(SidebarPanel, bpy.types.Panel):
    """Where the crown rests, and on what."""

    bl_idname = "CUSPWISE_PT_fit_seat"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Seat"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a fit."""
        return _kept(context)[1] is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw seat, spots and play."""
        layout, kept = self.layout, _kept(context)[1] or {}
        for text in kept["seat_lines"]:
            say(layout, context, text, "DOT")
        if not kept["spots"]:
            return
        layout.prop(settings_of(context).fit, "show_spots")
        column = layout.column(align=True)
        for number, words in enumerate(kept["spots"]):
            _frame_button(column, context, "SPOT", f"{number + 1}:  {words}", number)
        draw_way_back(layout, context)


class GapPanel(SidebarPanel, bpy.types.Panel):
    """The gap between crown and die, part by part."""

    bl_idname = "CUSPWISE_PT_fit_gap"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Gap Inside"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a gap."""
        kept = _kept(context)[1]
        return kept is not None and bool(kept["fit"]["gap_um"])

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the parts from the margin inwards."""
        for title, lines in fit_lines.gap_rows(_kept(context)[1] or {}):
            box = self.layout.box().column(align=True)
            box.label(text=title)
            for text in lines:
                say(box, context, text)


class MarginPanel(SidebarPanel, bpy.types.Panel):
    """The margin, place by place."""

    bl_idname = "CUSPWISE_PT_fit_margin"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Margin"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Ask for a margin that was measured."""
        kept = _kept(context)[1]
        return kept is not None and kept["fit"]["margin"] is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw sentences, the way to the largest gap, the plot, the eighths."""
        layout, kept = self.layout, _kept(context)[1] or {}
        for text in kept["margin_lines"]:
            say(layout, context, text, "DOT")
        if kept["widest_on_die"] is not None:
            _frame_button(layout, context, "WIDEST", "Largest Gap", 0)
        row = layout.row(align=True)
        row.prop(settings_of(context).fit, "show_polar", toggle=True)
        row.operator(identifiers.SAVE_POLAR_PLOT, text="", icon="EXPORT")
        column = layout.box().column(align=True)
        say(column, context, "Means of the eighths, µm: gap, absolute discrepancy, extension")
        for place, *numbers in fit_lines.sector_rows(kept):
            beside(column, context, (place, *numbers), (f"{place}: {', '.join(numbers)}",), 0.4)


def _kept(
    context: bpy.types.Context,
) -> tuple[bpy.types.Object | None, dict[str, Any] | None]:
    """Return the crown that is seated and what is kept of its fit."""
    scene = scene_of(context)
    crown = crown_of(scene, colour_map.selected_scan(scene))
    return crown, fit_store.fit_of(crown)


def _draw_answer(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: Mapping[str, Any]
) -> None:
    """Draw the verdict, what it rests on, and what must be known before it is trusted."""
    found = kept["fit"]
    say(layout, context, f"{found['headline']}.", VERDICT_ICONS.get(found["verdict"], "NONE"))
    for text in kept["answer"]:
        say(layout, context, text, "DOT")
    for verdict, words in fit_lines.wall_rows(kept):
        say(layout, context, words, VERDICT_ICONS.get(verdict, "NONE"))
    for text in kept["missing_lines"]:
        say(layout, context, text, "QUESTION")
    if kept["warnings"]:
        box = layout.box()
        say(box, context, "Read before trusting the numbers", "ERROR")
        for text in kept["warnings"]:
            say(box, context, text)


def _draw_way_down(
    layout: bpy.types.UILayout, context: bpy.types.Context, crown: bpy.types.Object
) -> None:
    """Draw the slider that runs the crown down, and the way back."""
    data = store.data_of(crown).fit
    column = layout.column(align=True)
    column.prop(data, "height_mm", slider=True)
    if data.is_on_die:
        column.operator(identifiers.BACK_TO_DESIGN, icon="LOOP_BACK")
    else:
        column.operator(identifiers.PUT_ON_DIE, icon="IMPORT")
    if data.problem:
        say(layout, context, data.problem, "ERROR")


def _draw_maps(
    layout: bpy.types.UILayout, context: bpy.types.Context, kept: Mapping[str, Any]
) -> None:
    """Draw which maps there are."""
    scene = scene_of(context)
    shown = gap_map.shown_crown(scene, colour_map.selected_scan(scene)) is not None
    row = layout.row(align=True)
    for key, title in MAP_TITLES.items():
        if key in kept["limits_um"]:
            row.operator(identifiers.SHOW_FIT_MAP, text=title).key = key
    if shown and settings_of(context).show_colours:
        layout.operator(identifiers.REMOVE_COLOUR_MAP)


def _frame_button(
    layout: bpy.types.UILayout, context: bpy.types.Context, kind: str, text: str, number: int
) -> None:
    button = press(layout, context, identifiers.FRAME_FIT_PLACE, text, "Show Place")
    button.kind, button.number = kind, number


CLASSES = (FitPanel, SeatPanel, MarginPanel, GapPanel, FinishLinePanel, FitChoicesPanel)
