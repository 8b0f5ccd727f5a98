"""Between Blender's meshes and the core's arrays: vertices, triangles, attributes, checksums."""

from __future__ import annotations

import hashlib
from typing import Any, Literal

import bpy
import numpy as np

from ...standalone_core.errors import MeshError
from ...standalone_core.mesh.grouping import group_points
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from .session import mesh_of

# Reading -------------------------------------------------------------------------------------


def check_usable(obj: bpy.types.Object) -> None:
    """Refuse an object that cannot be measured or written to.

    Raises
    ------
    MeshError
        With what to do about it.
    """
    name, data = obj.name, mesh_of(obj)
    if obj.type != "MESH":
        raise MeshError("It is not a mesh.", subject=name, remedy="Choose a mesh object.")
    if obj.library or data.library or obj.override_library or data.override_library:
        raise MeshError(
            "It is linked from another file and cannot be written to.",
            subject=name,
            remedy="Make it local (Object ▸ Relations ▸ Make Local ▸ All).",
        )
    if obj.mode == "EDIT":
        raise MeshError("It is being edited.", subject=name, remedy="Leave Edit Mode first.")
    if not len(data.polygons):
        raise MeshError("It has no faces.", subject=name, remedy="Choose another object.")


def read_mesh_object(
    obj: bpy.types.Object, local_to_mm: np.ndarray, depsgraph: bpy.types.Depsgraph
) -> TriangleMesh:
    """Read an object's mesh in mm in the design's frame.

    Vertices keep their order; polygons are cut into triangles as Blender shows them. Deviations
    are written to the object's own vertices, so a modifier or shape key that moves them is
    refused rather than passed over.

    Raises
    ------
    MeshError
        The object cannot be measured, with what to do about it.
    """
    check_usable(obj)
    mesh = mesh_of(obj)
    points = positions(mesh)
    if not np.isfinite(points).all():
        raise MeshError(
            "Some of its vertices are not finite numbers.",
            subject=obj.name,
            remedy="Delete those vertices, or import the file with Import Scans.",
        )
    _refuse_modifiers(obj, points, depsgraph)
    own = TriangleMesh(points.astype(np.float64), triangles_of(mesh), obj.name)
    return own.moved(local_to_mm)


