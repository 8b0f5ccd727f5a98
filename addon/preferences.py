"""The extension's preferences: what a new scene starts with."""

import bpy


class CuspwisePreferences(bpy.types.AddonPreferences):
    """Defaults that a scene takes over when a design is first chosen in it."""

    bl_idname = __package__.rpartition(".")[0]

    spacing_mm: bpy.props.FloatProperty(
        name="Spacing (mm)",
        description="Largest distance between neighbouring points of measurement, in mm",
        default=0.1,
        min=0.02,
        soft_max=0.5,
        precision=3,
        step=1,
    )
    search_mm: bpy.props.FloatProperty(
        name="Search Distance (mm)",
        description="Points with no scan within this distance count as not measured, in mm",
        default=1.0,
        min=0.05,
        soft_max=5.0,
        precision=2,
        step=10,
    )
    tolerance_whole_um: bpy.props.FloatProperty(
        name="Whole Crown (µm)",
        description="Largest acceptable mean absolute deviation of the whole crown; 0 sets none",
        default=25.0,
        min=0.0,
        soft_max=200.0,
        precision=1,
    )
    tolerance_occlusal_um: bpy.props.FloatProperty(
        name="Occlusal (µm)",
        description="Largest acceptable mean absolute deviation, occlusal; 0 sets none",
        default=20.0,
        min=0.0,
        soft_max=200.0,
        precision=1,
    )
    tolerance_margin_um: bpy.props.FloatProperty(
        name="Margin (µm)",
        description="Largest acceptable mean absolute deviation of the margin; 0 sets none",
        default=15.0,
        min=0.0,
        soft_max=200.0,
        precision=1,
    )

    def draw(self, _context):
        """Draw the preferences."""
        layout = self.layout
        layout.use_property_split = True
        layout.label(text="Scenes in which a design is chosen from now on start with:")
        column = layout.column(heading="Points")
        column.prop(self, "spacing_mm")
        column.prop(self, "search_mm")
        column = layout.column(heading="Tolerances")
        column.prop(self, "tolerance_whole_um")
        column.prop(self, "tolerance_occlusal_um")
        column.prop(self, "tolerance_margin_um")
        layout.label(text="The tolerances given are common practice, no source.", icon="INFO")


def preferences():
    """Return the preferences; None where the extension is not enabled as one."""
    addon = bpy.context.preferences.addons.get(CuspwisePreferences.bl_idname)
    return addon.preferences if addon else None


def register():
    """Register the preferences."""
    bpy.utils.register_class(CuspwisePreferences)


def unregister():
    """Unregister the preferences."""
    bpy.utils.unregister_class(CuspwisePreferences)
