"""A place that is clicked is what the view sees: from outside, ringed, nothing before it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call


def vector(values: Any) -> Any:
    """A vector of Blender's, whose module is there once Blender is."""
    from mathutils import Vector

    return Vector(values)


@pytest.fixture
def looked(spoilt: SimpleNamespace) -> Iterator[SimpleNamespace]:
    """The spoilt crown with a 3D view to look from, and a block that stands about the crown."""
    bpy = spoilt.bpy
    screen = next(s for s in bpy.data.screens if any(a.type == "VIEW_3D" for a in s.areas))
    area = next(a for a in screen.areas if a.type == "VIEW_3D")
    bpy.ops.mesh.primitive_cube_add(size=40.0)
    block = bpy.context.object
    with bpy.context.temp_override(screen=screen, area=area):
        assert bpy.context.space_data == area.spaces.active
        yield SimpleNamespace(**vars(spoilt), space=area.spaces.active, block=block)


def eye(case: SimpleNamespace) -> tuple[Any, Any]:
    """Where the view's eye is, and which way it looks."""
    view = case.space.region_3d
    towards = view.view_rotation @ vector((0.0, 0.0, 1.0))
    return view.view_location + view.view_distance * towards, -towards


def first_hit(case: SimpleNamespace) -> tuple[Any, Any]:
    """What a ray from the eye through the middle of the view meets first, and where."""
    origin, way = eye(case)
    graph = case.bpy.context.evaluated_depsgraph_get()
    case.bpy.context.view_layer.update()
    hits = []
    for obj in case.scene.objects:
        if obj.type != "MESH" or not obj.visible_get():
            continue
        to_local = obj.matrix_world.inverted()
        found, place, *_ = obj.ray_cast(to_local @ origin, to_local.to_3x3() @ way, depsgraph=graph)
        if found:
            world = obj.matrix_world @ place
            hits.append(((world - origin).length, obj, world))
    return min(hits)[1:] if hits else (None, None)


def state(case: SimpleNamespace) -> list[Any]:
    """What a look at a place may change."""
    view, objects = case.space.region_3d, case.scene.objects
    numbers = [*view.view_location, *view.view_rotation, view.view_distance, case.space.clip_start]
    return [
        [round(number, 4) for number in numbers],
        view.view_perspective,
        {obj.name: obj.hide_get() for obj in objects},
    ]


def patches(case: SimpleNamespace) -> list[dict[str, Any]]:
    return case.part("addon.check.store").result_of(case.scan)["check"]["patches"]


def test_every_patch_is_what_the_view_sees(looked: SimpleNamespace) -> None:
    """Flash, post and all, whatever stands about the crown; nearly along the normal as a rule."""
    tilts = []
    for number, patch in enumerate(patches(looked)):
        looked.scan.cuspwise.patch_index = number
        obj, world = first_hit(looked)
        assert obj == looked.scan, number
        local = looked.scan.matrix_world.inverted() @ world
        assert (local - vector(looked.settings.place.local)).length < 0.01, number
        assert not looked.settings.place.through
        peak = looked.design.matrix_world @ vector(patch["peak_mm"])
        assert (looked.scene.cursor.location - peak).length < 1e-4
        _found, nearest, normal, _face = looked.scan.closest_point_on_mesh(
            looked.scan.matrix_world.inverted() @ peak
        )
        assert (local - nearest).length < 0.03
        outward = looked.scan.matrix_world.to_3x3() @ normal
        tilts.append(math.degrees(outward.angle(-eye(looked)[1])))
    assert len(tilts) > 100
    assert np.median(tilts) < 15.0  # one facet's normal is not quite the surface's
    assert looked.block.hide_get()


