"""The panel of how a crown fits."""

import bpy

from .base import SidebarPanel, say


class FitPanel(SidebarPanel, bpy.types.Panel):
    """Whether the crown goes down on its die, and what there is to see of it."""

    bl_idname = "CUSPWISE_PT_fit"
    bl_label = "Fit"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what to bear in mind."""
        say(self.layout, context, "This is not a medical device.")


CLASSES = (FitPanel,)
