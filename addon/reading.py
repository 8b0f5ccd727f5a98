"""The deviation at a place of a measured surface, and labels that keep it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import bpy
import numpy as np
from mathutils import Vector
from mathutils.interpolate import poly_3d_calc

from ..standalone_core.report.words import area_words, micrometres
from . import area_groups, bridge, store
from .identifiers import AREA_GROUP_PREFIX, deviation_attribute

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
    """

    deviation_um: float
    areas: tuple[str, ...]
    place_mm: tuple[float, float, float]

    @property
    def words(self) -> str:
        """The number and the areas, as a label shows them."""
        if math.isnan(self.deviation_um):
            number = "not measured"
        else:
            number = f"{micrometres(self.deviation_um, signed=True)} µm"
        finer = [name for name in self.areas if name != "external"] or list(self.areas)
        return ", ".join([number, *(area_words(name) for name in finer)])


def read_at(
    obj: bpy.types.Object, local: Vector, face: int, scan: bpy.types.Object, frame: bridge.Frame
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
    frame : bridge.Frame
        The design's.
    """
    mesh = obj.data
    corners = list(mesh.polygons[face].vertices)
    weights = poly_3d_calc([mesh.vertices[k].co for k in corners], local)
    attribute = mesh.attributes[deviation_attribute(store.data_of(scan).result_id)]
    values = [attribute.data[k].value for k in corners]
    deviation = sum(w * v for w, v in zip(weights, values, strict=True) if w > 1e-9)
    place = frame.local_to_mm(obj) @ np.append(np.array(local, dtype=np.float64), 1.0)
    x, y, z = place[:3].tolist()
    design = store.data_of(scan).design
    return Reading(1e3 * deviation, _areas_at(design, obj.matrix_world @ local), (x, y, z))


def add_label(
    obj: bpy.types.Object, local: Vector, reading: Reading, scale_mm: float
) -> bpy.types.Object:
    """Leave a named empty at a place; it goes with the object and is saved with the file."""
    label = bpy.data.objects.new(reading.words, None)
    store.data_of(label).caption = reading.words
    label.empty_display_type = "PLAIN_AXES"
    label.show_in_front = True
    for collection in obj.users_collection:
        collection.objects.link(label)
    label.parent = obj
    label.location = local
    stretch = max(obj.matrix_world.to_scale().length / 3**0.5, 1e-9)
    label.empty_display_size = LABEL_SIZE_MM / scale_mm / stretch
    return label


def _areas_at(design: bpy.types.Object, world: Vector) -> tuple[str, ...]:
    """Return the areas of the design's vertex nearest to a place."""
    local = design.matrix_world.inverted_safe() @ world
    found, place, _normal, face = design.closest_point_on_mesh(local)
    if not found:
        return ()
    corners = [design.data.vertices[k] for k in design.data.polygons[face].vertices]
    nearest = min(corners, key=lambda vertex: (vertex.co - place).length)
    groups = [
        design.vertex_groups[member.group].name
        for member in nearest.groups
        if member.weight >= area_groups.INSIDE
    ]
    return tuple(area_groups.area_name(g) for g in groups if g.startswith(AREA_GROUP_PREFIX))
