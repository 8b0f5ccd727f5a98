"""What all panels of the sidebar share: where they lie, and how they say a sentence."""

from typing import TYPE_CHECKING, Any

import bpy

from .. import identifiers
from ..blender.session import PanelBase, manager_of, region_of, scene_of, ui_scale
from ..drawing import looking
from ..drawing.line_breaks import wrapped

ICON_PIXELS = 20


def say(
    layout: bpy.types.UILayout, context: bpy.types.Context, text: str, icon: Any = "NONE"
) -> None:
    """Write a sentence on as many lines as the sidebar's width asks for."""
    width = region_of(context).width / ui_scale(context)
    width -= 0 if icon == "NONE" else ICON_PIXELS
    column = layout.column(align=True)
    below: Any = "NONE" if icon == "NONE" else "BLANK1"
    for number, line in enumerate(wrapped(text, width)):
        column.label(text=line, icon=below if number else icon)


def draw_job(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw how far the job under way is."""
    state = getattr(manager_of(context), identifiers.JOB_PROPERTIES)
    if state.running:
        layout.progress(factor=state.fraction, text=state.label)
        layout.label(text="Esc cancels; the scene stays as it is.")


def draw_way_back(layout: bpy.types.UILayout, context: bpy.types.Context) -> None:
    """Draw the button that ends looking at a place, while one is looked at."""
    if looking.place_of(scene_of(context)) is not None:
        layout.operator(identifiers.LEAVE_PLACE, icon="LOOP_BACK")


class SidebarPanel(PanelBase):
    """Where every panel lies."""

    if TYPE_CHECKING:
        layout: bpy.types.UILayout

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = identifiers.TAB
