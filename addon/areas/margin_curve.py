"""The margin line as a curve that follows the design and is edited by Blender's own tools."""

from __future__ import annotations

import bpy
import numpy as np

from ..identifiers import MARGIN_LINE_NAME
from . import surface_curve

_POINTER = "margin_line"


def closed(design: bpy.types.Object) -> np.ndarray | None:
    """Return the margin line as it is drawn, (k, 3), in the design's own coordinates.

    Its end is its beginning where it is closed; None if there is none.
    """
    points = read(design)
    if points is None:
        return None
    around = surface_curve.is_closed(design, _POINTER)
    return np.concatenate([points, points[:1]]) if around else points


def write(design: bpy.types.Object, points: np.ndarray, closed: bool) -> str:
    """Write the line as a curve that follows the design; return its fingerprint."""
    return surface_curve.write(design, _POINTER, MARGIN_LINE_NAME, points, closed)


def fingerprint(design: bpy.types.Object) -> str:
    """Return a short checksum of the margin line; empty where there is none."""
    return surface_curve.fingerprint(design, _POINTER)


def read(design: bpy.types.Object) -> np.ndarray | None:
    """Return the points of the margin line in the design's own coordinates, (k, 3)."""
    return surface_curve.read(design, _POINTER)
