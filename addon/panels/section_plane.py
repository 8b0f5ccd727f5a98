"""The panel of the section plane."""

import bpy

from .. import identifiers
from ..blender.session import scene_of, settings_of
from ..check import store
from .base import SidebarPanel, choose, say
from .fit import FitPanel


class SectionPanel(SidebarPanel, bpy.types.Panel):
    """Cut the crown and what stands about it with a plane."""

    bl_idname = "CUSPWISE_PT_section"
    bl_parent_id = FitPanel.bl_idname
    bl_label = "Section"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw where the plane lies."""
        layout, settings = self.layout, settings_of(context)
        chosen = settings.teeth.section
        if not store.is_in(settings.design, scene_of(context)):
            say(layout, context, "Choose the design first.")
            return
        row = layout.row(align=True)
        row.prop(chosen, "shown", toggle=True, icon="HIDE_OFF" if chosen.shown else "HIDE_ON")
        row.prop(chosen, "follows_view", toggle=True)
        column = layout.column()
        column.enabled = chosen.shown
        column.prop(chosen, "through")
        choose(column, context, chosen, "offset_mm", "−00.00")
        row = layout.row(align=True)
        row.label(text="Across:")
        for across, text in (("VIEW", "View"), ("X", "X"), ("Y", "Y"), ("Z", "Z")):
            row.operator(identifiers.PLACE_SECTION, text=text).across = across


CLASSES = (SectionPanel,)
