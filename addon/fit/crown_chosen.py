"""Which crown is looked at, design or scan, and which teeth stand about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import bpy

from ..check import store
from ..identifiers import SCENE_PROPERTIES

if TYPE_CHECKING:
    from ...standalone_core.fit.contacts.mesial import Side
    from ...standalone_core.fit.contacts.result import ContactKind


@dataclass(frozen=True, eq=False)
class Tooth:
    """Another tooth of the scene.

    Attributes
    ----------
    obj : bpy.types.Object
    kind : "proximal" or "occlusal"
        Of its contacts.
    side : "unknown", "mesial" or "distal"
    """

    obj: bpy.types.Object
    kind: ContactKind
    side: Side = "unknown"


def crown_of(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> bpy.types.Object | None:
    """Return the crown that is looked at, if it is in the scene.

    Parameters
    ----------
    scene : bpy.types.Scene
    scan : bpy.types.Object or None
        The one chosen in the list.
    """
    settings = getattr(scene, SCENE_PROPERTIES)
    crown: bpy.types.Object | None = settings.design
    if settings.fit.crown == "SCAN":
        crown = scan
    return crown if store.is_in(crown, scene) else None


def teeth_of(scene: bpy.types.Scene) -> list[Tooth]:
    """Return the neighbours and the antagonist that are in the scene, each once."""
    chosen = getattr(scene, SCENE_PROPERTIES).teeth
    named = [Tooth(item.tooth, "proximal", item.side) for item in chosen.neighbours]
    named.append(Tooth(chosen.antagonist, "occlusal"))
    found: dict[bpy.types.Object, Tooth] = {}
    for tooth in named:
        if store.is_in(tooth.obj, scene):
            found.setdefault(tooth.obj, tooth)
    return list(found.values())
