"""Marks what is kept of a crown's fit out of date when a mesh that it depends on was edited."""

from __future__ import annotations

import bpy

from ..blender.session import persistent
from . import made_with
from .contacts import CONTACTS
from .walls import WALLS

PARTS = {WALLS: False, CONTACTS: True}
"""And whether each depends on other teeth."""


@persistent
def notice_changes(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Look at the meshes that Blender says were changed."""
    made_with.notice_edits(PARTS, scene, depsgraph)
