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

_kept: list[tuple[str, Any]] = []  # of the mesh searched last


class Surface:
    """An object's surface to be searched, in the object's own coordinates."""

    def __init__(self, obj: bpy.types.Object) -> None:
        self._obj: Any = obj
        self._tree: Any = None if _is_evaluated(obj) else _tree_of(obj)

    def closest(self, place: Vector) -> tuple[Vector, Vector] | None:
        """Return the nearest place of the surface and its normal; None if there is none."""
        if self._tree is None:
            found, nearest, normal, _face = self._obj.closest_point_on_mesh(place)
            return (nearest, normal) if found else None
        nearest, normal, _face, _away = self._tree.find_nearest(place)
        return None if nearest is None else (nearest, normal)

    def met(self, origin: Vector, way: Vector) -> Vector | None:
        """Return where a ray meets the surface first; None if it does not."""
        if self._tree is None:
            found, place, _normal, _face = self._obj.ray_cast(origin, way)
            return place if found else None
        first: Vector | None = self._tree.ray_cast(origin, way)[0]
        return first


def _is_evaluated(obj: bpy.types.Object) -> bool:
    """Tell whether Blender can be asked for places of an object."""
    if obj.mode == "EDIT":
        return False
    try:
        obj.closest_point_on_mesh((0.0, 0.0, 0.0))
    except RuntimeError:
        return False
    return True


def _tree_of(obj: bpy.types.Object) -> Any:
    points, faces = bridge.positions(mesh_of(obj)), bridge.triangles_of(mesh_of(obj))
    look = bridge.fingerprint(points) + bridge.fingerprint(faces)
    if not _kept or _kept[0][0] != look:
        _kept[:] = [(look, BVHTree.FromPolygons(points.tolist(), faces.tolist()))]
    return _kept[0][1]
