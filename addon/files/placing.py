"""Objects from what was read, on the main thread: made first, all in the scene at the end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, cast

import bpy
from mathutils import Matrix

from ...standalone_core.progress import Progress, Steps, scaled
from ...standalone_core.readable import readable
from ..blender import bridge
from ..blender.session import layer_of, scene_of, settings_of
from ..check import store
from ..drawing import overview
from ..identifiers import SCENE_PROPERTIES
from ..properties.defaults import take_defaults

if TYPE_CHECKING:
    from .reading import ReadFile


def add_steps(context: bpy.types.Context, files: Sequence[ReadFile]) -> Steps[None]:
    """Add what was read to the scene: the design chosen, scans listed, all of it in view."""
    made = yield from _objects_steps(context, files)
    scene, settings = scene_of(context), settings_of(context)
    take_defaults(scene)
    scans = []
    for obj, file in zip(made, files, strict=True):
        if file.wanted.is_design:
            settings.design = obj
        else:
            scans.append((obj, file.wanted.group))
    yield Progress("Adding to the scene", 1.0)
    add_to_list(scene, scans)
    yield Progress("Adding to the scene", 1.0)
    _select(context, [scan for scan, _group in scans] or made)
    design = [settings.design] if store.is_in(settings.design, scene) else []
    overview.bring_into_view(context, [o for o in {*design, *made} if o.visible_get()])


def add_to_list(scene: bpy.types.Scene, scans: Sequence[tuple[bpy.types.Object, str]]) -> None:
    """Add scans, each with its group, to a scene's list and choose the first of them."""
    settings = getattr(scene, SCENE_PROPERTIES)
    first = len(settings.scans)
    for scan, group in scans:
        item = settings.scans.add()
        item.scan, item.group = scan, group
    if scans:
        settings.scan_index = first


def _select(context: bpy.types.Context, objects: Sequence[bpy.types.Object]) -> None:
    """Select objects as Blender does after an import, unless something is being edited."""
    chosen = layer_of(context).objects
    if chosen.active is not None and chosen.active.mode != "OBJECT":
        return
    for obj in list(chosen.selected):
        obj.select_set(False)
    for obj in objects:
        obj.select_set(True)
    chosen.active = objects[0]


def _objects_steps(
    context: bpy.types.Context, files: Sequence[ReadFile]
) -> Steps[list[bpy.types.Object]]:
    """Make an object of each file; all of them come into the scene, or none."""
    made: list[bpy.types.Object] = []
    try:
        for k, file in enumerate(files):
            share = k / len(files), (k + 1) / len(files)
            mesh = bpy.data.meshes.new(file.name)
            made.append(bpy.data.objects.new(file.name, mesh))
            arrays = file.arrays
            parts = (arrays.points, arrays.faces, arrays.edges, arrays.face_edges)
            yield from scaled(bridge.new_mesh_steps(mesh, *parts), *share)
            _describe(made[-1], file)
        yield Progress("Adding to the scene", 1.0)
    except BaseException:
        _drop(made)
        raise
    collection = _collection_seen(context)
    for obj in made:
        collection.objects.link(obj)
    yield Progress("Adding to the scene", 1.0)
    layer_of(context).update()
    return made


def _describe(obj: bpy.types.Object, file: ReadFile) -> None:
    obj.matrix_world = Matrix.Translation(file.arrays.origin.tolist())
    data = store.data_of(obj)
    data.file_notes = "\n".join(file.notes)
    data.source_file = readable(file.wanted.path)
    data.source_facts = file.facts


def _drop(made: Sequence[bpy.types.Object]) -> None:
    for obj in made:
        mesh = obj.data
        bpy.data.objects.remove(obj)
        bpy.data.meshes.remove(cast(bpy.types.Mesh, mesh))


def _collection_seen(context: bpy.types.Context) -> bpy.types.Collection:
    """Return the collection to add to: the active one, unless nothing in it is seen."""
    active: Any = layer_of(context).active_layer_collection
    if active is not None and active.is_visible and not active.exclude:
        return cast(bpy.types.Collection, active.collection)
    return scene_of(context).collection
