"""Landmarks: numbered empties on design and scan; equal numbers make a pair."""

from __future__ import annotations

from typing import TYPE_CHECKING

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.errors import SuperimpositionError
from ..identifiers import LANDMARK_NAME, OBJECT_PROPERTIES

if TYPE_CHECKING:
    from ..blender import frames

FEWEST_PAIRS = 3
SIZE_MM = 0.4


def landmarks_of(obj: bpy.types.Object, scene: bpy.types.Scene) -> dict[int, bpy.types.Object]:
    """Return an object's landmarks by number, in order."""
    found = {
        getattr(child, OBJECT_PROPERTIES).landmark: child
        for child in obj.children
        if getattr(child, OBJECT_PROPERTIES).landmark > 0 and scene in child.users_scene
    }
    return dict(sorted(found.items()))


def add_landmark(
    obj: bpy.types.Object, world: Vector, scene: bpy.types.Scene, scale_mm: float
) -> bpy.types.Object:
    """Put the next landmark on the place of an object's surface nearest to a point.

    Raises
    ------
    SuperimpositionError
        The object has no surface to put it on.
    """
    local = obj.matrix_world.inverted_safe() @ world
    found, place, _normal, _face = obj.closest_point_on_mesh(local)
    if not found:
        raise SuperimpositionError(
            "It has no surface there.", subject=obj.name, remedy="Choose a place on its surface."
        )
    taken = landmarks_of(obj, scene)
    number = next(k for k in range(1, len(taken) + 2) if k not in taken)
    mark = bpy.data.objects.new(f"{LANDMARK_NAME} {number}", None)
    properties = getattr(mark, OBJECT_PROPERTIES)
    properties.landmark, properties.caption = number, str(number)
    mark.empty_display_type = "SPHERE"
    mark.show_in_front = True
    for collection in obj.users_collection:
        collection.objects.link(mark)
    mark.parent = obj
    mark.location = place
    stretch = max(obj.matrix_world.to_scale().length / 3**0.5, 1e-9)
    mark.empty_display_size = SIZE_MM / scale_mm / stretch
    return mark


def remove_landmarks(marks: list[bpy.types.Object]) -> None:
    """Delete landmarks."""
    for mark in marks:
        bpy.data.objects.remove(mark)


def pair_count(design: bpy.types.Object, scan: bpy.types.Object, scene: bpy.types.Scene) -> int:
    """Return how many numbers are on both."""
    return len(landmarks_of(design, scene).keys() & landmarks_of(scan, scene).keys())


def pairs_mm(
    design: bpy.types.Object, scan: bpy.types.Object, frame: frames.Frame, scene: bpy.types.Scene
) -> tuple[list[list[float]], list[list[float]]]:
    """Return the paired places on scan and design in the design's frame, (k, 3) each, mm.

    Raises
    ------
    SuperimpositionError
        Fewer than three pairs.
    """
    on_design, on_scan = landmarks_of(design, scene), landmarks_of(scan, scene)
    numbers = sorted(on_design.keys() & on_scan.keys())
    if len(numbers) < FEWEST_PAIRS:
        raise SuperimpositionError(
            f"It shares {len(numbers)} landmarks with its design; {FEWEST_PAIRS} are needed.",
            subject=scan.name,
            remedy="Pick the same places on design and scan with Pick Landmarks.",
        )
    return (
        [_place_mm(on_scan[number], frame) for number in numbers],
        [_place_mm(on_design[number], frame) for number in numbers],
    )


def _place_mm(mark: bpy.types.Object, frame: frames.Frame) -> list[float]:
    place: np.ndarray = frame.local_to_mm(mark)[:3, 3]
    return [float(x) for x in place]
