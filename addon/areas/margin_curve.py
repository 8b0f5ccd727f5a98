"""The margin line as a curve that follows the design and is edited by Blender's own tools."""

from __future__ import annotations

import bpy
import numpy as np

from ..blender import bridge, frames
from ..identifiers import MARGIN_LINE_NAME, OBJECT_PROPERTIES


def closed(design: bpy.types.Object) -> np.ndarray | None:
    """Return the margin line as it is drawn, (k, 3), in the design's own coordinates.

    Its end is its beginning where it is closed; None if there is none.
    """
    points = read(design)
    if points is None:
        return None
    spline = getattr(design, OBJECT_PROPERTIES).margin_line.data.splines[0]
    return np.concatenate([points, points[:1]]) if spline.use_cyclic_u else points


def write(design: bpy.types.Object, points: np.ndarray, closed: bool) -> str:
    """Write the line as a curve that follows the design; return its fingerprint."""
    properties = getattr(design, OBJECT_PROPERTIES)
    line = properties.margin_line
    if line is None or line.type != "CURVE":
        line = bpy.data.objects.new(
            MARGIN_LINE_NAME, bpy.data.curves.new(MARGIN_LINE_NAME, "CURVE")
        )
        line.show_in_front = True
        properties.margin_line = line
    if not line.users_collection:
        for collection in design.users_collection:
            collection.objects.link(line)
    line.parent = design
    line.matrix_parent_inverse.identity()
    line.matrix_basis.identity()
    line.data.dimensions = "3D"
    line.data.splines.clear()
    spline = line.data.splines.new("POLY")
    spline.points.add(len(points) - 1)
    spline.points.foreach_set("co", np.column_stack([points, np.ones(len(points))]).ravel())
    spline.use_cyclic_u = closed
    written = read(design)
    return "" if written is None else bridge.fingerprint(written)


def read(design: bpy.types.Object) -> np.ndarray | None:
    """Return the points of the margin line in the design's own coordinates, (k, 3)."""
    line = getattr(design, OBJECT_PROPERTIES).margin_line
    if line is None or line.type != "CURVE" or not line.users_collection or not line.data.splines:
        return None
    spline = line.data.splines[0]
    points = spline.bezier_points if spline.type == "BEZIER" else spline.points
    if len(points) < 3:
        return None
    size = 3 if spline.type == "BEZIER" else 4
    flat = np.empty(size * len(points), dtype=np.float32)
    points.foreach_get("co", flat)
    own = flat.reshape(-1, size)[:, :3].astype(np.float64)
    if line.parent == design:
        to_design = np.array(line.matrix_parent_inverse @ line.matrix_basis, dtype=np.float64)
    else:
        to_design = np.linalg.inv(frames.matrix_of(design)) @ frames.matrix_of(line)
    local: np.ndarray = own @ to_design[:3, :3].T + to_design[:3, 3]
    return local
