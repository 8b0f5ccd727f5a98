"""Places of an object's own surface, also where Blender knows none.

What is being edited, switched off in the views or in an excluded collection has no evaluated mesh
to be asked. Then the mesh is searched as it was when editing began, or was last read back.
"""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Vector
from mathutils.bvhtree import BVHTree

from . import bridge
from .session import mesh_of

_kept: list[tuple[str, BVHTree]] = []  # of the mesh searched last


def closest(obj: bpy.types.Object, local: Vector) -> tuple[Vector, Vector] | None:
    """Return the nearest place of an object's surface and its normal; None if it has no surface.

    Both are in the object's own coordinates, as the place that is asked for.
    """
    found: Any
    try:
        found, place, normal, _face = obj.closest_point_on_mesh(local)
    except RuntimeError:
        place, normal, _face, _away = _tree_of(obj).find_nearest(local)
        found = place is not None
    return (place, normal) if found else None


def is_met(obj: bpy.types.Object, origin: Vector, way: Vector) -> bool:
    """Tell whether a ray, in an object's own coordinates, meets its surface."""
    try:
        return bool(obj.ray_cast(origin, way)[0])
    except RuntimeError:
        return _tree_of(obj).ray_cast(origin, way)[0] is not None


def _tree_of(obj: bpy.types.Object) -> BVHTree:
    points, faces = bridge.positions(mesh_of(obj)), bridge.triangles_of(mesh_of(obj))
    look = bridge.fingerprint(points) + bridge.fingerprint(faces)
    if not _kept or _kept[0][0] != look:
        _kept[:] = [(look, BVHTree.FromPolygons(points.tolist(), faces.tolist()))]
    return _kept[0][1]
