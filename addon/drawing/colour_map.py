"""Deviations as colours on design and scan, and everything as it was before when they go.

Colours derive from the float attributes, so limits change them without measuring anew. Materials
are laid over at the object, never taken off its mesh.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import bpy
import numpy as np

from ...standalone_core.report.drawing.deviation_colours import ColourArray, deviation_colours
from ...standalone_core.report.drawing.legend import Legend, colour_limit_um, make_legend
from ..blender import bridge
from ..check import store
from ..identifiers import (
    COLOUR_ATTRIBUTE,
    COLOUR_MATERIAL,
    JOB_PROPERTIES,
    SCENE_PROPERTIES,
    deviation_attribute,
)


def selected_scan(scene: bpy.types.Scene) -> bpy.types.Object | None:
    """Return the scan chosen in the list, if it still is in the scene."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not 0 <= settings.scan_index < len(settings.scans):
        return None
    scan: bpy.types.Object | None = settings.scans[settings.scan_index].scan
    return scan if store.is_in(scan, scene) else None


def legend_of(scene: bpy.types.Scene) -> Legend:
    """Return the legend of the colours shown, from what the scene keeps about them."""
    settings = getattr(scene, SCENE_PROPERTIES)
    shown = make_legend(
        [],
        [],
        limit_um=_rounded(settings.shown_limit_um),
        tolerance_um=_rounded(settings.tolerance_whole_um) or None,
        palette=settings.palette,
    )
    return replace(
        shown,
        share_clipped=settings.share_clipped,
        share_unmeasured=settings.share_unmeasured,
    )


def show(context: bpy.types.Context) -> None:
    """Colour the selected scan and its design, in every way of viewing them."""
    getattr(context.scene, SCENE_PROPERTIES).study.shown = False
    turn_on(context.scene)


def turn_on(scene: bpy.types.Scene) -> None:
    """Show colours in all views: of the scan, or of the study's map where that is chosen."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours:
        settings.views_before = json.dumps(_change_views(scene))
        settings.show_colours = True
    refresh(scene)


def remove(scene: bpy.types.Scene) -> None:
    """Give every coloured object and view back what it had."""
    settings = getattr(scene, SCENE_PROPERTIES)
    settings.study.shown = False
    for obj in [o for o in bpy.data.objects if store.data_of(o).coloured]:
        _uncover(obj)
    _study_map().settle(scene)
    if settings.views_before:
        _restore_views(scene, json.loads(settings.views_before))
    settings.views_before = ""
    settings.show_colours = False


def refresh(scene: bpy.types.Scene) -> None:
    """Colour anew by the scene's limit and palette, if colours are shown; nothing is measured."""
    settings = getattr(scene, SCENE_PROPERTIES)
    if not settings.show_colours:
        return
    shown = _study_map().colour(scene) if settings.study.shown else _colour_scan(scene)
    for obj in [o for o in bpy.data.objects if store.data_of(o).coloured and o not in shown]:
        _uncover(obj)
    _study_map().settle(scene)


def _colour_scan(scene: bpy.types.Scene) -> tuple[bpy.types.Object, ...]:
    """Colour the selected scan and its design; return what is coloured now."""
    settings, scan = getattr(scene, SCENE_PROPERTIES), selected_scan(scene)
    points = store.points_of(scan) if scan else None
    if scan is None or points is None:
        return ()
    limit_um = _limit_um(settings, *points)
    legend = make_legend(*points, limit_um=limit_um)
    settings.shown_limit_um = limit_um
    settings.share_clipped = legend.share_clipped
    settings.share_unmeasured = legend.share_unmeasured
    data = store.data_of(scan)
    shown = tuple(o for o in (scan, data.design) if store.is_in(o, scene))
    for obj in shown:
        values = bridge.read_attribute(obj.data, deviation_attribute(data.result_id))
        if values is not None:
            paint(obj, deviation_colours(values, limit_um / 1e3, settings.palette))
        hide(obj, _is_hidden(obj, scan, settings.shown))
    return shown


def _study_map() -> Any:
    from ..study import group_map

    return group_map


def _limit_um(settings: Any, deviation_mm: np.ndarray, weights_mm2: np.ndarray) -> float:
    if not settings.limit_is_automatic:
        return _rounded(settings.limit_um)
    tolerance = _rounded(settings.tolerance_whole_um) or None
    return colour_limit_um(deviation_mm, weights_mm2, tolerance_um=tolerance)


def _rounded(value: float) -> float:
    """Undo what single precision adds to a number typed by a person."""
    return float(f"{value:.6g}")


def _is_hidden(obj: bpy.types.Object, scan: bpy.types.Object, shown: str) -> bool:
    """Tell whether an object stands in the way of the one to look at."""
    return shown == ("DESIGN" if obj == scan else "SCAN")


# Objects -------------------------------------------------------------------------------------


