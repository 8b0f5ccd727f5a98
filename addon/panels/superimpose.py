"""The panel of the superimposition: where it starts, on what it is made, how well it fits."""

import bpy

from ...standalone_core.words.text import count_words
from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import landmarks, store
from ..drawing import colour_map
from .base import SidebarPanel, say


class SuperimposePanel(SidebarPanel, bpy.types.Panel):
    """Lay the scan on its design."""

    bl_idname = "CUSPWISE_PT_superimpose"
    bl_label = "Superimpose"
    bl_options = {"DEFAULT_CLOSED"}  # noqa: RUF012

    def draw(self, context: bpy.types.Context) -> None:
        """Draw choices and how well it fits."""
        layout, settings = self.layout, settings_of(context)
        layout.prop(settings, "start")
        if settings.start == "landmarks":
            _draw_landmarks(layout, context)
        layout.prop(settings, "fit_area")
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


CLASSES = (SuperimposePanel,)
