"""Which objects Blender says were changed, without what cannot have changed their surface."""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast

import bpy

PAINT_MODES = {"WEIGHT_PAINT", "VERTEX_PAINT", "TEXTURE_PAINT"}
"""A stroke of the brush makes many updates, and moves no vertex."""

Update = bpy.types.DepsgraphUpdate


def named(depsgraph: bpy.types.Depsgraph) -> set[bpy.types.Object]:
    """Return all objects that an update names, for whatever reason."""
    return {obj for _, obj in _of_objects(depsgraph)}


def edited(depsgraph: bpy.types.Depsgraph) -> set[bpy.types.Object]:
    """Return the objects whose surface may have been edited."""
    return {
        obj
        for update, obj in _of_objects(depsgraph)
        if update.is_updated_geometry and obj.mode not in PAINT_MODES
    }


def moved(depsgraph: bpy.types.Depsgraph) -> set[bpy.types.Object]:
    """Return the objects that may lie elsewhere."""
    return {obj for update, obj in _of_objects(depsgraph) if update.is_updated_transform}


def _of_objects(depsgraph: bpy.types.Depsgraph) -> Iterator[tuple[Update, bpy.types.Object]]:
    for update in depsgraph.updates:
        if isinstance(update.id, bpy.types.Object):
            yield update, cast(bpy.types.Object, update.id.original)