def paint(obj: bpy.types.Object, rgb: ColourArray) -> None:
    """Lay colours over an object, (n, 3) uint8 at its vertices, and keep what was there."""
    mesh, data = obj.data, store.data_of(obj)
    if not data.coloured:
        active = mesh.color_attributes.active_color
        data.colour_before = active.name if active else ""
        data.hidden_before = obj.hide_get()
        _cover(obj)
        data.coloured = True
    if COLOUR_ATTRIBUTE not in mesh.color_attributes:
        mesh.color_attributes.new(COLOUR_ATTRIBUTE, "BYTE_COLOR", "POINT")
    colours = np.ones((len(rgb), 4), dtype=np.float32)
    np.multiply(rgb, np.float32(1 / 255), out=colours[:, :3], casting="unsafe")
    # Fetched by name again: adding an attribute moves the others in memory.
    mesh.color_attributes[COLOUR_ATTRIBUTE].data.foreach_set("color_srgb", colours.ravel())
    mesh.color_attributes.active_color_name = COLOUR_ATTRIBUTE
    mesh.update()


def _cover(obj: bpy.types.Object) -> None:
    """Lay the colour material over every slot of an object."""
    data = store.data_of(obj)
    data.slots_before.clear()
    if not obj.material_slots:
        obj.data.materials.append(None)
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


def _uncover(obj: bpy.types.Object) -> None:
    """Take the colours off an object."""
    data = store.data_of(obj)
    for slot, before in zip(obj.material_slots, data.slots_before, strict=False):
        slot.link = "OBJECT"
        slot.material = before.material if before.link == "OBJECT" else None
        slot.link = before.link or "DATA"
    added = len(data.slots_before) == 1 and not data.slots_before[0].link
    if added and list(obj.data.materials) == [None]:
        obj.data.materials.clear()
    data.slots_before.clear()
    data.coloured = False
    hide(obj, data.hidden_before)
    if obj.type == "MESH" and not obj.data.library:
        bridge.drop_attribute(obj.data, COLOUR_ATTRIBUTE)
        if data.colour_before in obj.data.color_attributes:
            obj.data.color_attributes.active_color_name = data.colour_before
    data.colour_before = ""
    material = bpy.data.materials.get(COLOUR_MATERIAL)
    if material is not None and material.users == 0:
        bpy.data.materials.remove(material)


def hide(obj: bpy.types.Object, hidden: bool) -> None:
    """Hide an object in the views, or show it."""
    # An object outside the present view layer can neither be hidden nor shown.
    if obj.name in bpy.context.view_layer.objects and obj.hide_get() != hidden:
        obj.hide_set(hidden)


def _material() -> bpy.types.Material:
    """Return the material that shines in exactly the colours of the vertices."""
    material = bpy.data.materials.get(COLOUR_MATERIAL)
    if material is not None:
        return material
    material = bpy.data.materials.new(COLOUR_MATERIAL)
    if bpy.app.version < (5, 0, 0):  # later, every material has nodes
        material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    nodes.clear()
    colour = nodes.new("ShaderNodeVertexColor")
    colour.layer_name = COLOUR_ATTRIBUTE
    shine = nodes.new("ShaderNodeEmission")
    output = nodes.new("ShaderNodeOutputMaterial")
    shine.location, output.location = (200, 0), (400, 0)
    links.new(colour.outputs["Color"], shine.inputs["Color"])
    links.new(shine.outputs["Emission"], output.inputs["Surface"])
    return material


# Views ---------------------------------------------------------------------------------------
#
# How a view is shaded belongs to the window, not to the file, so undo leaves it alone. What it was
# is therefore kept twice: in the scene, to be saved, and in the window manager, for undo.


def _change_views(scene: bpy.types.Scene) -> dict[str, Any]:
    """Show vertex colours in solid mode and plain colours in renders; return what was there."""
    before: dict[str, Any] = {
        "view_transform": scene.view_settings.view_transform,
        "look": scene.view_settings.look,
        "solid": {key: space.shading.color_type for key, space in _spaces()},
    }
    scene.view_settings.view_transform = "Standard"
    scene.view_settings.look = "None"
    _show_vertex_colours(before["solid"])
    return before


def _restore_views(scene: bpy.types.Scene, before: dict[str, Any]) -> None:
    _restore_solid(before["solid"])
    scene.view_settings.view_transform = before["view_transform"]
    scene.view_settings.look = before["look"]


def _show_vertex_colours(before: dict[str, str]) -> None:
    for _, space in _spaces():
        space.shading.color_type = "VERTEX"
    _session().solid_before = json.dumps(before)


def _restore_solid(before: dict[str, str]) -> None:
    for key, space in _spaces():
        if key in before:
            space.shading.color_type = before[key]
    _session().solid_before = ""


def _session() -> Any:
    return getattr(bpy.context.window_manager, JOB_PROPERTIES)


@bpy.app.handlers.persistent
def follow_undo(scene: bpy.types.Scene, _depsgraph: bpy.types.Depsgraph | None = None) -> None:
    """Shade the views as the scene asks for after undo or redo."""
    settings, kept = getattr(scene, SCENE_PROPERTIES), _session().solid_before
    if kept and not settings.show_colours:
        _restore_solid(json.loads(kept))
    elif settings.show_colours and settings.views_before and not kept:
        _show_vertex_colours(json.loads(settings.views_before)["solid"])


@bpy.app.handlers.persistent
def forget_session(_path: str) -> None:
    """Forget the views of the file before, when another is opened."""
    _session().solid_before = ""


def _spaces() -> list[tuple[str, bpy.types.SpaceView3D]]:
    """Return every 3D view of every screen, with a key that stays the same when saved."""
    return [
        (f"{screen.name}/{number}", area.spaces.active)
        for screen in bpy.data.screens
        for number, area in enumerate(screen.areas)
        if area.type == "VIEW_3D"
    ]
