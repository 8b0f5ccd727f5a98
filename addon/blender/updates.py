"""Which objects Blender says were changed, without what cannot have changed their surface."""

from __future__ import annotations

import bpy

PAINT_MODES = {"WEIGHT_PAINT", "VERTEX_PAINT", "TEXTURE_PAINT"}
"""A stroke of the brush makes many updates, and moves no vertex."""


def named(depsgraph: bpy.types.Depsgraph) -> set[bpy.types.Object]:
    """Return all objects that an update names, for whatever reason."""
    return {
        update.id.original
        for update in depsgraph.updates
        if isinstance(update.id, bpy.types.Object)
    }


def edited(depsgraph: bpy.types.Depsgraph) -> set[bpy.types.Object]:
    """Return the objects whose surface may have been edited."""
    return {
        update.id.original
        for update in depsgraph.updates
        if isinstance(update.id, bpy.types.Object)
        and update.is_updated_geometry
        and update.id.original.mode not in PAINT_MODES
    }


def moved(depsgraph: bpy.types.Depsgraph) -> set[bpy.types.Object]:
    """Return the objects that may lie elsewhere."""
    return {
        update.id.original
        for update in depsgraph.updates
        if isinstance(update.id, bpy.types.Object) and update.is_updated_transform
    }
