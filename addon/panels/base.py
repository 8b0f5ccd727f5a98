"""What all panels of the sidebar share: where they lie, and how they say a sentence."""

from .. import identifiers
from .line_breaks import wrapped

ICON_PIXELS = 20


def settings_of(context):
    """Return the scene's choices."""
    return getattr(context.scene, identifiers.SCENE_PROPERTIES)


def say(layout, context, text, icon="NONE"):
    """Write a sentence on as many lines as the sidebar's width asks for."""
    width = context.region.width / context.preferences.system.ui_scale
    width -= 0 if icon == "NONE" else ICON_PIXELS
    column = layout.column(align=True)
    below = "NONE" if icon == "NONE" else "BLANK1"
    for number, line in enumerate(wrapped(text, width)):
        column.label(text=line, icon=below if number else icon)


def draw_job(layout, context):
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
