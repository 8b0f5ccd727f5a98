"""The extension's preferences: what a new scene starts with."""

from typing import Any

import bpy

from ..blender.session import preferences_of
from . import choices


class CuspwisePreferences(bpy.types.AddonPreferences):
    """Defaults that a scene takes over when a design is first chosen in it."""

    bl_idname = __package__.rsplit(".", 2)[0]

    spacing_mm: choices.spacing()
    search_mm: choices.search()
    tolerance_whole_um: choices.tolerance("tolerance_whole_um")
    tolerance_occlusal_um: choices.tolerance("tolerance_occlusal_um")
    tolerance_margin_um: choices.tolerance("tolerance_margin_um")
    scanner_um: choices.scanner()
    max_unmatched_um: choices.limit("max_unmatched_um")
    max_unmatched_mm2: choices.limit("max_unmatched_mm2")
    max_missing_mm: choices.limit("max_missing_mm")
    palette: choices.palette()

    def draw(self, _context: bpy.types.Context) -> None:
        """Draw the preferences."""
        layout = self.layout
        layout.use_property_split = True
        layout.label(text="Scenes in which a design is chosen from now on start with:")
        column = layout.column(heading="Measuring Points")
        column.prop(self, "spacing_mm")
        column.prop(self, "search_mm")
        column = layout.column(heading="Tolerances")
        for name in (*choices.TOLERANCES, choices.MISSING, "scanner_um"):
            column.prop(self, name)
        column = layout.column(heading="Unmatched Scan Surface")
        for name in choices.UNMATCHED:
            column.prop(self, name)
        layout.prop(self, "palette")
        layout.label(
            text="The tolerances given are common practice, the other limits our own; no source.",
            icon="INFO",
        )


def preferences() -> Any:
    """Return the preferences; None where the extension is not enabled as one."""
    addon = preferences_of(bpy.context).addons.get(CuspwisePreferences.bl_idname)
    return addon.preferences if addon else None


def register() -> None:
    """Register the preferences."""
    bpy.utils.register_class(CuspwisePreferences)


def unregister() -> None:
    """Unregister the preferences."""
    bpy.utils.unregister_class(CuspwisePreferences)
