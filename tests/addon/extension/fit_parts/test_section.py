"""The section plane: where it lies, what it cuts, and when meshes are read anew."""

from __future__ import annotations

import json
from types import SimpleNamespace

import numpy as np
import pytest
from calls import call


def shown(case: SimpleNamespace, towards_eye: np.ndarray | None = None) -> SimpleNamespace:
    """The section as it would be drawn."""
    section = case.part("addon.fit.section")
    case.bpy.context.view_layer.update()
    plane, objects = section.shown_cuts(case.bpy.context, case.scan, towards_eye)
    cuts = {cut.shown.obj.name: cut for cut in section.cuts(objects, plane, case.scan)}
    look = section.look_of(objects, plane, case.scan)
    return SimpleNamespace(plane=plane, cuts=cuts, look=look)


def test_the_outlines_lie_in_the_plane_through_the_middle(mouth: SimpleNamespace) -> None:
    """Square to the arch through the crown: the neighbours beside it are not met."""
    for obj in mouth.objects:
        obj.hide_set(False)
    mouth.design.rotation_euler = (0.3, 0.2, 0.1)
    assert call(mouth, "place_section", across="X") == {"FINISHED"}
    assert mouth.teeth.section.shown
    found = shown(mouth)
    assert set(found.cuts) == {"Design", "Scan", "Antagonist"}
    for cut in found.cuts.values():
        for curve in cut.curves:
            off = (curve.points_mm - found.plane.origin) @ np.array(found.plane.normal)
            assert np.abs(off).max() < 1e-5  # Blender's matrices are of single precision
    box = mouth.part("addon.blender.frames").middle(mouth.scan)
    assert found.plane.origin == pytest.approx(box)
    assert all(curve.closed for curve in found.cuts["Design"].curves)


def test_what_cannot_be_seen_is_not_cut_but_what_a_map_hides_is(mouth: SimpleNamespace) -> None:
    call(mouth, "show_contacts")
    mouth.objects["Antagonist"].cuspwise.hidden_before = True  # by hand
    call(mouth, "place_section", across="Y")
    assert set(shown(mouth).cuts) == {"Design", "Scan", "Mesial", "Distal"}


def test_the_gap_in_the_plane_is_that_of_the_contact(mouth: SimpleNamespace) -> None:
    """Along the arch through the distal contact, the common normal lies in the plane: the gap
    there is the contact's own. A mesh that nobody named is cut too, without being a crown."""
    kept = json.loads(mouth.scan.cuspwise.teeth.contacts)["rows"]
    contact = next(row for row in kept if row["tooth"] == "Distal")
    mouth.teeth.section.through = "CURSOR"
    mouth.scene.cursor.location = contact["place_mm"]
    mouth.objects.new("Die", mouth.design.data)
    mouth.scene.collection.objects.link(mouth.objects["Die"])
    call(mouth, "place_section", across="Y")
    found = shown(mouth).cuts
    overlay = mouth.part("addon.fit.section_overlay")
    assert 1e3 * found["Distal"].gap == pytest.approx(contact["gap_um"], abs=3.0)
    assert overlay.entry_of(found["Distal"], 1.0)[2].endswith("µm gap")
    assert found["Scan"].gap is None
    assert found["Design"].gap is None
    assert found["Die"].gap is not None
    assert overlay.pieces_of(found["Die"].curves).shape[1] == 3


def test_it_follows_the_view_through_the_cursor(mouth: SimpleNamespace) -> None:
    chosen = mouth.teeth.section
    chosen.shown = chosen.follows_view = True
    chosen.through = "CURSOR"
    mouth.scene.cursor.location = (0.5, 0.2, 3.0)
    eye = np.array([0.6, 0.0, 0.8])
    chosen.offset_mm = 0.5
    found = shown(mouth, eye)
    assert found.plane.normal == pytest.approx(eye)
    assert found.plane.origin == pytest.approx(np.array([0.5, 0.2, 3.0]) + 0.5 * eye, abs=1e-6)
    chosen.follows_view = False  # without a view: it stays as it was placed last
    assert shown(mouth, eye).plane.normal == pytest.approx((0.0, -1.0, 0.0))
    with pytest.raises(RuntimeError, match="There is no 3D view here"):
        call(mouth, "place_section", across="VIEW")
    chosen.shown = False
    section = mouth.part("addon.fit.section")
    assert section.shown_cuts(mouth.bpy.context, mouth.scan, eye) is None


def test_it_is_cut_anew_only_if_something_changed(mouth: SimpleNamespace) -> None:
    """A move costs a cut, a mesh that was edited another reading."""
    call(mouth, "place_section", across="X")
    section = mouth.part("addon.fit.section")
    first = shown(mouth)
    held = dict(section._held)
    assert shown(mouth).look == first.look
    mouth.scan.location.x += 0.1
    moved = shown(mouth)
    assert moved.look != first.look
    assert all(section._held[key] is mesh for key, mesh in held.items())
    for vertex in mouth.scan.data.vertices:
        vertex.co.z += 1.0
    mouth.scan.data.update()
    edited = shown(mouth)
    assert edited.look != moved.look
    top = [max(c.points_mm[:, 2].max() for c in one.cuts["Scan"].curves) for one in (moved, edited)]
    assert top[1] - top[0] == pytest.approx(1.0, abs=1e-4)
    mouth.bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert not section._held


def test_without_a_design_there_is_none(empty: SimpleNamespace) -> None:
    with pytest.raises(RuntimeError, match="Choose the design first"):
        call(empty, "place_section", across="X")
    empty.scene.cuspwise.teeth.section.shown = True
    section = empty.part("addon.fit.section")
    assert section.shown_cuts(empty.bpy.context, None, None) is None
