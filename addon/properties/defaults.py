"""The preferences' defaults, taken over by a scene once."""

import bpy

from ..identifiers import SCENE_PROPERTIES
from . import choices
from .preferences import preferences


def take_defaults(scene: bpy.types.Scene) -> None:
    """Give a scene the preferences' defaults the first time it is worked in."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if settings.prepared:
        return
    settings.prepared = True
    chosen = preferences()
    if chosen is None:
        return
    for name in choices.DEFAULTED:
        setattr(settings, name, getattr(chosen, name))
