"""Objects brought into every 3D view, whole."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import bpy
import numpy as np

from ..blender import frames
from ..blender.session import manager_of

HALF_SENSOR_MM = 36.0  # of Blender's views, along the longer side of their region
MARGIN = 1.1
# A near limit of this share of the distance keeps the depth buffer's steps far below a µm.
NEAREST = 1e-3


def bring_into_view(context: bpy.types.Context, objects: Sequence[bpy.types.Object]) -> None:
    """Show objects whole in every 3D view of every window; views keep the way they look.

    A view through a camera or of a few objects alone would not show them: it leaves the camera,
    and the objects join those few.
    """
    if not objects:
        return
    middle, radius = sphere_around(objects)
    for space, region in _views(context):
        if space.local_view is not None:
            for obj in objects:
                obj.local_view_set(space, True)
        look_at_sphere(space, (region.width, region.height), middle, radius)
        region.tag_redraw()


def look_at_sphere(space: Any, size: tuple[int, int], middle: np.ndarray, radius: float) -> None:
    """Have a 3D view, whose region is so many pixels wide and high, show a sphere whole."""
    view = space.region_3d
    if view.view_perspective == "CAMERA":
        view.view_perspective = "PERSP"
    longer, shorter = max(size), min(size)
    share = shorter / longer if shorter > 0 else 1.0
    half_angle = math.atan(HALF_SENSOR_MM / space.lens * share)
    distance = MARGIN * radius / math.sin(half_angle)
    view.view_location = middle.tolist()
    view.view_distance = distance
    space.clip_end = max(space.clip_end, 2.0 * (distance + radius))
    if space.clip_start > 0.5 * (distance - radius):
        space.clip_start = NEAREST * distance


def sphere_around(objects: Sequence[bpy.types.Object]) -> tuple[np.ndarray, float]:
    """Return middle (3,) and radius of a sphere that holds objects as they are seen, in units."""
    corners = np.concatenate([_corners(obj) for obj in objects])
    low, high = corners.min(axis=0), corners.max(axis=0)
    return 0.5 * (low + high), float(0.5 * np.linalg.norm(high - low))


def _corners(obj: bpy.types.Object) -> np.ndarray:
    """Return the corners of an object's box in the world, (8, 3)."""
    own = np.column_stack([np.array(obj.bound_box, dtype=np.float64), np.ones(8)])
    return np.asarray((own @ frames.shown_matrix_of(obj).T)[:, :3])


def _views(context: bpy.types.Context) -> Iterator[tuple[Any, bpy.types.Region]]:
    """Yield each 3D view of every window that shows the context's scene, with its region."""
    for window in manager_of(context).windows:
        if window.scene != context.scene:
            continue
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                regions = [region for region in area.regions if region.type == "WINDOW"]
                yield area.spaces.active, regions[0]
