"""The panel of the deviation: measure it, show it, say what is good enough."""

import bpy

from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check.scene_choices import judging_choices, why_unusual
from ..check.setting_groups import GROUPS
from ..drawing import colour_map
from ..properties import choices
from .area_rows import draw_group, draw_rows
from .base import SidebarPanel, choose, say


class DeviationPanel(SidebarPanel, bpy.types.Panel):
    """Measure and show."""

    bl_idname = "CUSPWISE_PT_deviation"
    bl_label = "Deviation"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw measuring, colours and limits."""
        layout, settings = self.layout, settings_of(context)
        layout.operator(identifiers.MEASURE_DEVIATION)
        if settings.show_colours:
            layout.operator(identifiers.REMOVE_COLOUR_MAP)
        if colour_map.shows_deviations(scene_of(context)):
            layout.row().prop(settings, "shown", expand=True)
        else:
            layout.operator(identifiers.SHOW_COLOUR_MAP)
        layout.operator(identifiers.READ_VALUE)
        layout.prop(settings, "limit_is_automatic")
        _draw_limit(layout, context)
        layout.prop(settings, "palette")


def _draw_limit(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw the limit to be chosen, or the one that was chosen for what is shown."""
    settings = settings_of(context)
    if not settings.limit_is_automatic:
        layout.prop(settings, "limit_um")
    elif colour_map.has_limit(scene_of(context)):
        row = layout.row()
        row.enabled = False
        row.prop(settings, "shown_limit_um")


class TolerancesPanel(SidebarPanel, bpy.types.Panel):
    """What is good enough."""

    bl_idname = "CUSPWISE_PT_tolerances"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Tolerances"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the tolerances."""
        settings = settings_of(context)
        unusual = why_unusual(judging_choices(settings))
        if unusual:
            say(self.layout, context, unusual, "ERROR")
        column = self.layout.column(align=True)
        for area in ("whole", "occlusal", "margin"):
            choose(column, context, settings, f"tolerance_{area}_um", "000.0")
        draw_rows(self.layout, context, "tolerances", "Another Area")
        for name in (choices.MISSING, "scanner_um"):
            choose(self.layout, context, settings, name, "000.0")
        column = self.layout.column(align=True)
        column.label(text="Unmatched scan surface:")
        for name in choices.UNMATCHED:
            choose(column, context, settings, name, "000.0")


class PointsPanel(SidebarPanel, bpy.types.Panel):
    """Where is measured."""

    bl_idname = "CUSPWISE_PT_points"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Measuring Points"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings of the points."""
        column = self.layout.column(align=True)
        for name in ("spacing_mm", "search_mm"):
            choose(column, context, settings_of(context), name, "0.000")
        draw_group(self.layout, context, "points")


class VerdictsPanel(SidebarPanel, bpy.types.Panel):
    """How what was measured is judged and listed."""

    bl_idname = "CUSPWISE_PT_verdict_rules"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Verdicts and Patches"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the rules, and the scanner's uncertainty area by area."""
        layout, rules = self.layout, settings_of(context).verdicts
        layout.label(text="Judged First:")
        layout.prop(rules, "direction", text="")
        names = [name for name in GROUPS["verdicts"].names if name != "direction"]
        draw_group(layout, context, "verdicts", names)
        layout.label(text="Scanner by area:")
        draw_rows(layout, context, "scanners", "Add Area")


class AdvancedPanel(SidebarPanel, bpy.types.Panel):
    """What is seldom needed."""

    bl_idname = "CUSPWISE_PT_advanced"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Advanced"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the box that takes any number."""
        self.layout.prop(settings_of(context), "force")


CLASSES = (DeviationPanel, TolerancesPanel, PointsPanel, VerdictsPanel, AdvancedPanel)
