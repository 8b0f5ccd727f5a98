"""A crown shown on its die, run down to its seat, and brought back to where it lies otherwise.

While it is shown there it counts as lying where it lies otherwise (:func:`.frames.matrix_of`), so
that nothing measured goes out of date.
"""

from __future__ import annotations

import bpy
import numpy as np

from ...standalone_core.errors import CuspwiseError
from ..blender import frames
from ..blender.in_blender import message
from ..check import store
from ..identifiers import SCENE_PROPERTIES
from . import fit_store


def are_together(scene: bpy.types.Scene, die: bpy.types.Object | None) -> bool:
    """Tell whether the boxes of the scene's design and of a die reach into one another."""
    design = getattr(scene, SCENE_PROPERTIES).design
    if die is None or design is None:
        return False
    (low, high), (die_low, die_high) = _box(design), _box(die)
    return bool((low <= die_high).all() and (die_low <= high).all())


def run_down(
    crown: bpy.types.Object, scene: bpy.types.Scene, view_layer: bpy.types.ViewLayer
) -> str:
    """Show a crown as far above its seat as its height says; return why not, empty if it is."""
    data, kept = store.data_of(crown).fit, fit_store.fit_of(crown)
    if kept is None:
        return ""
    for obj, words in ((data.die, "die"), (data.design, "design")):
        if not store.is_in(obj, scene):
            return f"Its {words} is not in this scene."
    before = frames.matrix_of(crown)
    try:
        frame = fit_store.kept_frame(crown, scene)
        lifted = np.array(kept["seat_of_own"])
        lifted[:3, 3] += data.height_mm * np.array(kept["axis"])
        frames.place(crown, frame.world_of(lifted), view_layer)
    except CuspwiseError as error:
        return message(error)
    data.place_before = before.ravel().tolist()
    data.is_on_die = True
    return ""


def bring_back(crown: bpy.types.Object, view_layer: bpy.types.ViewLayer) -> None:
    """Put a crown that is shown on its die back to where it lies otherwise.

    Raises
    ------
    SettingError
        Something holds it; it stays where it is.
    """
    data = store.data_of(crown).fit
    if not data.is_on_die:
        return
    home = frames.matrix_of(crown)
    frames.place(crown, home, view_layer)
    data.is_on_die = False
    view_layer.update()


def _box(obj: bpy.types.Object) -> tuple[np.ndarray, np.ndarray]:
    """Return the corners of the box, along the axes of the world, about an object."""
    corners = np.column_stack([np.array(obj.bound_box, dtype=np.float64), np.ones(8)])
    world = (corners @ frames.matrix_of(obj).T)[:, :3]
    return world.min(axis=0), world.max(axis=0)
