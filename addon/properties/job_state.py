"""What belongs to the session and is not saved: the job under way."""

import bpy


class JobState(bpy.types.PropertyGroup):
    """What belongs to the session: it lives in the window manager and is neither saved nor undone.

    The job under way, and how the views were shaded before the colour map.
    """

    label: bpy.props.StringProperty(name="Step", description="What the job under way is doing")
    fraction: bpy.props.FloatProperty(
        name="Progress", description="Share of the job under way that is done, from 0 to 1"
    )
    after_esc: bpy.props.StringProperty(
        name="Esc", description="What Esc does to the job under way"
    )
    running: bpy.props.BoolProperty(name="Running", description="Whether a job is under way")
    solid_before: bpy.props.StringProperty(
        description="How the views were shaded before the colour map, to follow undo"
    )
