"""The panel of the deviation: measure it, show it, say what is good enough."""

import bpy

from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check.scene_choices import judging_choices, why_unusual
from ..drawing import colour_map
from ..properties import choices
from .base import SidebarPanel, say


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
            column.prop(settings, f"tolerance_{area}_um")
        self.layout.prop(settings, choices.MISSING)
        self.layout.prop(settings, "scanner_um")
        column = self.layout.column(align=True)
        column.label(text="Unmatched scan surface:")
        for name in choices.UNMATCHED:
            column.prop(settings, name)


class PointsPanel(SidebarPanel, bpy.types.Panel):
    """Where is measured."""

    bl_idname = "CUSPWISE_PT_points"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Measuring Points"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the settings of the points."""
        column = self.layout.column(align=True)
        column.prop(settings_of(context), "spacing_mm")
        column.prop(settings_of(context), "search_mm")


class AdvancedPanel(SidebarPanel, bpy.types.Panel):
    """What is seldom needed."""

    bl_idname = "CUSPWISE_PT_advanced"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Advanced"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the box that takes any number."""
        self.layout.prop(settings_of(context), "force")


CLASSES = (DeviationPanel, TolerancesPanel, PointsPanel, AdvancedPanel)
