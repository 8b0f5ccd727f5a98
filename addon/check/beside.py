"""Design and scan side by side for a while: the scan is seen elsewhere than where it lies.

Meanwhile the scan counts as lying where it lies otherwise (:func:`.frames.matrix_of`), so that
nothing measured goes out of date; its own place comes back to the last bit.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ..blender import frames
from ..blender.session import layer_of, view_of
from . import store

GAP = 0.15  # between the two, as a share of the wider one
MARGIN = 1.2  # of the view's distance over the length of both


class SideBySide:
    """Two objects shown beside one another in a view, and all as it was by ``end``.

    Parameters
    ----------
    context : bpy.types.Context
        Of a 3D view, whose right hand side the scan goes to.
    design, scan : bpy.types.Object
    """

    def __init__(
        self, context: bpy.types.Context, design: bpy.types.Object, scan: bpy.types.Object
    ) -> None:
        self._layer, self._scan = layer_of(context), scan
        self._location = scan.location.copy()
        fit = store.data_of(scan).fit
        self._shown = (bool(fit.is_on_die), list(fit.place_before))
        view: Any = view_of(context).region_3d
        self._view: Any = view
        self._seen = (view.view_location.copy(), view.view_distance)
        self._hidden = {obj: obj.hide_get() for obj in self._layer.objects if obj.type == "MESH"}
        for obj in self._hidden:
            obj.hide_set(obj not in (design, scan))
        right = np.array(view.view_rotation.to_matrix())[:, 0]
        shift = shift_beside(corners_of(design), corners_of(scan), right)
        home = frames.matrix_of(scan)
        fit.place_before, fit.is_on_die = home.ravel().tolist(), True
        self._move(shift)
        self._look_at(np.concatenate([corners_of(design), corners_of(scan)]))

    def end(self) -> None:
        """Put the scan, what was hidden and the view back."""
        fit = store.data_of(self._scan).fit
        self._scan.location = self._location
        fit.is_on_die, fit.place_before = self._shown
        for obj, hidden in self._hidden.items():
            obj.hide_set(hidden)
        self._layer.update()
        self._view.view_location, self._view.view_distance = self._seen

    def _move(self, shift: np.ndarray) -> None:
        """Move the scan by a shift of the world; one that is held by something stays."""
        scan = self._scan
        above: Matrix = scan.matrix_world.to_3x3() @ scan.matrix_basis.to_3x3().inverted_safe()
        scan.location = self._location + above.inverted_safe() @ Vector(shift.tolist())
        self._layer.update()

    def _look_at(self, corners: np.ndarray) -> None:
        """Bring both into view, from the side that they are looked at from."""
        low, high = corners.min(axis=0), corners.max(axis=0)
        self._view.view_location = (low + high) / 2.0
        self._view.view_distance = MARGIN * float(np.linalg.norm(high - low))


def shift_beside(fixed: np.ndarray, moving: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Return the shift (3,) that takes one box to the right of another, level with it.

    Parameters
    ----------
    fixed, moving : (k, 3) ndarray
        Corners of the boxes.
    right : (3,) ndarray
        Unit vector.
    """
    level = fixed.mean(axis=0) - moving.mean(axis=0)
    one, other = fixed @ right, (moving + level) @ right
    gap = GAP * max(np.ptp(one), np.ptp(other))
    shift: np.ndarray = level + (one.max() + gap - other.min()) * right
    return shift


def corners_of(obj: bpy.types.Object) -> np.ndarray:
    """Return the corners of an object's box where it is seen, (8, 3)."""
    corners = np.column_stack([np.array(obj.bound_box, dtype=np.float64), np.ones(8)])
    return np.asarray((corners @ frames.shown_matrix_of(obj).T)[:, :3])
