"""The outlines in which a plane cuts the crown and what stands about it.

Meshes are held as arrays in their own coordinates, so that a plane or an object that moves costs
one cut; they are read anew after Blender tells that a mesh was changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ..blender import bridge, frames
from ..blender.session import manager_of, mesh_of, persistent, scene_of, settings_of
from ..check import store
from ..drawing.alone import is_hidden_meanwhile
from ..drawing.overlay_parts import BLUISH_GREEN, ORANGE, REDDISH_PURPLE, SKY_BLUE, YELLOW
from ..identifiers import SCENE_PROPERTIES
from .crown_chosen import crown_of, teeth_of

if TYPE_CHECKING:
    from ...standalone_core.mesh.plane_cut import CutCurve


COLOURS = {
    "design": YELLOW,
    "scan": ORANGE,
    "proximal": SKY_BLUE,
    "occlusal": REDDISH_PURPLE,
    "other": BLUISH_GREEN,  # a die, as a rule
}
CROWNS = ("design", "scan")
MOST_OBJECTS = 12
_held: dict[int, TriangleMesh] = {}


@dataclass(frozen=True)
class Plane:
    """A plane in the world, in units of the scene.

    Attributes
    ----------
    origin, normal : tuple of float
        The normal is a unit vector, towards whoever looks on.
    """

    origin: tuple[float, ...]
    normal: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Shown:
    """An object that is cut: what it is to the crown, one of ``COLOURS``."""

    obj: bpy.types.Object
    role: str


@dataclass(frozen=True, eq=False)
class Cut:
    """The outline of one object.

    Attributes
    ----------
    shown : Shown
    curves : tuple of CutCurve
        In the world, in units of the scene, whatever their name says.
    gap : float or None
        How near another tooth or die comes to the crown in the plane, in units of the scene; less
        than 0 where they overlap. None of the crown itself and its like.
    """

    shown: Shown
    curves: tuple[CutCurve, ...]
    gap: float | None = None


# Where the plane lies ------------------------------------------------------------------------


def plane_of(
    scene: bpy.types.Scene, crown: bpy.types.Object | None, towards_eye: np.ndarray | None
) -> Plane | None:
    """Return the plane that a scene asks for; None without anything to lay it through.

    Parameters
    ----------
    scene : bpy.types.Scene
    crown : bpy.types.Object or None
    towards_eye : (3,) float or None
        Unit vector against the direction of view, which a plane that follows it has as normal.
    """
    chosen = getattr(scene, SCENE_PROPERTIES).teeth.section
    if crown is None:
        return None
    through = np.array(scene.cursor.location, dtype=np.float64)
    if chosen.through == "MIDDLE":
        through = frames.middle(crown)
    follows = chosen.follows_view and towards_eye is not None
    normal = np.array(towards_eye if follows else chosen.normal, dtype=np.float64)
    length = float(np.linalg.norm(normal))
    if not length > 0.0:
        return None
    offset = chosen.offset_mm / frames.scene_scale_mm(crown, scene)
    origin = through + offset * normal / length
    return Plane(tuple(origin.tolist()), tuple((normal / length).tolist()))


def take_view(context: bpy.types.Context) -> bool:
    """Have the plane face the 3D view that is worked in from now on; tell if there is one."""
    space: Any = context.space_data
    if space is None or space.type != "VIEW_3D":
        return False
    settings_of(context).teeth.section.normal = space.region_3d.view_matrix.row[2][:3]
    return True


# What is cut ---------------------------------------------------------------------------------


def cut_objects(scene: bpy.types.Scene, scan: bpy.types.Object | None) -> list[Shown]:
    """Return what is cut: the crown, and all meshes that can be seen.

    What is hidden for a map only is cut too: it is out of the way of the map, not of the plane.
    """
    design, crown = getattr(scene, SCENE_PROPERTIES).design, crown_of(scene, scan)
    roles = {scan: "scan", design: "design"}
    roles = {**{tooth.obj: tooth.kind for tooth in teeth_of(scene)}, **roles}
    named = dict.fromkeys((scan, design, *(tooth.obj for tooth in teeth_of(scene))))
    meshes = [obj for obj in scene.objects if obj.type == "MESH"]
    found = [
        Shown(obj, roles.get(obj, "other"))
        for obj in (*named, *(obj for obj in meshes if obj not in named))
        if obj is not None and store.is_in(obj, scene)
        if obj == crown or obj.visible_get() or is_hidden_meanwhile(obj)
    ]
    return found[:MOST_OBJECTS]


def cuts(objects: list[Shown], plane: Plane, crown: bpy.types.Object | None) -> list[Cut]:
    """Cut objects with a plane; those that it misses are left out.

    Parameters
    ----------
    objects : list of Shown
    plane : Plane
    crown : bpy.types.Object or None
        The one that gaps are told to.
    """
    from ...standalone_core.mesh.curve_gap import curve_gap

    made = [Cut(shown, _curves(shown.obj, plane)) for shown in objects]
    own: tuple[CutCurve, ...] = next((cut.curves for cut in made if cut.shown.obj == crown), ())
    return [
        cut
        if cut.shown.role in CROWNS
        else replace(cut, gap=curve_gap(own, cut.curves, plane.normal))
        for cut in made
        if cut.curves
    ]


def _curves(obj: bpy.types.Object, plane: Plane) -> tuple[CutCurve, ...]:
    from ...standalone_core.mesh.plane_cut import placed_cut

    matrix = frames.shown_matrix_of(obj)
    if not abs(np.linalg.det(matrix[:3, :3])) > 0.0:
        return ()
    return placed_cut(_mesh(obj), matrix, plane.origin, plane.normal)


def reach_of(cuts: list[Cut], plane: Plane) -> float:
    """Return how far outlines reach from the plane's own place, in units of the scene."""
    places = [curve.points_mm for cut in cuts for curve in cut.curves]
    if not places:
        return 0.0
    return float(np.linalg.norm(np.concatenate(places) - plane.origin, axis=1).max())


