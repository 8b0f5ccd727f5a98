"""Between Blender's meshes and the core's arrays: vertices, triangles, attributes, checksums."""

from __future__ import annotations

import hashlib
from typing import Any, Literal

import bpy
import numpy as np

from ...standalone_core.errors import MeshError
from ...standalone_core.mesh.grouping import group_points
from ...standalone_core.mesh.triangle_mesh import TriangleMesh
from ...standalone_core.progress import Progress, Steps, run
from . import usable
from .session import mesh_of

HASHED_AT_ONCE = 16_000_000  # bytes; about 20 ms

# Reading -------------------------------------------------------------------------------------


def check_usable(obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph | None = None) -> None:
    """Refuse an object that cannot be measured or written to, or not as Blender evaluates it.

    Raises
    ------
    MeshError
        With what to do about it.
    """
    problem = usable.problem_with(obj, None if depsgraph is None else depsgraph.view_layer)
    if problem is None and depsgraph is not None:
        problem = usable.changed_by(obj, depsgraph)
    if problem is not None:
        raise problem.error(obj)


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
    return run(read_mesh_steps(obj, local_to_mm, depsgraph))


def read_mesh_steps(
    obj: bpy.types.Object, local_to_mm: np.ndarray, depsgraph: bpy.types.Depsgraph
) -> Steps[TriangleMesh]:
    """Read an object's mesh as :func:`read_mesh_object` does, step by step."""
    check_usable(obj, depsgraph)
    mesh = mesh_of(obj)
    reading = Progress(f"Reading {obj.name}", 0.0)
    points = positions(mesh)
    if not np.isfinite(points).all():
        raise MeshError(
            "Some of its vertices are not finite numbers.",
            subject=obj.name,
            remedy="Delete those vertices, or import the file with Import Scans.",
        )
    _refuse_modifiers(obj, points, depsgraph)
    yield reading
    faces = triangles_of(mesh)
    yield reading
    places = points.astype(np.float64)
    places.setflags(write=False)
    yield reading
    corners = faces.astype(np.int64)
    corners.setflags(write=False)
    yield reading
    own = TriangleMesh(places, corners, obj.name)
    yield reading
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
    raise usable.change_of(obj).error(obj)


def checksum(mesh: bpy.types.Mesh) -> str:
    """Return a checksum of a mesh's own coordinates and corners."""
    return run(checksum_steps(mesh))


def checksum_steps(mesh: bpy.types.Mesh) -> Steps[str]:
    """Make a checksum as :func:`checksum` does, step by step."""
    digest = hashlib.blake2b(digest_size=16)
    for part in (positions, _corners, _starts):
        values = part(mesh).reshape(-1).view(np.uint8)
        for begin in range(0, len(values), HASHED_AT_ONCE):
            yield Progress("Reading the mesh", begin / len(values))
            digest.update(values[begin : begin + HASHED_AT_ONCE].data)
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
    return run(new_mesh_steps(bpy.data.meshes.new(name), points, faces, edges))


def new_mesh_steps(
    mesh: bpy.types.Mesh,
    points: np.ndarray,
    faces: np.ndarray | None = None,
    edges: np.ndarray | None = None,
    face_edges: np.ndarray | None = None,
) -> Steps[bpy.types.Mesh]:
    """Fill an empty mesh as :func:`new_mesh` does, step by step, each as short as Blender allows.

    Looking for the edges of a mesh takes Blender longer than all the rest; who knows them gives
    them, with the edge that leaves each corner of each triangle (m, 3).
    """
    doing = "Making the object"
    yield Progress(doing, 0.0)
    mesh.vertices.add(len(points))
    flat = np.ascontiguousarray(points, dtype=np.float32).ravel()
    values_of(mesh, "position").foreach_set("vector", flat)
    if edges is not None:
        yield Progress(doing, 0.2)
        mesh.edges.add(len(edges))
        ends = np.ascontiguousarray(edges, dtype=np.int32).ravel()
        values_of(mesh, ".edge_verts").foreach_set("value", ends)
    if faces is not None:
        yield Progress(doing, 0.4)
        mesh.loops.add(faces.size)
        _set_corners(mesh, ".corner_vert", faces)
        yield Progress(doing, 0.6)
        mesh.polygons.add(len(faces))
        mesh.polygons.foreach_set("loop_start", np.arange(0, faces.size, 3, dtype=np.int32))
    if face_edges is not None:
        yield Progress(doing, 0.8)
        _set_corners(mesh, ".corner_edge", face_edges)
    yield Progress(doing, 0.9)
    mesh.update(calc_edges=faces is not None and face_edges is None)
    return mesh


def _set_corners(mesh: bpy.types.Mesh, name: str, numbers: np.ndarray) -> None:
    flat = np.ascontiguousarray(numbers, dtype=np.int32).ravel()
    values_of(mesh, name).foreach_set("value", flat)


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
