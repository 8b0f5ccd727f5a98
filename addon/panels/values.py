"""The panel of the values that were read: what each says, whether it still holds, and away."""

import bpy

from .. import identifiers
from ..blender.session import scene_of
from ..check import reading, store
from .base import SidebarPanel, say
from .deviation import DeviationPanel

MOST_ROWS = 10


class ValuesPanel(SidebarPanel, bpy.types.Panel):
    """The labels that Read Value left."""

    bl_idname = "CUSPWISE_PT_values"
    bl_parent_id = DeviationPanel.bl_idname
    bl_label = "Values Read"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Show it where there are labels."""
        return bool(reading.labels(scene_of(context)))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw a row for each label, and the button that removes all."""
        layout, scene = self.layout, scene_of(context)
        labels = reading.labels(scene)
        column = layout.column(align=True)
        for label in labels[:MOST_ROWS]:
            row = column.row(align=True)
            out_of_date = bool(reading.why_out_of_date(label, scene))
            row.label(text=store.data_of(label).caption, icon="ERROR" if out_of_date else "NONE")
            row.operator(identifiers.REMOVE_VALUE, text="", icon="X").label = label.name
        if len(labels) > MOST_ROWS:
            column.label(text=f"and {len(labels) - MOST_ROWS} more")
        reasons = dict.fromkeys(reading.why_out_of_date(label, scene) for label in labels)
        for reason in filter(None, reasons):
            say(layout, context, f"Out of date: {reason} Check again, then read anew.", "ERROR")
        layout.operator(identifiers.REMOVE_VALUES, icon="TRASH")


CLASSES = (ValuesPanel,)
