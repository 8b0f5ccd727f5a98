"""All that is kept in the .blend, attached to Blender's types."""

from typing import Any

import bpy

from ..identifiers import JOB_PROPERTIES, OBJECT_PROPERTIES, SCENE_PROPERTIES
from . import (
    area_rows,
    fit_choices,
    object_data,
    production,
    scene_settings,
    setting_groups,
    study_choices,
    teeth,
)
from .job_state import JobState

CLASSES = (
    *setting_groups.CLASSES,
    *area_rows.CLASSES,
    *study_choices.CLASSES,
    *production.CLASSES,
    *fit_choices.CLASSES,
    *teeth.CLASSES,
    *scene_settings.CLASSES,
    *object_data.CLASSES,
    JobState,
)


def register() -> None:
    """Attach the properties to Blender's types."""
    for cls in CLASSES:
        bpy.utils.register_class(cls)
    pointer: Any = bpy.props.PointerProperty
    setattr(
        bpy.types.Scene,
        SCENE_PROPERTIES,
        pointer(type=scene_settings.SceneSettings),
    )
    setattr(bpy.types.Object, OBJECT_PROPERTIES, pointer(type=object_data.ObjectData))
    setattr(bpy.types.WindowManager, JOB_PROPERTIES, pointer(type=JobState))


def unregister() -> None:
    """Detach the properties; what they hold stays in the file."""
    delattr(bpy.types.WindowManager, JOB_PROPERTIES)
    delattr(bpy.types.Object, OBJECT_PROPERTIES)
    delattr(bpy.types.Scene, SCENE_PROPERTIES)
    for cls in reversed(CLASSES):
        bpy.utils.unregister_class(cls)
