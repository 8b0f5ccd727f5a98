"""Which of the maps of a crown's fit is shown, if any, and what covers it.

:mod:`..drawing.colour_map` decides whether one of these is shown, or deviations.
"""

from __future__ import annotations

from types import ModuleType
from typing import TYPE_CHECKING

import bpy

from ..identifiers import SCENE_PROPERTIES
from . import contacts_map, walls_map
from .crown_chosen import crown_of, teeth_of

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.legend import Legend

WALLS, CONTACTS = "walls", "contacts"
MAPS: dict[str, ModuleType] = {WALLS: walls_map, CONTACTS: contacts_map}


def shown_crown(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> bpy.types.Object | None:
    """Return the crown on which the scene asks for one of these maps; None if it has none.

    Parameters
    ----------
    scene : bpy.types.Scene
    scan : bpy.types.Object or None
        The one chosen in the list.
    """
    settings, crown = getattr(scene, SCENE_PROPERTIES), crown_of(scene, scan)
    found = MAPS.get(settings.teeth.map_key)
    if found is None or settings.study.shown or crown is None:
        return None
    return crown if found.kept_of(crown) is not None else None


def colour(scene: bpy.types.Scene, crown: bpy.types.Object) -> tuple[bpy.types.Object, ...]:
    """Colour a crown by the map that the scene asks for; return what is coloured now."""
    settings = getattr(scene, SCENE_PROPERTIES)
    limit = shown_map(scene).colour(crown, settings.palette)
    if limit is None:
        return ()
    settings.shown_limit_um = limit
    return (crown,)


def in_the_way(
    scene: bpy.types.Scene, _crown: bpy.types.Object
) -> tuple[bpy.types.Object | None, ...]:
    """Return what, beside designs and scans, covers the crown's contacts."""
    return tuple(tooth.obj for tooth in teeth_of(scene))


def legend_of(
    scene: bpy.types.Scene, crown: bpy.types.Object
) -> tuple[Legend, tuple[str, ...], tuple[tuple[str, str], ...]]:
    """Return the legend of the map shown, the lines above it, and its single colours."""
    found = shown_map(scene)
    legend = found.legend_of(crown, getattr(scene, SCENE_PROPERTIES).palette)
    return legend, (found.TITLE,), found.SWATCHES


def note(scene: bpy.types.Scene, crown: bpy.types.Object) -> str:
    """Return the line that says that the map is out of date; empty if it is not."""
    found = shown_map(scene)
    return str(found.AGAIN) if found.why_out_of_date(crown, scene) else ""


def shown_map(scene: bpy.types.Scene) -> ModuleType:
    """Return the map that the scene asks for, on a crown that has it."""
    return MAPS[getattr(scene, SCENE_PROPERTIES).teeth.map_key]