def look_of(objects: list[Shown], plane: Plane, crown: bpy.types.Object | None) -> tuple[Any, ...]:
    """Return what outlines depend on; while it is equal they need not be cut again."""
    placed = (
        (
            shown.obj.name,
            shown.role,
            mesh_of(shown.obj).session_uid,
            id(_mesh(shown.obj)),
            frames.shown_matrix_of(shown.obj).tobytes(),
        )
        for shown in objects
    )
    return plane, None if crown is None else crown.name, *placed


def _mesh(obj: bpy.types.Object) -> TriangleMesh:
    """Return an object's mesh in its own coordinates, held as long as it stays as it is."""
    data = mesh_of(obj)
    if data.session_uid not in _held:
        points = bridge.positions(data).astype(np.float64)
        _held[data.session_uid] = TriangleMesh(points, bridge.triangles_of(data), obj.name)
    return _held[data.session_uid]


# Changes -------------------------------------------------------------------------------------


def redraw() -> None:
    """Draw every 3D view anew."""
    for window in manager_of(bpy.context).windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


def _changed_meshes(depsgraph: bpy.types.Depsgraph) -> Iterator[int]:
    for update in depsgraph.updates:
        if update.id is None or not update.is_updated_geometry:
            continue
        touched: Any = update.id.original
        data = touched.data if isinstance(touched, bpy.types.Object) else touched
        if isinstance(data, bpy.types.Mesh):
            yield data.session_uid


@persistent
def notice_changes(_scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph) -> None:
    """Read meshes anew that were changed."""
    if _held:
        for number in _changed_meshes(depsgraph):
            _held.pop(number, None)


@persistent
def forget(_scene: Any, _depsgraph: Any = None) -> None:
    """Read everything anew after undo, redo or the opening of a file."""
    _held.clear()


def shown_cuts(
    context: bpy.types.Context, scan: bpy.types.Object | None, towards_eye: np.ndarray | None
) -> tuple[Plane, list[Shown]] | None:
    """Return the plane that is shown and what it cuts; None if none is."""
    scene = scene_of(context)
    if not settings_of(context).teeth.section.shown:
        return None
    plane = plane_of(scene, crown_of(scene, scan), towards_eye)
    return None if plane is None else (plane, cut_objects(scene, scan))
