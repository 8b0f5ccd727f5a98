"""What all panels of the sidebar share: where they lie, and how they say a sentence."""

import bpy

from .. import identifiers
from .line_breaks import wrapped

ICON_PIXELS = 20


def say(
    layout: bpy.types.UILayout, context: bpy.types.Context, text: str, icon: str = "NONE"
) -> None:
    """Write a sentence on as many lines as the sidebar's width asks for."""
    width = context.region.width / context.preferences.system.ui_scale
    width -= 0 if icon == "NONE" else ICON_PIXELS
    column = layout.column(align=True)
    below = "NONE" if icon == "NONE" else "BLANK1"
    for number, line in enumerate(wrapped(text, width)):
        column.label(text=line, icon=below if number else icon)


def draw_job(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw how far the job under way is."""
    state = getattr(context.window_manager, identifiers.JOB_PROPERTIES)
    if state.running:
        layout.progress(factor=state.fraction, text=state.label)
        layout.label(text="Esc cancels; the scene stays as it is.")


class SidebarPanel:
    """Where every panel lies."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = identifiers.TAB
