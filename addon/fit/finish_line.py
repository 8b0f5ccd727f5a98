"""The finish line of a die, as a curve that follows it and is edited by Blender's own tools."""

from __future__ import annotations

from typing import TYPE_CHECKING

import bpy
import numpy as np
from mathutils import Vector

from ...standalone_core.areas.area_set import MarginLine
from ...standalone_core.errors import AreaError
from ..areas import margin_curve, surface_curve
from ..identifiers import FINISH_LINE_NAME

if TYPE_CHECKING:
    from ...standalone_core.progress import Steps
    from .surfaces import Surface

POINTER = "finish_line"


def there(die: bpy.types.Object | None) -> bpy.types.Object | None:
    """Return a die's finish line; None if it has none."""
    line: bpy.types.Object | None = None
    if die is not None:
        line = surface_curve.curve_of(die, POINTER)
    return line


def read(die: bpy.types.Object) -> np.ndarray | None:
    """Return the points of a finish line in its die's own coordinates, (k, 3).

    Raises
    ------
    AreaError
        It is being edited, so that its points are not known.
    """
    line = there(die)
    if line is not None and line.mode == "EDIT":
        raise AreaError("It is being edited.", subject=line.name, remedy="Leave Edit Mode first.")
    return surface_curve.read(die, POINTER, least=1)


def fingerprint(die: bpy.types.Object | None) -> str:
    """Return a short checksum of a die's finish line; empty where there is none."""
    return "" if die is None else surface_curve.fingerprint(die, POINTER, least=1)


def write(die: bpy.types.Object, points: np.ndarray) -> None:
    """Write a finish line, (k, 3) in its die's own coordinates."""
    surface_curve.write(die, POINTER, FINISH_LINE_NAME, points, closed=True)


def add_point(die: bpy.types.Object, world: Vector) -> None:
    """Add a point at the end of a die's finish line, on its surface, and begin one if need be."""
    local = die.matrix_world.inverted_safe() @ world
    found, place, _normal, _face = die.closest_point_on_mesh(local)
    own = np.array(place if found else local, dtype=np.float64)[None]
    before = read(die)
    write(die, own if before is None else np.concatenate([before, own]))


def remove(die: bpy.types.Object) -> None:
    """Delete a die's finish line."""
    line = there(die)
    if line is not None:
        bpy.data.objects.remove(line)


def line_mm(die: Surface, points: np.ndarray | None) -> MarginLine | None:
    """Return a line in a die's own coordinates as the core takes it, in the frame of the fit."""
    if points is None:
        return None
    return MarginLine(_moved(points, die.local_to_mm), closed=True, origin="user")


def margin_line_mm(design: bpy.types.Object, local_to_mm: np.ndarray) -> np.ndarray:
    """Return a design's margin line, as it is drawn, in the frame of the fit, (k, 3) mm.

    Raises
    ------
    AreaError
        There is none.
    """
    points = margin_curve.read(design)
    if points is None:
        raise AreaError(
            "Its margin line is not known.",
            subject=design.name,
            remedy="Press Find Areas, which finds it, then repeat this.",
        )
    return _moved(points, local_to_mm)


def carry_over_steps(die: Surface, margin_mm: np.ndarray, subject: str) -> Steps[np.ndarray]:
    """Lay a margin line on a die; return it in the die's own coordinates, (k, 3).

    Raises
    ------
    AreaError
        The margin line does not lie on the die.
    """
    from ...standalone_core.fit.gap.finish_line import finish_line_on_steps

    laid = yield from finish_line_on_steps(margin_mm, die.mesh, subject=subject)
    return _moved(laid.line.points_mm, np.linalg.inv(die.local_to_mm))


def _moved(points: np.ndarray, motion: np.ndarray) -> np.ndarray:
    moved: np.ndarray = points @ motion[:3, :3].T + motion[:3, 3]
    return moved
