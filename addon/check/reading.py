"""The deviation at a place of a measured surface, and labels that keep it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import bpy
import numpy as np
from mathutils import Matrix, Vector
from mathutils.interpolate import poly_3d_calc

from ...standalone_core.words.names import area_words
from ...standalone_core.words.text import micrometres
from ..areas import area_groups
from ..blender import bridge, frames
from ..blender.session import mesh_of
from ..identifiers import AREA_GROUP_PREFIX, deviation_attribute, unmatched_attribute
from . import store

LABEL_SIZE_MM = 0.25


@dataclass(frozen=True)
class Reading:
    """What a place says.

    Attributes
    ----------
    deviation_um : float
        NaN where the place was not measured.
    areas : tuple of str
        The areas that the place lies in, by name.
    place_mm : tuple of float
        In the design's frame, mm.
    unmatched_mm : float
        Height of scan surface that the design has not; NaN elsewhere.
    """

    deviation_um: float
    areas: tuple[str, ...]
    place_mm: tuple[float, float, float]
    unmatched_mm: float = math.nan

    @property
    def words(self) -> str:
        """The number and the areas, as a label shows them."""
        if math.isnan(self.deviation_um):
            number = "not measured"
        else:
            number = f"{micrometres(self.deviation_um, signed=True)} µm"
        finer = [name for name in self.areas if name != "external"] or list(self.areas)
        words = [number, *(area_words(name) for name in finer)]
        if not math.isnan(self.unmatched_mm):
            words.append(f"unmatched scan surface, {self.unmatched_mm:.2f} mm high")
        return ", ".join(words)


def read_at(
    obj: bpy.types.Object, local: Vector, face: int, scan: bpy.types.Object, frame: frames.Frame
) -> Reading:
    """Read a place on a coloured surface, between its vertices if need be.

    Parameters
    ----------
    obj : bpy.types.Object
        The scan or its design.
    local : mathutils.Vector
        The place in the object's own coordinates.
    face : int
        Polygon that it lies on.
    scan : bpy.types.Object
        Whose result is read.
    frame : frames.Frame
        The design's.
    """
    mesh = mesh_of(obj)
    corners = list(mesh.polygons[face].vertices)
    weights = poly_3d_calc([mesh.vertices[k].co[:] for k in corners], local)
    near = [(k, weight) for k, weight in zip(corners, weights, strict=True) if weight > 1e-9]
    result_id = store.data_of(scan).result_id
    values = bridge.values_of(mesh, deviation_attribute(result_id))
    deviation = sum(weight * values[k].value for k, weight in near)
    place = frame.local_to_mm(obj) @ np.append(np.array(local, dtype=np.float64), 1.0)
    x, y, z = place[:3].tolist()
    design = store.data_of(scan).design
    areas = _areas_at(design, Matrix(frames.matrix_of(obj).tolist()) @ local)
    return Reading(1e3 * deviation, areas, (x, y, z), _height(mesh, result_id, near))


def add_label(
    obj: bpy.types.Object,
    local: Vector,
    reading: Reading,
    scan: bpy.types.Object,
    scale_mm: float,
) -> bpy.types.Object:
    """Leave a named empty at a place; it goes with the object and is saved with the file."""
    label, data = bpy.data.objects.new(reading.words, None), store.data_of(scan)
    store.data_of(label).caption = reading.words
    store.data_of(label).value_of = scan
    store.data_of(label).value_result = data.result_id
    label.empty_display_type = "PLAIN_AXES"
    label.show_in_front = True
    for collection in obj.users_collection:
        collection.objects.link(label)
    label.parent = obj
    label.location = local
    stretch = max(obj.matrix_world.to_scale().length / 3**0.5, 1e-9)
    label.empty_display_size = LABEL_SIZE_MM / scale_mm / stretch
    return label


def labels(scene: bpy.types.Scene) -> list[bpy.types.Object]:
    """Return the labels with values that are in a scene, in the order of their names."""
    empties = (obj for obj in scene.objects if obj.type == "EMPTY")
    found = [o for o in empties if store.data_of(o).caption and not store.data_of(o).landmark]
    return sorted(found, key=lambda label: label.name)


def why_out_of_date(label: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Say why a label's value no longer belongs to what is shown; empty if it does."""
    data = store.data_of(label)
    scan = data.value_of or label.parent  # earlier labels do not know their scan
    if scan is None or not store.is_in(scan, scene):
        return "Its scan is not in this scene."
    now = store.data_of(scan)
    if data.value_result and data.value_result != now.result_id:
        return "The scan was measured again." if now.result_id else "The scan's result is gone."
    return str(now.state_reason) if now.state == "OUT_OF_DATE" else ""


def words_of(obj: bpy.types.Object, scene: bpy.types.Scene) -> str:
    """Return what stands beside a label or landmark; empty if nothing does."""
    data = store.data_of(obj)
    words = str(data.caption)
    if not words or data.landmark or not why_out_of_date(obj, scene):
        return words
    return f"Out of date: {words}"


def _height(mesh: bpy.types.Mesh, result_id: str, near: list[tuple[int, float]]) -> float:
    """Return how high unmatched surface stands at the nearest corner; NaN if that is matched."""
    attribute = mesh.attributes.get(unmatched_attribute(result_id))
    nearest, _ = max(near, key=lambda corner: corner[1])
    return math.nan if attribute is None else float(attribute.data[nearest].value)


def _areas_at(design: bpy.types.Object, world: Vector) -> tuple[str, ...]:
    """Return the areas of the design's vertex nearest to a place."""
    local = Matrix(frames.matrix_of(design).tolist()).inverted_safe() @ world
    found, place, _normal, face = design.closest_point_on_mesh(local)
    if not found:
        return ()
    corners = [mesh_of(design).vertices[k] for k in mesh_of(design).polygons[face].vertices]
    nearest = min(corners, key=lambda vertex: (vertex.co - place).length)
    groups = [
        design.vertex_groups[member.group].name
        for member in nearest.groups
        if member.weight >= area_groups.INSIDE
    ]
    return tuple(area_groups.area_name(g) for g in groups if g.startswith(AREA_GROUP_PREFIX))
