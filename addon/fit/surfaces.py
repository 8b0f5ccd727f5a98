"""An object's surface as a fit takes it, in the frame of the fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import bpy
import numpy as np

from ...standalone_core.progress import Steps, scaled
from ..blender import bridge, frames
from ..blender.session import mesh_of

if TYPE_CHECKING:
    from ...standalone_core.mesh.triangle_mesh import TriangleMesh


@dataclass(frozen=True, eq=False)
class Surface:
    """An object as it was read.

    Attributes
    ----------
    obj : bpy.types.Object
    local_to_mm : (4, 4) float
        From the object's own coordinates to the frame of the fit, mm.
    mesh : TriangleMesh
        In that frame.
    checksum : str
        Of the object's own mesh.
    """

    obj: bpy.types.Object
    local_to_mm: np.ndarray
    mesh: TriangleMesh
    checksum: str


def read_surface_steps(
    context: bpy.types.Context, obj: bpy.types.Object, frame: frames.Frame
) -> Steps[Surface]:
    """Read an object where it lies, step by step.

    Raises
    ------
    MeshError
        It cannot be measured, with what to do about it.
    """
    bridge.check_usable(obj)
    checksum = yield from scaled(bridge.checksum_steps(mesh_of(obj)), 0.0, 0.5)
    depsgraph = context.evaluated_depsgraph_get()
    local_to_mm = frame.local_to_mm(obj)
    reading = bridge.read_mesh_steps(obj, local_to_mm, depsgraph)
    return Surface(obj, local_to_mm, (yield from scaled(reading, 0.5, 1.0)), checksum)
