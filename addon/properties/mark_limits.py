"""When a support mark counts as a stub or a gouge: a property for each of the core's settings."""

from typing import Any

import bpy

from ...standalone_core.deviation.settings import MarkSettings
from ...standalone_core.setting import declared_in
from ..blender.session import scene_of, settings_of
from . import choices, mark_choices


def _changed(_limits: Any, context: bpy.types.Context) -> None:
    design = settings_of(context).design
    if design is not None:
        mark_choices.mark_edited(design, scene_of(context))


MarkLimits: Any = type(
    "MarkLimits",
    (bpy.types.PropertyGroup,),
    {
        "__doc__": "The limits of support marks in a scene.",
        "__annotations__": {
            name: choices.number(declared, _changed)
            for name, declared in declared_in(MarkSettings).items()
        },
    },
)
