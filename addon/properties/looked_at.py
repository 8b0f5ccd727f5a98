"""The place that a scene looks at."""

import bpy


class LookedAt(bpy.types.PropertyGroup):
    """A place of an object that views look at, and what they looked at before."""

    obj: bpy.props.PointerProperty(
        name="Object", description="The object whose surface is looked at", type=bpy.types.Object
    )
    local: bpy.props.FloatVectorProperty(
        description="The place in the object's own coordinates", options={"HIDDEN"}
    )
    radius: bpy.props.FloatProperty(
        description="Of the ring about it, in units of the scene", options={"HIDDEN"}
    )
    away: bpy.props.FloatVectorProperty(
        description="The way from it towards the eye, in the object's own coordinates",
        options={"HIDDEN"},
    )
    through: bpy.props.BoolProperty(
        description="Whether the ring is seen through what lies before it", options={"HIDDEN"}
    )
    views: bpy.props.StringProperty(
        description="From where the views looked before", options={"HIDDEN"}
    )
