"""The place that is looked at: kept with the scene, and all that was moved or hidden for it.

Where views looked from before belongs to the windows, yet is kept in the scene, to be saved.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from typing import Any

import bpy
from mathutils import Quaternion, Vector

from ..blender.session import view_of
from ..identifiers import OBJECT_PROPERTIES, SCENE_PROPERTIES
from .view_shading import spaces

NEAREST_MM, RADII = 6.0, 10.0  # the eye's distance: so much at least, and so many of the ring


def place_of(scene: bpy.types.Scene) -> Any:
    """Return the place that is looked at, with its object; None if there is none."""
    place = getattr(scene, SCENE_PROPERTIES).place
    return place if place.obj is not None and scene in place.obj.users_scene else None


def begin(scene: bpy.types.Scene, obj: bpy.types.Object, local: Vector, radius: float) -> None:
    """Look at a place of an object from now on.

    Parameters
    ----------
    scene : bpy.types.Scene
    obj : bpy.types.Object
    local : mathutils.Vector
        In its own coordinates, on its surface.
    radius : float
        Of the ring, in units of the scene.
    """
    place = getattr(scene, SCENE_PROPERTIES).place
    forget(scene)
    place.obj, place.local, place.radius = obj, local, radius


def forget(scene: bpy.types.Scene) -> None:
    """Look at no place; views stay where they are."""
    getattr(scene, SCENE_PROPERTIES).place.obj = None
    for obj in scene.objects:
        if _data_of(obj).in_front:  # writing makes Blender update the object
            _data_of(obj).in_front = False


def wishes(
    scene: bpy.types.Scene,
    others: Iterable[bpy.types.Object],
    together: Collection[bpy.types.Object] = (),
) -> dict[bpy.types.Object, bool]:
    """Return what is to be hidden so that nothing lies before the place, and its object shown.

    Parameters
    ----------
    scene : bpy.types.Scene
    others : iterable of bpy.types.Object
        What usually lies about it.
    together : collection of bpy.types.Object
        What is to be seen beside it all the same.
    """
    place = place_of(scene)
    if place is None:
        return {}
    found = [*others, *(obj for obj in scene.objects if _data_of(obj).in_front)]
    return {obj: True for obj in found if obj not in together} | {place.obj: False}


def stand_in_front(objects: Iterable[bpy.types.Object]) -> None:
    """Note what lies before the place, though it is nothing of ours."""
    for obj in objects:
        _data_of(obj).in_front = True


# Views ---------------------------------------------------------------------------------------


def turn_view(context: bpy.types.Context, world: Vector, away: Vector, distance: float) -> None:
    """Let the context's view look at a place of the world, keeping how it looked before.

    Parameters
    ----------
    context : bpy.types.Context
    world : mathutils.Vector
    away : mathutils.Vector
        From the place towards the eye.
    distance : float
        Of the eye, in units of the scene.
    """
    place = getattr(context.scene, SCENE_PROPERTIES).place
    before = json.loads(place.views or "{}")
    space, key = view_of(context), _key_of(context)
    view: Any = space.region_3d
    if key and key not in before:
        before[key] = {
            "location": list(view.view_location),
            "rotation": list(view.view_rotation),
            "distance": view.view_distance,
            "perspective": view.view_perspective,
            "clip_start": space.clip_start,
        }
        place.views = json.dumps(before)
    if view.view_perspective == "CAMERA":
        view.view_perspective = "PERSP"
    view.view_rotation = away.to_track_quat("Z", "Y")
    view.view_location = world
    view.view_distance = distance
    space.clip_start = min(space.clip_start, 0.01 * distance)


def turn_views_back(scene: bpy.types.Scene) -> None:
    """Let all views look from where they did before a place was looked at."""
    place = getattr(scene, SCENE_PROPERTIES).place
    before = json.loads(place.views or "{}")
    for key, space in spaces():
        if key in before:
            view: Any = space.region_3d
            view.view_perspective = before[key]["perspective"]
            view.view_rotation = Quaternion(before[key]["rotation"])
            view.view_location = before[key]["location"]
            view.view_distance = before[key]["distance"]
            space.clip_start = before[key]["clip_start"]
    place.views = ""


def _key_of(context: bpy.types.Context) -> str:
    return next((key for key, space in spaces() if space == context.space_data), "")


def _data_of(obj: bpy.types.Object) -> Any:
    return getattr(obj, OBJECT_PROPERTIES)
