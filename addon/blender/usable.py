"""Whether an object can be measured: cheap questions, each with what to do about a no.

What the view layer does not hold, or holds disabled, Blender does not evaluate: its place is that
of some time ago. Objects hidden by the eye alone are evaluated.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice

import bpy
import numpy as np

from ...standalone_core.errors import MeshError
from ...standalone_core.words.text import listed, plural
from .session import mesh_of

LOOKED_AT = 64  # vertices, where a look must be cheap


@dataclass(frozen=True)
class Problem:
    """Why an object cannot be measured, and what to do about it; two sentences."""

    reason: str
    remedy: str

    def error(self, obj: bpy.types.Object) -> MeshError:
        """Return the error that says so."""
        return MeshError(self.reason, subject=obj.name, remedy=self.remedy)


def problem_with(obj: bpy.types.Object, layer: bpy.types.ViewLayer | None = None) -> Problem | None:
    """Return why an object cannot be measured or written to; None if it can.

    Parameters
    ----------
    obj : bpy.types.Object
    layer : bpy.types.ViewLayer, optional
        Whether it is evaluated there is asked too.
    """
    if obj.type != "MESH":
        return Problem("It is not a mesh.", "Choose a mesh object.")
    data = mesh_of(obj)
    if obj.library or data.library or obj.override_library or data.override_library:
        return Problem(
            "It is linked from another file and cannot be written to.",
            "Make it local (Object ▸ Relations ▸ Make Local ▸ All).",
        )
    if obj.mode == "EDIT":
        return Problem("It is being edited.", "Leave Edit Mode first.")
    if not len(data.polygons):
        return Problem("It has no faces.", "Choose another object.")
    if not np.linalg.det(np.array(obj.matrix_world)[:3, :3]):
        return Problem(
            "Its scale is zero in some direction.", "Give the object a scale other than zero."
        )
    return None if layer is None else _disabled(obj, layer)


def changed_by(obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph) -> Problem | None:
    """Return what makes a surface as shown another one than its own mesh; None if nothing does.

    A deformation that spares the vertices looked at is left to whoever reads all of them.
    """
    if not obj.modifiers and not mesh_of(obj).shape_keys:
        return None
    own, shown = mesh_of(obj).vertices, mesh_of(obj.evaluated_get(depsgraph)).vertices
    step = max(1, len(own) // LOOKED_AT)
    some = islice(range(0, len(own), step), LOOKED_AT)
    if len(own) == len(shown) and all(own[k].co == shown[k].co for k in some):
        return None
    return change_of(obj)


def change_of(obj: bpy.types.Object) -> Problem:
    """Name what makes a surface as shown another one than its own mesh."""
    names = [f"“{one.name}”" for one in obj.modifiers if one.show_viewport]
    causes = [f"{plural('modifier', len(names))} {listed(names)}"] if names else []
    causes += ["shape keys"] if mesh_of(obj).shape_keys else []
    return Problem(
        f"Its surface as shown is not its own mesh, because of its {listed(causes)}.",
        "Apply that (Object ▸ Apply ▸ Visual Geometry to Mesh) or remove it.",
    )


def _disabled(obj: bpy.types.Object, layer: bpy.types.ViewLayer) -> Problem | None:
    """Return why Blender does not evaluate an object in a view layer; None if it does."""
    names = listed([f"“{one.name}”" for one in obj.users_collection])
    if layer.objects.get(obj.name) != obj:
        return Problem(
            f"It lies in {names}, which this view layer leaves out, so that its place is not known."
            if names
            else "It is in no collection of this scene.",
            "Tick the box beside the collection in the Outliner.",
        )
    if obj.hide_viewport:
        return Problem(
            "It is disabled in viewports, so that its place is not known.",
            "Click its monitor in the Outliner; the eye beside it hides it as well.",
        )
    if not _is_enabled(obj, layer.layer_collection):
        return Problem(
            f"Its collection {names} is disabled in viewports, so that its place is not known.",
            "Click the collection's monitor in the Outliner; the eye beside it hides it as well.",
        )
    return None


def _is_enabled(obj: bpy.types.Object, where: bpy.types.LayerCollection) -> bool:
    """Tell whether some way down from a collection to an object is not disabled."""
    if where.exclude or where.collection.hide_viewport:
        # What an excluded collection holds counts on its own.
        return where.exclude and any(_is_enabled(obj, one) for one in where.children)
    if where.collection.objects.get(obj.name) == obj:
        return True
    return any(_is_enabled(obj, one) for one in where.children)
