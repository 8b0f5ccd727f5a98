"""The design's frame, in which everything is measured, and where objects lie in it.

The core works in the *design's frame*: the design object's place and turn taken away, its scale
left in, lengths in mm. A mirror or uneven scale is therefore part of the shape, as it is on the
screen, and moving design and scan together changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ...standalone_core.errors import SettingError
from ..identifiers import OBJECT_PROPERTIES, SCENE_PROPERTIES
from .units import mm_per_unit

# What writing a pose may lose to the single precision of Blender's matrices, mm per mm.
POSE_PRECISION = 4e-6


@dataclass(frozen=True, eq=False)
class Frame:
    """The design's frame.

    Attributes
    ----------
    scale_mm : float
        Millimetres per unit of the scene.
    world_design : (4, 4) float
        Rigid motion from the design's frame to the world, both in units of the scene.
    """

    scale_mm: float
    world_design: np.ndarray

    @property
    def to_world_mm(self) -> np.ndarray:
        """Rigid motion (4, 4) from the frame to the world, both in mm: where an export lies."""
        motion = self.world_design.copy()
        motion[:3, 3] *= self.scale_mm
        return motion

    def local_to_mm(self, obj: bpy.types.Object) -> np.ndarray:
        """Return the (4, 4) that takes an object's own coordinates to the frame, in mm."""
        return self._in_mm(matrix_of(obj))

    def shown_to_mm(self, obj: bpy.types.Object) -> np.ndarray:
        """Return the same for an object as it is seen now, (4, 4)."""
        return self._in_mm(shown_matrix_of(obj))

    def _in_mm(self, world: np.ndarray) -> np.ndarray:
        motion = np.linalg.inv(self.world_design) @ world
        motion[:3] *= self.scale_mm
        return np.asarray(motion)

    def world_of(self, local_to_mm: np.ndarray) -> np.ndarray:
        """Return the world matrix of an object with this place in the frame."""
        motion = np.array(local_to_mm, dtype=np.float64)
        motion[:3] /= self.scale_mm
        world: np.ndarray = self.world_design @ motion
        return world


def matrix_of(obj: bpy.types.Object) -> np.ndarray:
    """Return an object's world matrix, (4, 4) float64.

    A crown that is shown on its die, and what hangs on it, counts as lying where it lies
    otherwise: to look at its seat changes nothing that was measured.
    """
    shown = getattr(obj, OBJECT_PROPERTIES).fit
    if shown.is_on_die:
        return np.array(shown.place_before, dtype=np.float64).reshape(4, 4)
    seen = shown_matrix_of(obj)
    if obj.parent is None:
        return seen
    lies, there = matrix_of(obj.parent), shown_matrix_of(obj.parent)
    if np.array_equal(lies, there):
        return seen
    return np.asarray(lies @ np.linalg.inv(there) @ seen)


def shown_matrix_of(obj: bpy.types.Object) -> np.ndarray:
    """Return the world matrix that an object is seen with, (4, 4) float64."""
    return np.array(obj.matrix_world, dtype=np.float64)


def frame_of(design: bpy.types.Object, scene: bpy.types.Scene) -> Frame:
    """Return the frame of a design.

    Raises
    ------
    SettingError
        The length of a unit cannot be told, or the object's scale is zero.
    """
    rigid = _rigid_of(design)
    return Frame(scene_scale_mm(design, scene), rigid)


def own_frame(obj: bpy.types.Object, scale_mm: float) -> Frame:
    """Return the frame of any object, in which only its scale is left of its place.

    Raises
    ------
    SettingError
        Its scale is zero.
    """
    return Frame(scale_mm, _rigid_of(obj))


def _rigid_of(obj: bpy.types.Object) -> np.ndarray:
    """Return an object's place and turn, (4, 4), without its scale."""
    world = matrix_of(obj)
    u, stretch, v = np.linalg.svd(world[:3, :3])
    if not stretch.min() > 0.0:
        raise SettingError(
            "Its scale is zero in some direction.",
            subject=obj.name,
            remedy="Give the object a scale other than zero.",
        )
    turn = u @ v
    rigid = np.eye(4)
    # The turn of a mirrored object: the mirror stays in the shape.
    rigid[:3, :3] = turn if np.linalg.det(turn) > 0 else -turn
    rigid[:3, 3] = world[:3, 3]
    return rigid