def positions(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return a mesh's vertices in its own coordinates, (n, 3) float32."""
    points = np.empty(3 * len(mesh.vertices), dtype=np.float32)
    if mesh.is_editmode:
        mesh.vertices.foreach_get("co", points)  # attributes are out of reach meanwhile
    elif len(points):
        values_of(mesh, "position").foreach_get("vector", points)
    return points.reshape(-1, 3)


def triangles_of(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return a mesh's triangles, (m, 3) int32, its polygons cut up as Blender shows them."""
    if _is_triangles(mesh) and not mesh.is_editmode:
        return _corners(mesh).reshape(-1, 3)  # the same, fifty times as fast
    mesh.calc_loop_triangles()
    faces = np.empty(3 * len(mesh.loop_triangles), dtype=np.int32)
    mesh.loop_triangles.foreach_get("vertices", faces)
    return faces.reshape(-1, 3)


def _is_triangles(mesh: bpy.types.Mesh) -> bool:
    return len(mesh.loops) == 3 * len(mesh.polygons)  # no polygon has fewer corners than three


def _corners(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return the vertex of each corner; polygons follow each other without gaps."""
    corners = np.empty(len(mesh.loops), dtype=np.int32)
    if len(corners):
        # Twenty times as fast as the loops' own "vertex_index".
        values_of(mesh, ".corner_vert").foreach_get("value", corners)
    return corners


def _starts(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return the first corner of each polygon."""
    if _is_triangles(mesh):
        return np.arange(0, len(mesh.loops), 3, dtype=np.int32)
    starts = np.empty(len(mesh.polygons), dtype=np.int32)
    mesh.polygons.foreach_get("loop_start", starts)
    return starts


def edges_of(mesh: bpy.types.Mesh) -> np.ndarray:
    """Return the two vertices of each edge, (e, 2) int32."""
    ends = np.empty(2 * len(mesh.edges), dtype=np.int32)
    mesh.edges.foreach_get("vertices", ends)
    return ends.reshape(-1, 2)


def _refuse_modifiers(
    obj: bpy.types.Object, points: np.ndarray, depsgraph: bpy.types.Depsgraph
) -> None:
    if not obj.modifiers and not mesh_of(obj).shape_keys:
        return
    shown = mesh_of(obj.evaluated_get(depsgraph))
    if len(shown.vertices) == len(points) and np.array_equal(positions(shown), points):
        return
    causes = [modifier.name for modifier in obj.modifiers if modifier.show_viewport]
    causes += ["shape keys"] if mesh_of(obj).shape_keys else []
    raise MeshError(
        f"Its surface as shown differs from its own mesh ({', '.join(causes) or 'modifiers'}).",
        subject=obj.name,
        remedy="Apply that (Object ▸ Apply ▸ Visual Geometry to Mesh) or switch it off.",
    )


def checksum(mesh: bpy.types.Mesh) -> str:
    """Return a checksum of a mesh's own coordinates and corners."""
    digest = hashlib.blake2b(digest_size=16)
    for part in (positions(mesh), _corners(mesh), _starts(mesh)):
        digest.update(np.ascontiguousarray(part).tobytes())
    return digest.hexdigest()


def fingerprint(values: np.ndarray) -> str:
    """Return a short checksum of numbers."""
    return hashlib.blake2b(np.ascontiguousarray(values).tobytes(), digest_size=12).hexdigest()


def carried_to(points_mm: np.ndarray, source_mm: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return values of source points at the equal points, (n,); NaN where there is none.

    Repair merges equal vertices and leaves out unused ones without moving any, so equal
    coordinates say which vertex became which.
    """
    if np.array_equal(points_mm, source_mm):
        return np.asarray(values, dtype=np.float64)
    both = np.concatenate([source_mm, points_mm])
    groups = group_points(both)
    first = groups.first[groups.label[len(source_mm) :]]
    found = first < len(source_mm)
    carried = np.full(len(points_mm), np.nan)
    carried[found] = values[first[found]]
    return carried


# Writing -------------------------------------------------------------------------------------


def new_mesh(
    name: str,
    points: np.ndarray,
    faces: np.ndarray | None = None,
    edges: np.ndarray | None = None,
) -> bpy.types.Mesh:
    """Make a mesh from points (n, 3) and triangles (m, 3), or edges (e, 2) without faces."""
    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(points))
    flat = np.ascontiguousarray(points, dtype=np.float32).ravel()
    values_of(mesh, "position").foreach_set("vector", flat)
    if faces is not None:
        mesh.loops.add(faces.size)
        corners = np.ascontiguousarray(faces, dtype=np.int32).ravel()
        values_of(mesh, ".corner_vert").foreach_set("value", corners)
        mesh.polygons.add(len(faces))
        mesh.polygons.foreach_set("loop_start", np.arange(0, faces.size, 3, dtype=np.int32))
    if edges is not None:
        mesh.edges.add(len(edges))
        ends = np.ascontiguousarray(edges, dtype=np.int32).ravel()
        mesh.edges.foreach_set("vertices", ends)
    mesh.update(calc_edges=faces is not None)
    return mesh


def values_of(mesh: bpy.types.Mesh, name: str) -> Any:
    """Return the values of an attribute, of whatever type it is."""
    attribute: Any = mesh.attributes[name]
    return attribute.data


def write_attribute(
    mesh: bpy.types.Mesh, name: str, kind: Literal["FLOAT", "INT"], values: np.ndarray
) -> None:
    """Write one value per vertex; ``kind`` is Blender's name of the type ("FLOAT", "INT")."""
    present = mesh.attributes.get(name)
    if present is not None and (present.domain, present.data_type) != ("POINT", kind):
        mesh.attributes.remove(present)
        present = None
    if present is None:
        mesh.attributes.new(name, kind, "POINT")
    # Fetched by name again: adding an attribute moves the others in memory.
    values_of(mesh, name).foreach_set(
        "value", np.ascontiguousarray(values, dtype=np.float32 if kind == "FLOAT" else np.int32)
    )


def read_attribute(mesh: bpy.types.Mesh, name: str) -> np.ndarray | None:
    """Return one value per vertex of a float or integer attribute; None if there is none."""
    attribute: Any = mesh.attributes.get(name)
    if attribute is None or attribute.domain != "POINT":
        return None
    dtype = np.float32 if attribute.data_type == "FLOAT" else np.int32
    values = np.empty(len(mesh.vertices), dtype=dtype)
    attribute.data.foreach_get("value", values)
    return values


def drop_attribute(mesh: bpy.types.Mesh, name: str) -> None:
    """Remove an attribute, if it is there."""
    present = mesh.attributes.get(name)
    if present is not None:
        mesh.attributes.remove(present)


def write_array(data: bpy.types.ID, name: str, values: np.ndarray, kind: type) -> None:
    """Keep an array of any length with a datablock, as ``kind`` (int32, float32 or float64)."""
    data[name] = np.ascontiguousarray(values, dtype=kind).ravel()


def read_array(data: bpy.types.ID, name: str) -> np.ndarray | None:
    """Return an array kept with a datablock, (k,); None if there is none."""
    kept = data.get(name)
    return None if kept is None else np.array(memoryview(kept))
