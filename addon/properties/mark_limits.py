"""When a support mark counts as a stub or a gouge: a property for each of the core's settings."""

import bpy

from ...standalone_core.deviation.settings import MarkSettings
from ...standalone_core.setting import settings_of
from ..identifiers import SCENE_PROPERTIES
from . import choices, mark_choices


def _changed(_limits, context):
    design = getattr(context.scene, SCENE_PROPERTIES).design
    if design is not None:
        mark_choices.mark_edited(design, context.scene)


MarkLimits = type(
    "MarkLimits",
    (bpy.types.PropertyGroup,),
    {
        "__doc__": "The limits of support marks in a scene.",
        "__annotations__": {
            name: choices.number(declared, _changed)
            for name, declared in settings_of(MarkSettings).items()
        },
    },
)
