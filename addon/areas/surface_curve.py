"""A line on an object's surface as a curve that follows it and is edited by Blender's own tools.

Which curve it is stands in a pointer on the object, so that renaming it changes nothing.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from ..blender import bridge, frames
from ..identifiers import OBJECT_PROPERTIES


def curve_of(owner: bpy.types.Object, pointer: str) -> Any:
    """Return the curve that an object's pointer names; None if there is none in any scene."""
    line = getattr(getattr(owner, OBJECT_PROPERTIES), pointer)
    if line is None or line.type != "CURVE" or not line.users_collection:
        return None
    return line


def write(
    owner: bpy.types.Object, pointer: str, name: str, points: np.ndarray, closed: bool
) -> str:
    """Write a line, (k, 3) in its owner's own coordinates, as a curve; return its fingerprint."""
    properties = getattr(owner, OBJECT_PROPERTIES)
    line = getattr(properties, pointer)
    if line is None or line.type != "CURVE":
        line = bpy.data.objects.new(name, bpy.data.curves.new(name, "CURVE"))
        line.show_in_front = True
        setattr(properties, pointer, line)
    if not line.users_collection:
        for collection in owner.users_collection:
            collection.objects.link(line)
    line.parent = owner
    line.matrix_parent_inverse.identity()
    line.matrix_basis.identity()
    line.data.dimensions = "3D"
    line.data.splines.clear()
    spline = line.data.splines.new("POLY")
    spline.points.add(len(points) - 1)
    spline.points.foreach_set("co", np.column_stack([points, np.ones(len(points))]).ravel())
    spline.use_cyclic_u = closed
    return fingerprint(owner, pointer)


def read(owner: bpy.types.Object, pointer: str, least: int = 3) -> np.ndarray | None:
    """Return the points of a line in its owner's own coordinates, (k, 3).

    None where there is no line, or one of fewer points than ``least``.
    """
    line = curve_of(owner, pointer)
    if line is None or not line.data.splines:
        return None
    spline = line.data.splines[0]
    points = spline.bezier_points if spline.type == "BEZIER" else spline.points
    if len(points) < least:
        return None
    size = 3 if spline.type == "BEZIER" else 4
    flat = np.empty(size * len(points), dtype=np.float32)
    points.foreach_get("co", flat)
    own = flat.reshape(-1, size)[:, :3].astype(np.float64)
    if line.parent == owner:
        to_owner = np.array(line.matrix_parent_inverse @ line.matrix_basis, dtype=np.float64)
    else:
        to_owner = np.linalg.inv(frames.matrix_of(owner)) @ frames.matrix_of(line)
    local: np.ndarray = own @ to_owner[:3, :3].T + to_owner[:3, 3]
    return local


def is_closed(owner: bpy.types.Object, pointer: str) -> bool:
    """Tell whether a line that is there goes on from its end to its beginning."""
    line = curve_of(owner, pointer)
    return line is not None and bool(line.data.splines[0].use_cyclic_u)


def fingerprint(owner: bpy.types.Object, pointer: str, least: int = 3) -> str:
    """Return a short checksum of a line; empty where there is none, as :func:`read` says."""
    points = read(owner, pointer, least)
    return "" if points is None else bridge.fingerprint(points)