def test_the_inner_surface_is_looked_at_from_below(looked: SimpleNamespace) -> None:
    """Not through the crown: its own wall would stand before it."""
    framing = looked.part("addon.drawing.framing")
    low = np.array([v.co for v in looked.design.data.vertices])
    group = looked.design.vertex_groups["Area: intaglio"].index
    inside = [
        v.index for v in looked.design.data.vertices if any(g.group == group for g in v.groups)
    ]
    for index in inside[:: len(inside) // 12]:
        assert framing.frame_local(looked.bpy.context, looked.design, low[index]) == ""
        obj, world = first_hit(looked)
        assert obj == looked.design
        local = looked.design.matrix_world.inverted() @ world
        assert (local - vector(low[index])).length < 0.02


def test_a_ring_lies_on_the_patch(looked: SimpleNamespace) -> None:
    overlay = looked.part("addon.drawing.place_overlay")
    looked.space.overlay.show_overlays = True
    assert overlay.shown_place(looked.bpy.context) is None
    number, patch = next(
        (k, p)
        for k, p in enumerate(patches(looked))
        if "axial" in p["areas"] and "margin" not in p["areas"] and p["area_mm2"] < 0.3
    )
    assert call(looked, "frame_patch", number=number) == {"FINISHED"}
    place = overlay.shown_place(looked.bpy.context)
    assert place.obj == looked.scan
    ring = overlay.ring_of(place)
    assert ring[0] == ring[-1]
    assert place.radius == pytest.approx(
        min(max(1.25 * math.sqrt(patch["area_mm2"] / math.pi), 0.3), 1.5), rel=1e-5
    )
    middle = looked.scan.matrix_world @ vector(place.local)
    towards = -eye(looked)[1]
    on_surface = 0
    for corner in ring:
        across = corner - middle
        depth = across.dot(towards)
        assert (across - depth * towards).length == pytest.approx(place.radius, rel=1e-3)
        own = looked.scan.matrix_world.inverted() @ corner
        on_surface += (looked.scan.closest_point_on_mesh(own)[1] - own).length < 1e-4
    assert on_surface == len(ring)


def test_all_that_was_moved_or_hidden_is_given_back(looked: SimpleNamespace) -> None:
    view = looked.space.region_3d
    view.view_perspective, view.view_distance = "ORTHO", 40.0
    view.view_rotation = (0.8, 0.6, 0.0, 0.0)
    for shown in (True, False):
        if not shown:
            assert call(looked, "remove_colour_map") == {"FINISHED"}
        before = state(looked)
        with pytest.raises(RuntimeError, match="No place is looked at"):
            call(looked, "leave_place")
        for number in (0, 2, 1):
            assert call(looked, "frame_patch", number=number) == {"FINISHED"}
            assert looked.design.hide_get()
            assert looked.block.hide_get()
        assert state(looked) != before
        assert call(looked, "leave_place") == {"FINISHED"}
        assert state(looked) == before


def test_removing_the_map_ends_the_look_and_leaves_the_view(looked: SimpleNamespace) -> None:
    before = state(looked)[2]
    assert before["Design"]
    assert call(looked, "frame_patch", number=0) == {"FINISHED"}
    there = state(looked)[0]
    assert call(looked, "remove_colour_map") == {"FINISHED"}
    assert state(looked)[0] == there
    assert not any(state(looked)[2].values())
    assert looked.scene.cuspwise.place.obj is None


def test_another_scan_ends_the_look(looked: SimpleNamespace) -> None:
    other = looked.scan.copy()
    looked.scene.collection.objects.link(other)
    looked.settings.scans.add().scan = other
    assert call(looked, "frame_patch", number=0) == {"FINISHED"}
    looked.settings.scan_index = 1
    assert looked.scene.cuspwise.place.obj is None
    assert not looked.block.hide_get()
    assert not other.hide_get()


def test_a_patch_brings_the_deviations_back(looked: SimpleNamespace) -> None:
    """A map of something else would show it in colours that say nothing of it."""
    maps = looked.part("addon.drawing.colour_map")
    looked.settings.study.shown = True
    maps.refresh(looked.scene)
    assert not looked.scan.cuspwise.coloured
    looked.scan.cuspwise.patch_index = 1
    assert maps.shows_deviations(looked.scene)
    assert first_hit(looked)[0] == looked.scan


def test_a_patch_of_the_design_is_looked_at_on_the_design(looked: SimpleNamespace) -> None:
    looked.settings.shown = "DESIGN"
    found = patches(looked)
    number = next(k for k, p in enumerate(found) if p["seen_from"] != "scan")
    assert call(looked, "frame_patch", number=number) == {"FINISHED"}
    assert looked.settings.shown == "DESIGN"
    assert first_hit(looked)[0] == looked.design
    only = next(k for k, p in enumerate(found) if p["seen_from"] == "scan")
    assert call(looked, "frame_patch", number=only) == {"FINISHED"}
    assert looked.settings.shown == "SCAN"
    assert first_hit(looked)[0] == looked.scan


def test_a_support_mark_is_looked_at_on_a_turned_design(looked: SimpleNamespace) -> None:
    from mathutils import Matrix

    marks = looked.part("addon.areas.support_marks")
    assert call(looked, "remove_colour_map") == {"FINISHED"}
    turn = Matrix.Rotation(0.7, 4, "X")
    for obj in (looked.design, looked.scan):
        obj.matrix_world = turn @ obj.matrix_world
    looked.bpy.context.view_layer.update()
    graph = looked.bpy.context.evaluated_depsgraph_get()
    target = marks.target(looked.design, looked.scene, graph)
    side = max((v.co for v in looked.design.data.vertices), key=lambda co: co.x)
    area = marks.mark(target, np.array(side), 0.6, "support")
    assert call(looked, "frame_mark") == {"FINISHED"}
    obj, world = first_hit(looked)
    assert obj == looked.design  # nothing of it was measured on the scan
    assert (looked.design.matrix_world.inverted() @ world - side).length < 0.02
    assert looked.scene.cuspwise.place.radius == pytest.approx(0.75)
    assert call(looked, "measure_marks") == {"FINISHED"}
    assert looked.part("addon.check.mark_results").rows(looked.scan, looked.design)[area]
    assert call(looked, "frame_mark") == {"FINISHED"}
    assert first_hit(looked)[0] == looked.scan


def test_it_outlives_saving_and_undo(looked: SimpleNamespace, tmp_path: Path) -> None:
    bpy = looked.bpy
    assert call(looked, "frame_patch", number=0) == {"FINISHED"}
    path = str(tmp_path / "looked.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    objects = bpy.data.objects
    assert bpy.context.scene.cuspwise.place.obj == objects["Scan"]
    assert objects["Cube"].hide_get()
    assert call(looked, "leave_place") == {"FINISHED"}
    assert not objects["Cube"].hide_get()
    assert not objects["Scan"].hide_get()


def test_circles_are_drawn_while_the_design_is_edited(looked: SimpleNamespace) -> None:
    """And where it is switched off in the views: Blender then knows no surface of it."""
    bpy, overlay = looked.bpy, looked.part("addon.drawing.overlay")
    marks = looked.part("addon.areas.support_marks")
    graph = bpy.context.evaluated_depsgraph_get()
    target = marks.target(looked.design, looked.scene, graph)
    side = max(looked.design.data.polygons, key=lambda face: face.center.x).center
    marks.mark(target, np.array(side), 0.6, "support")
    before = overlay.read(looked.design, looked.scene)
    assert len(before.circles) == 1
    looked.settings.shown = "DESIGN"
    bpy.ops.object.select_all(action="DESELECT")
    bpy.context.view_layer.objects.active = looked.design
    bpy.ops.object.mode_set(mode="EDIT")
    edited = overlay.read(looked.design, looked.scene)
    bpy.ops.object.mode_set(mode="OBJECT")
    looked.design.hide_viewport = True
    bpy.context.view_layer.update()
    off = overlay.read(looked.design, looked.scene)
    for found in (edited, off):
        assert overlay.key_of(found) == overlay.key_of(before)
        assert np.allclose(found.circles[0], before.circles[0], atol=1e-4)
        assert [p.area for p in found.patches.patches] == [p.area for p in before.patches.patches]


def test_circles_are_drawn_without_the_areas(looked: SimpleNamespace) -> None:
    shown = looked.part("addon.drawing.marks_overlay").shown_design
    marks = looked.part("addon.areas.support_marks")
    looked.space.overlay.show_overlays = True
    assert shown(looked.bpy.context) is None
    graph = looked.bpy.context.evaluated_depsgraph_get()
    target = marks.target(looked.design, looked.scene, graph)
    marks.mark(target, np.array(looked.design.data.vertices[0].co), 0.6, "support")
    looked.bpy.context.view_layer.update()
    assert looked.design.hide_get()  # the scan lies in its place
    assert shown(looked.bpy.context) == looked.design
    looked.settings.show_areas = True  # which show them too
    assert shown(looked.bpy.context) is None
    looked.settings.show_areas = False
    looked.settings.show_marks = False
    assert shown(looked.bpy.context) is None
