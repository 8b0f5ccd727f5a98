"""Bringing a place into view: seen from outside along its normal, ringed, nothing before it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Quaternion, Vector

from ...standalone_core.errors import CuspwiseError, SettingError
from ..areas import support_marks
from ..blender import frames
from ..blender.in_blender import message
from ..blender.own_surface import Surface
from ..blender.session import layer_of, scene_of, settings_of, view_of
from ..check import mark_results, store
from . import alone, colour_map, looking
from .free_sight import free_sight

VIEW_DISTANCE_MM = 12.0  # near enough that a patch of half a millimetre is seen
RADIUS_MM = 0.5  # of the ring about a place whose size is not known
LEAST_RADIUS_MM, MOST_RADIUS_MM = 0.3, 1.5  # of the ring about a patch
WIDER = 1.25  # than the patch, or than the circle of a support mark, is its ring
AROUND = 8  # places on the ring, whose normals count too
ONTO = 0.05  # of the way from a place to the middle of what lies around it
# Of the longest side: from how far a look is tried, and what then counts as the same place.
FAR, SAME = 3.0, 0.002


@dataclass(frozen=True)
class Place:
    """A place of an object to be looked at.

    Attributes
    ----------
    obj : bpy.types.Object
        Whose surface is looked at.
    local : mathutils.Vector
        In its own coordinates, on or near its surface.
    scale_mm : float
        Millimetres in a unit of the scene.
    radius_mm : float
        Of its ring.
    """

    obj: bpy.types.Object
    local: Vector
    scale_mm: float
    radius_mm: float = RADIUS_MM


def frame_patch(context: bpy.types.Context, scan: bpy.types.Object, number: int) -> str:
    """Look at the worst place of a patch outside the tolerance; return why not, or nothing.

    The 3D cursor goes there too. Another map than that of the deviations gives way to it.
    """
    kept = store.result_of(scan)
    patches = kept["check"]["patches"] if kept else []
    if not 0 <= number < len(patches):
        return f"{scan.name}: there is no patch {number + 1}."
    patch, settings = patches[number], settings_of(context)
    try:
        frame = _frame(context, scan)
    except CuspwiseError as error:
        return message(error)
    if settings.show_colours and not colour_map.shows_deviations(scene_of(context)):
        colour_map.show(context)
    scan_only = patch["seen_from"] == "scan"  # the design does not show it
    if scan_only and settings.shown == "DESIGN":
        settings.shown = "SCAN"
    wide = WIDER * math.sqrt(max(patch["area_mm2"], 0.0) / math.pi)
    radius_mm = min(max(wide, LEAST_RADIUS_MM), MOST_RADIUS_MM)
    obj = scan if scan_only else _seen(context, scan, store.data_of(scan).design)
    _look(context, _in_frame(obj, frame, patch["peak_mm"], radius_mm))
    return ""


def frame_mark(context: bpy.types.Context, design: bpy.types.Object, area: str) -> str:
    """Look at a support mark; return why not, empty if it is.

    At its peak where the chosen scan was measured there, else at its middle on the design.
    """
    scan = colour_map.selected_scan(scene_of(context))
    row = mark_results.rows(scan, design).get(area) if scan else None
    try:
        frame = frames.frame_of(design, scene_of(context))
    except CuspwiseError as error:
        return message(error)
    place = row["peak_mm"] if row else support_marks.middle_mm(design, area, frame)
    if place is None or None in place:
        return f"{design.name}: {area} holds no vertex."
    circle = support_marks.circles(design).get(area)
    radius_mm = WIDER * circle["radius_mm"] if circle else RADIUS_MM
    obj = _seen(context, scan, design) if scan is not None and row else design
    _look(context, _in_frame(obj, frame, place, radius_mm))
    return ""


def frame_place(context: bpy.types.Context, scan: bpy.types.Object, place_mm: np.ndarray) -> str:
    """Look at a place of a scan's design, or of the scan; return why not, empty if it is."""
    try:
        frame = _frame(context, scan)
    except CuspwiseError as error:
        return message(error)
    _look(context, _in_frame(_seen(context, scan, store.data_of(scan).design), frame, place_mm))
    return ""


def frame_local(context: bpy.types.Context, obj: bpy.types.Object, local: Sequence[float]) -> str:
    """Look at a place of an object, in its own coordinates; return why not, or nothing."""
    try:
        scale_mm = frames.scene_scale_mm(obj, scene_of(context))
    except CuspwiseError as error:
        return message(error)
    _look(context, Place(obj, Vector(local), scale_mm))
    return ""


def go_to(context: bpy.types.Context, obj: bpy.types.Object, local: Sequence[float]) -> str:
    """Bring a place into the middle of the view, everything else seen; return why not, if so."""
    try:
        scale_mm = frames.scene_scale_mm(obj, scene_of(context))
    except CuspwiseError as error:
        return message(error)
    world = obj.matrix_world @ Vector(local)
    scene_of(context).cursor.location = world
    if _is_view(context):
        view: Any = view_of(context).region_3d
        view.view_location = world
        view.view_distance = min(view.view_distance, VIEW_DISTANCE_MM / scale_mm)
    return ""


def leave(context: bpy.types.Context) -> None:
    """Look at no place any more: views, and what is hidden, as they were before."""
    scene = scene_of(context)
    looking.turn_views_back(scene)
    looking.forget(scene)
    colour_map.refresh(scene)


