"""Which of the maps of a crown's fit is shown, if any, and what else is hidden meanwhile.

:mod:`..drawing.colour_map` decides whether one of these is shown, or deviations.
"""

from __future__ import annotations

from types import ModuleType

import bpy

from ...standalone_core.report.drawing.legend import Legend
from ..blender.session import layer_of
from ..check import store
from ..drawing.painting import hide
from ..identifiers import SCENE_PROPERTIES
from . import contacts_map, walls_map
from .crown_chosen import crown_of, teeth_of

WALLS, CONTACTS = "walls", "contacts"
MAPS: dict[str, ModuleType] = {WALLS: walls_map, CONTACTS: contacts_map}


def shown_map(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> ModuleType | None:
    """Return the map that the scene asks for, if the crown that is looked at has it.

    Parameters
    ----------
    scene : bpy.types.Scene
    scan : bpy.types.Object or None
        The one chosen in the list.
    """
    settings = getattr(scene, SCENE_PROPERTIES)
    found = MAPS.get(settings.teeth.map_key)
    if found is None or settings.study.shown:
        return None
    return found if found.kept_of(crown_of(scene, scan)) is not None else None


def colour(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> tuple[bpy.types.Object, ...]:
    """Colour the crown by the map that is shown; return what is coloured now."""
    found, crown = shown_map(scene, scan), crown_of(scene, scan)
    palette = getattr(scene, SCENE_PROPERTIES).palette
    if found is None or crown is None or not found.colour(crown, palette):
        return ()
    hide(crown, False)
    return (crown,)


def hide_others(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> None:
    """Hide what lies on the crown or covers its contacts, until another map is shown."""
    crown = crown_of(scene, scan)
    design = getattr(scene, SCENE_PROPERTIES).design
    others = {design, *store.listed_scans(scene), *(tooth.obj for tooth in teeth_of(scene))}
    for obj in others - {crown, None}:
        if obj.name in layer_of(bpy.context).objects and not obj.hide_get():
            store.data_of(obj).study_hidden = True
            hide(obj, True)


def legend_of(
    scene: bpy.types.Scene, scan: bpy.types.Object | None
) -> tuple[Legend, str, str] | None:
    """Return legend, title and note of the map that is shown; None if none is."""
    found, crown = shown_map(scene, scan), crown_of(scene, scan)
    if found is None or crown is None:
        return None
    legend = found.legend_of(crown, getattr(scene, SCENE_PROPERTIES).palette)
    note = found.AGAIN if found.why_out_of_date(crown, scene) else ""
    return None if legend is None else (legend, found.TITLE, note)