def scene_scale_mm(design: bpy.types.Object, scene: bpy.types.Scene) -> float:
    """Return the millimetres in a unit of the scene, judged by the design's size if need be."""
    units = scene.unit_settings
    choice = getattr(scene, SCENE_PROPERTIES).unit
    try:
        return mm_per_unit(choice, units.system, units.scale_length, longest_side(design))
    except SettingError as error:
        raise SettingError(error.reason, subject=design.name, remedy=error.remedy) from error


def longest_side(obj: bpy.types.Object) -> float:
    """Return the longest side of an object's own bounding box under its scale, in units."""
    corners = np.array(obj.bound_box, dtype=np.float64)
    stretch = np.linalg.norm(matrix_of(obj)[:3, :3], axis=0)
    return float(((corners.max(axis=0) - corners.min(axis=0)) * stretch).max())


def middle(obj: bpy.types.Object) -> np.ndarray:
    """Return the middle of an object's box as it is seen, (3,), in units of the scene."""
    corners = np.column_stack([np.array(obj.bound_box, dtype=np.float64), np.ones(8)])
    centre: np.ndarray = shown_matrix_of(obj)[:3] @ corners.mean(axis=0)
    return centre


# Placing -------------------------------------------------------------------------------------

_TRIAL = Matrix.Rotation(0.3, 4, Vector((1.0, 2.0, 3.0)))
"""A turn about no axis of the scene's."""


def refuse_held(obj: bpy.types.Object, view_layer: bpy.types.ViewLayer) -> None:
    """Refuse an object that something holds, before it is computed where it belongs.

    Only what may be held is tried: it is moved, and put back to the last bit.

    Raises
    ------
    SettingError
        As of :func:`place`.
    """
    drivers = obj.animation_data.drivers if obj.animation_data else ()
    if not (obj.parent or len(obj.constraints) or len(drivers)):
        return
    before, world = obj.matrix_basis.copy(), shown_matrix_of(obj)
    shift = Matrix.Translation(longest_side(obj) * Vector((0.3, 0.5, 0.7)))
    place(obj, np.array(shift @ _TRIAL) @ world, view_layer)
    obj.matrix_basis = before
    view_layer.update()


def place(obj: bpy.types.Object, world: np.ndarray, view_layer: bpy.types.ViewLayer) -> None:
    """Give an object a world matrix; its vertices stay as they are.

    Raises
    ------
    SettingError
        The object cannot be placed there (a constraint, a parent with an uneven scale); it is
        then where it was.
    """
    before = obj.matrix_basis.copy()
    obj.matrix_world = Matrix(world.tolist())
    view_layer.update()
    if displacement(obj, shown_matrix_of(obj), world) <= POSE_PRECISION * _reach(obj, world):
        return
    obj.matrix_basis = before
    view_layer.update()
    raise SettingError(
        "It cannot be moved to where it fits: a constraint, driver or parent holds it.",
        subject=obj.name,
        remedy="Clear its constraints and parent (keep the transform), or apply its scale.",
    )


def displacement(obj: bpy.types.Object, one: np.ndarray, other: np.ndarray) -> float:
    """Return how far apart two matrices put the corners of an object's box, at most."""
    corners = np.column_stack([np.array(obj.bound_box, dtype=np.float64), np.ones(8)])
    return float(np.linalg.norm((corners @ (one - other).T)[:, :3], axis=1).max())


def _reach(obj: bpy.types.Object, world: np.ndarray) -> float:
    """Return the largest length that rounding is relative to: box and place of an object."""
    corners = np.column_stack([np.array(obj.bound_box, dtype=np.float64), np.ones(8)])
    own = np.abs(corners[:, :3]).max() * np.abs(world[:3, :3]).max()
    return float(max(np.abs(corners @ world.T).max(), own, np.abs(world[:3, 3]).max()))
