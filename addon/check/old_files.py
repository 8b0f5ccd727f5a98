"""Files saved under names of an earlier version: what can be taken over is, once, on opening.

Support marks were called contacts, and a sprue a connector. Marks, their circles and the choices
for the next one are taken over; results are not, and are out of date.
"""

from __future__ import annotations

from typing import Any

import bpy

from ...standalone_core.areas.support_marks import MARK_KINDS
from ..blender.session import persistent
from ..identifiers import AREA_GROUP_PREFIX, OBJECT_PROPERTIES, SCENE_PROPERTIES
from . import store

OLD_SPRUE, SPRUE = "connector: ", "sprue: "
OLD_CIRCLES, OLD_KIND, OLD_RADIUS = "contact_circles", "contact_kind", "contact_radius_mm"
OLD_HIDDEN = "study_hidden"
# What names areas, and with them marks, in JSON.
NAMING = ("areas", "areas_document", "hidden_areas", "mark_circles")


@persistent
def take_over(_path: str) -> None:
    """Give what a file holds under earlier names its present ones."""
    for obj in bpy.data.objects:
        if not obj.library:
            _take_over_object(obj)
    for scene in bpy.data.scenes:
        if not scene.library:
            _take_over_scene(scene)


def _take_over_object(obj: bpy.types.Object) -> None:
    data, stored = getattr(obj, OBJECT_PROPERTIES), _stored(obj, OBJECT_PROPERTIES)
    if OLD_CIRCLES in stored:
        data.mark_circles = stored[OLD_CIRCLES]
        del stored[OLD_CIRCLES]
    # What a map had hidden, or shown, was kept otherwise.
    if not data.held and (data.coloured or stored.get(OLD_HIDDEN)):
        data.held, data.hidden_meanwhile = True, obj.hide_get()
    for name in NAMING:
        text = getattr(data, name)
        if f'"{OLD_SPRUE}' in text:
            setattr(data, name, text.replace(f'"{OLD_SPRUE}', f'"{SPRUE}'))
    for group in obj.vertex_groups:
        if group.name.startswith(AREA_GROUP_PREFIX + OLD_SPRUE):
            own = group.name.removeprefix(AREA_GROUP_PREFIX + OLD_SPRUE)
            group.name = AREA_GROUP_PREFIX + SPRUE + own


def _take_over_scene(scene: bpy.types.Scene) -> None:
    settings, stored = getattr(scene, SCENE_PROPERTIES), _stored(scene, SCENE_PROPERTIES)
    if OLD_RADIUS in stored:
        settings.mark_radius_mm = stored[OLD_RADIUS]
        del stored[OLD_RADIUS]
    if OLD_KIND in stored:
        settings.mark_kind = MARK_KINDS[int(stored[OLD_KIND])]
        del stored[OLD_KIND]
    for scan in store.listed_scans(scene):
        if store.data_of(scan).result and not store.data_of(scan).verdict:
            store.refresh(scan, scene)


def _stored(owner: Any, name: str) -> Any:
    """Return our properties as the file has them, those without a declaration among them."""
    if bpy.app.version >= (5, 0, 0):
        everything = owner.bl_system_properties_get()
        return {} if everything is None else everything.get(name, {})
    return owner.get(name, {})