def _seen(
    context: bpy.types.Context, scan: bpy.types.Object, design: bpy.types.Object
) -> bpy.types.Object:
    """Return which of the two surfaces is looked at: the one that is shown, or the scan."""
    if colour_map.shows_deviations(scene_of(context)):
        return design if settings_of(context).shown == "DESIGN" else scan
    return design if _is_out_of_sight(scan) and not _is_out_of_sight(design) else scan


def _is_out_of_sight(obj: bpy.types.Object) -> bool:
    """Tell whether somebody hid an object, not a look at something else."""
    return obj.hide_get() and not alone.is_hidden_meanwhile(obj)


def _in_frame(
    obj: bpy.types.Object,
    frame: frames.Frame,
    place_mm: Sequence[float] | np.ndarray,
    radius_mm: float = RADIUS_MM,
) -> Place:
    """Return a place of the design's frame as one of an object."""
    world = frame.world_design @ np.append(np.asarray(place_mm) / frame.scale_mm, 1.0)
    local = np.linalg.inv(frames.matrix_of(obj)) @ world
    return Place(obj, Vector(local[:3]), frame.scale_mm, radius_mm)


def _look(context: bpy.types.Context, place: Place) -> None:
    """Show a place's object alone, ring the place, and look at it from outside."""
    scene, obj = scene_of(context), place.obj
    to_world, radius = obj.matrix_world, place.radius_mm / place.scale_mm
    local, normal = _on_surface(obj, place.local, radius)
    looking.begin(scene, obj, local, radius)
    colour_map.refresh(scene, anew=True)
    away, is_seen = _towards_eye(obj, local, normal)
    looking.place_of(scene).away = to_world.inverted_safe().to_3x3() @ away
    looking.place_of(scene).through = not is_seen
    in_front = _before(context, obj, to_world @ local, away)
    if in_front:
        looking.stand_in_front(in_front)
        colour_map.refresh(scene, anew=True)
    scene.cursor.location = to_world @ place.local
    if _is_view(context):
        distance_mm = max(looking.NEAREST_MM, looking.RADII * place.radius_mm)
        looking.turn_view(context, to_world @ local, away, distance_mm / place.scale_mm)


def _on_surface(obj: bpy.types.Object, place: Vector, radius: float) -> tuple[Vector, Vector]:
    """Return the nearest place of a surface and its mean normal about it, in own coordinates.

    One facet of a rough scan may lean far from the surface that it is part of. A place on the very
    edge of flash moves a little onto it, or a look could pass beside.
    """
    surface = Surface(obj)
    nearest = surface.closest(place)
    if nearest is None:
        return place, Vector((0.0, 0.0, 1.0))
    middle, normal = nearest
    first: Any = normal.orthogonal().normalized()
    own_radius = radius / max(obj.matrix_world.to_scale().length / 3**0.5, 1e-9)
    around = [nearest]
    for turn in range(AROUND):
        beside: Any = Quaternion(normal, 2.0 * math.pi * turn / AROUND) @ first
        found = surface.closest(middle + own_radius * beside)
        if found is not None and found[1].dot(normal) > 0.0:  # not of the wall's other side
            around.append(found)
    inward: Any = sum((found[0] for found in around), Vector()) / len(around)
    onto = surface.closest(middle.lerp(inward, ONTO))
    mean: Any = sum((found[1] for found in around), Vector())
    return onto[0] if onto is not None else middle, mean


def _towards_eye(obj: bpy.types.Object, local: Vector, normal: Vector) -> tuple[Vector, bool]:
    """Return from where a place is seen past the object itself, and whether it is at all.

    A unit vector of the world; along the normal where the place lies inside a fold.
    """
    to_world, to_local = obj.matrix_world, obj.matrix_world.inverted_safe()
    outward: Any = to_local.transposed().to_3x3() @ normal
    surface, size, world = Surface(obj), frames.longest_side(obj), to_world @ local

    def is_seen(way: np.ndarray) -> bool:
        """Look from afar: what is met first?"""
        along: Any = to_local.to_3x3() @ Vector((-way).tolist())
        place = surface.met(to_local @ (world + FAR * size * Vector(way.tolist())), along)
        return place is not None and (to_world @ place - world).length < SAME * size

    found = free_sight(outward, is_seen)
    return (outward.normalized(), False) if found is None else (Vector(found.tolist()), True)


def _before(
    context: bpy.types.Context, obj: bpy.types.Object, world: Vector, away: Vector
) -> list[bpy.types.Object]:
    """Return what is seen between a place of an object and the eye, its twin surface apart."""
    layer_of(context).update()
    twins = colour_map.shown_together(scene_of(context))
    return [
        other
        for other in layer_of(context).objects
        if other.type == "MESH" and other != obj and other not in twins and other.visible_get()
        if _is_met(other, world, away)
    ]


def _is_met(obj: bpy.types.Object, world: Vector, away: Vector) -> bool:
    to_local: Matrix = obj.matrix_world.inverted_safe()
    way: Any = to_local.to_3x3() @ away
    return Surface(obj).met(to_local @ world, way) is not None


def _is_view(context: bpy.types.Context) -> bool:
    return context.space_data is not None and context.space_data.type == "VIEW_3D"


def _frame(context: bpy.types.Context, scan: bpy.types.Object) -> frames.Frame:
    design = store.data_of(scan).design
    if not store.is_in(design, scene_of(context)):
        raise SettingError(
            "Its design is not in this scene.",
            subject=scan.name,
            remedy="Bring the design back, or check against another one.",
        )
    return frames.frame_of(design, scene_of(context))
