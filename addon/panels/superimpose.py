"""The panel of the superimposition: where it starts, on what it is made, how well it fits."""

import bpy

from ...standalone_core.words.text import count_words
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import landmarks, store
from ..check.setting_groups import GROUPS
from ..drawing import colour_map
from .area_rows import draw_group, draw_rows
from .base import SidebarPanel, below_title, say

WEIGHTING_NUMBERS = {
    "least_squares": (),
    "trimmed": ("keep_share",),
    "robust": ("robust_tuning", "robust_floor_mm"),
}


class SuperimposePanel(SidebarPanel, bpy.types.Panel):
    """Lay the scan on its design."""

    bl_idname = "CUSPWISE_PT_superimpose"
    bl_label = "Superimpose"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw choices and how well it fits."""
        layout, settings = self.layout, settings_of(context)
        below_title(layout, settings, "start")
        if settings.start == "landmarks":
            _draw_landmarks(layout, context)
        layout.prop(settings, "fit_area")
        if settings.fit_area == "LISTED":
            draw_rows(layout, context, "fit_areas", "Add Area")
        layout.operator(identifiers.SUPERIMPOSE)
        layout.operator(identifiers.RESTORE_POSITION)
        scan = colour_map.selected_scan(scene_of(context))
        kept = store.superimposition_of(scan) if scan else None
        if kept is None:
            say(layout, context, "The scan has not been superimposed yet.")
            return
        icon = "CHECKMARK" if kept["verdict"] == "good" else "ERROR"
        for line in kept["lines"]:
            say(layout, context, line, icon)
            icon = "NONE"
        for line in kept["warnings"]:
            say(layout, context, line, "ERROR")


def _draw_landmarks(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    design, scan = settings_of(context).design, colour_map.selected_scan(scene_of(context))
    if store.is_in(design, scene_of(context)) and scan is not None:
        count = landmarks.pair_count(design, scan, scene_of(context))
        say(layout, context, f"{count_words(count, 'landmark pair')}; three or more are needed.")
    row = layout.row(align=True)
    row.operator(identifiers.PICK_LANDMARKS)
    row.operator(identifiers.REMOVE_LANDMARKS, text="", icon="X")


class BestFitPanel(SidebarPanel, bpy.types.Panel):
    """How points are weighed."""

    bl_idname = "CUSPWISE_PT_best_fit"
    bl_parent_id = SuperimposePanel.bl_idname
    bl_label = GROUPS["superimpose"].title
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the weighting, and what belongs to the one that was chosen."""
        layout, fit = self.layout, settings_of(context).superimpose
        layout.prop(fit, "fit_weighting", text="")
        names = WEIGHTING_NUMBERS[fit.fit_weighting]
        draw_group(layout, context, "superimpose", (*names, "max_distance_mm"))


class DoubtPanel(SidebarPanel, bpy.types.Panel):
    """When a superimposition is not to be trusted."""

    bl_idname = "CUSPWISE_PT_doubt"
    bl_parent_id = SuperimposePanel.bl_idname
    bl_label = GROUPS["doubt"].title
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the thresholds."""
        draw_group(self.layout, context, "doubt")


CLASSES = (SuperimposePanel, BestFitPanel, DoubtPanel)
