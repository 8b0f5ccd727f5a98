"""Colours laid over an object, and the object as it was before when they go.

Materials are laid over at the object, never taken off its mesh.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import bpy
import numpy as np

from ...standalone_core.progress import Progress, Steps, run
from ..blender import bridge
from ..blender.session import mesh_of
from ..check import store
from ..identifiers import COLOUR_ATTRIBUTE, COLOUR_MATERIAL

if TYPE_CHECKING:
    from ...standalone_core.report.drawing.deviation_colours import ColourArray


def paint(obj: bpy.types.Object, rgb: ColourArray) -> None:
    """Lay colours over an object, (n, 3) uint8 at its vertices, and keep what was there."""
    run(paint_steps(obj, rgb))


def paint_steps(obj: bpy.types.Object, rgb: ColourArray) -> Steps[None]:
    """Lay colours over an object as :func:`paint` does, step by step."""
    painting = Progress("Showing the colours", 0.5)
    yield painting
    mesh, data = mesh_of(obj), store.data_of(obj)
    layers: Any = mesh.color_attributes
    if not data.coloured:
        active = layers.active_color
        data.colour_before = active.name if active else ""
        _cover(obj)
        data.coloured = True
    if COLOUR_ATTRIBUTE not in layers:
        layers.new(COLOUR_ATTRIBUTE, "BYTE_COLOR", "POINT")
    colours = np.ones((len(rgb), 4), dtype=np.float32)
    np.multiply(rgb, np.float32(1 / 255), out=colours[:, :3], casting="unsafe")
    yield painting
    # Fetched by name again: adding an attribute moves the others in memory.
    layers[COLOUR_ATTRIBUTE].data.foreach_set("color_srgb", colours.ravel())
    layers.active_color_name = COLOUR_ATTRIBUTE
    yield painting
    mesh.update()


def _cover(obj: bpy.types.Object) -> None:
    """Lay the colour material over every slot of an object."""
    data = store.data_of(obj)
    data.slots_before.clear()
    if not obj.material_slots:
        mesh_of(obj).materials.append(None)
        # A slot that was not there before is told by an entry without a link.
        data.slots_before.add()
    else:
        for slot in obj.material_slots:
            before = data.slots_before.add()
            before.link = slot.link
            before.material = slot.material
    for slot in obj.material_slots:
        slot.link = "OBJECT"
        slot.material = _material()


def uncover(obj: bpy.types.Object) -> None:
    """Take the colours off an object."""
    data = store.data_of(obj)
    for slot, before in zip(obj.material_slots, data.slots_before, strict=False):
        slot.link = "OBJECT"
        slot.material = before.material if before.link == "OBJECT" else None
        slot.link = before.link or "DATA"
    added = len(data.slots_before) == 1 and not data.slots_before[0].link
    if added and list(mesh_of(obj).materials) == [None]:
        mesh_of(obj).materials.clear()
    data.slots_before.clear()
    data.coloured = False
    if obj.type == "MESH" and not mesh_of(obj).library:
        bridge.drop_attribute(mesh_of(obj), COLOUR_ATTRIBUTE)
        if data.colour_before in mesh_of(obj).color_attributes:
            mesh_of(obj).color_attributes.active_color_name = data.colour_before
    data.colour_before = ""
    material = bpy.data.materials.get(COLOUR_MATERIAL)
    if material is not None and material.users == 0:
        bpy.data.materials.remove(material)


def _material() -> bpy.types.Material:
    """Return the material that shines in exactly the colours of the vertices."""
    material = bpy.data.materials.get(COLOUR_MATERIAL)
    if material is not None:
        return material
    material = bpy.data.materials.new(COLOUR_MATERIAL)
    if bpy.app.version < (5, 0, 0):  # later, every material has nodes
        material.use_nodes = True
    tree: Any = material.node_tree
    nodes, links = tree.nodes, tree.links
    nodes.clear()
    colour = nodes.new("ShaderNodeVertexColor")
    colour.layer_name = COLOUR_ATTRIBUTE
    shine = nodes.new("ShaderNodeEmission")
    output = nodes.new("ShaderNodeOutputMaterial")
    shine.location, output.location = (200, 0), (400, 0)
    links.new(colour.outputs["Color"], shine.inputs["Color"])
    links.new(shine.outputs["Emission"], output.inputs["Surface"])
    return material
