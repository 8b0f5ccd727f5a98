"""The areas overlay as it is read from the scene; how it looks, only a window can show."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest


def overlay_of(case: SimpleNamespace) -> Any:
    return case.part("addon.drawing.overlay").read(case.design, case.scene)


def sizes(overlay: Any) -> dict[str, float]:
    found = {}
    for patch in overlay.patches.patches:
        a, b, c = (overlay.patches.points[patch.triangles[:, k]].astype(float) for k in range(3))
        found[patch.area] = float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    return found


def size_by_corners(case: SimpleNamespace, group: str) -> float:
    """Where linear weights are above one half: 0, 1/4, 3/4 or all of a triangle, by corners."""
    index = case.design.vertex_groups[group].index
    inside = np.array([any(g.group == index for g in v.groups) for v in case.design.data.vertices])
    case.design.data.calc_loop_triangles()
    triangles = case.design.data.loop_triangles
    counts = [int(inside[list(t.vertices)].sum()) for t in triangles]
    return float(
        sum(t.area * (0.0, 0.25, 0.75, 1.0)[n] for t, n in zip(triangles, counts, strict=True))
    )


def mark(case: SimpleNamespace, radius_mm: float = 0.6) -> np.ndarray:
    """A support mark on the axial wall; where it is."""
    marks = case.part("addon.areas.support_marks")
    depsgraph = case.bpy.context.evaluated_depsgraph_get()
    target = marks.target(case.design, case.scene, depsgraph)
    points = np.array([v.co for v in case.design.data.vertices])
    centre = points[np.argmax(points[:, 0])]
    marks.mark(target, centre, radius_mm, "support")
    return centre


def test_every_piece_has_the_size_that_its_area_was_measured_with(
    checked: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    """What lies below others is less by them; all pieces together are the crown."""
    known = checked.part("addon.areas.area_groups").found_areas(checked.design)["size_mm2"]
    drawn = sizes(overlay_of(checked))
    assert "external" not in drawn  # made up of occlusal surface and axial walls
    assert sum(drawn.values()) == pytest.approx(surfaces.design.area_mm2, rel=1e-5)
    for name in ("fossae", "margin"):
        wanted = size_by_corners(checked, f"Area: {name}")
        # Where three areas meet, the uppermost is given half of a triangle, not a quarter.
        assert drawn[name] == pytest.approx(wanted, rel=0.005), name
        # Groups hold vertices only, measures are taken at points between them too.
        assert drawn[name] == pytest.approx(known[name], rel=0.03), name
    assert drawn["occlusal"] == pytest.approx(known["occlusal"] - known["fossae"], rel=0.01)
    both = drawn["intaglio"] + drawn["axial"] + drawn["margin"]
    assert both == pytest.approx(known["intaglio"] + known["axial"], rel=0.01)


def test_hidden_areas_show_what_lies_below(checked: SimpleNamespace) -> None:
    toggle = checked.bpy.ops.cuspwise.toggle_area
    before = sizes(overlay_of(checked))
    for name in ("fossae", "occlusal"):
        assert toggle(area=name) == {"FINISHED"}
    after = sizes(overlay_of(checked))
    assert after["external"] == pytest.approx(before["fossae"] + before["occlusal"], rel=1e-5)
    assert json.loads(checked.design.cuspwise.hidden_areas) == ["fossae", "occlusal"]
    assert toggle(area="margin") == {"FINISHED"}
    assert overlay_of(checked).margin_line is None
    for name in ("fossae", "occlusal", "margin"):
        assert toggle(area=name) == {"FINISHED"}
    assert sizes(overlay_of(checked)) == before
    with pytest.raises(RuntimeError, match=r"no area 'nose'\. Find Areas first"):
        toggle(area="nose")


def test_the_margin_line_is_the_curve(checked: SimpleNamespace) -> None:
    line = overlay_of(checked).margin_line
    points = checked.design.cuspwise.margin_line.data.splines[0].points
    assert np.allclose(line[:-1], [p.co[:3] for p in points])
    assert np.array_equal(line[0], line[-1])


def test_marks_are_circles_on_the_surface(checked: SimpleNamespace) -> None:
    """Also of a turned and enlarged design, whose radius is in mm of the scene."""
    centre = mark(checked)
    checked.design.rotation_euler = (0.4, -0.2, 1.0)
    checked.design.scale = (2.0, 2.0, 2.0)
    checked.bpy.context.view_layer.update()
    (ring,) = overlay_of(checked).circles
    away = np.linalg.norm(ring - centre, axis=1)
    assert away == pytest.approx(np.full(len(ring), 0.3), rel=0.1)
    for corner in ring[::8]:
        found, place, *_ = checked.design.closest_point_on_mesh(corner.tolist())
        assert found
        assert np.linalg.norm(np.array(place) - corner) < 1e-4
    assert checked.bpy.ops.cuspwise.toggle_area(area="supports") == {"FINISHED"}
    hidden = overlay_of(checked)
    assert not hidden.circles
    assert not [name for name in sizes(hidden) if name.startswith("support")]


def test_the_key_names_what_is_seen(checked: SimpleNamespace) -> None:
    module = checked.part("addon.drawing.overlay")
    mine = checked.design.vertex_groups.new(name="Area: höchste Höcker")
    mine.add([v.index for v in checked.design.data.vertices if v.co.z > 5.0], 1.0, "REPLACE")
    mark(checked)
    key = module.key_of(overlay_of(checked))
    assert [entry.words for entry in key] == [
        "intaglio", "occlusal", "axial walls", "margin", "fossae", "höchste Höcker",
        "margin line", "support marks",
    ]  # fmt: skip
    assert [entry.mark for entry in key[-2:]] == ["line", "ring"]
    patches = [entry.colour for entry in key if entry.mark == "patch"]
    assert len(set(patches)) == len(patches)


def test_drawn_where_design_or_scan_is_seen(checked: SimpleNamespace) -> None:
    shown = checked.part("addon.drawing.overlay").shown_design
    screen = next(s for s in checked.bpy.data.screens if "VIEW_3D" in {a.type for a in s.areas})
    space = next(a.spaces.active for a in screen.areas if a.type == "VIEW_3D")
    context = SimpleNamespace(scene=checked.scene, space_data=space)
    space.overlay.show_overlays = True  # some of the workspaces start without
    assert shown(context) is None  # off until asked for
    checked.settings.show_areas = True
    checked.bpy.context.view_layer.update()
    assert checked.design.hide_get()  # the coloured scan is looked at
    assert shown(context) == checked.design
    space.overlay.show_overlays = False
    assert shown(context) is None
    space.overlay.show_overlays = True
    checked.scan.hide_set(True)
    assert shown(context) is None
    checked.design.hide_set(False)
    assert shown(context) == checked.design
    checked.bpy.data.objects.remove(checked.design)
    assert shown(context) is None


def test_turning_it_on_changes_nothing_else(checked: SimpleNamespace) -> None:
    def seen() -> list[Any]:
        objects = checked.bpy.data.objects
        slots = [(o.name, o.hide_get(), [s.material for s in o.material_slots]) for o in objects]
        return [slots, checked.scan.cuspwise.state, [g.name for g in checked.design.vertex_groups]]

    before = seen()
    checked.settings.show_areas = True
    assert seen() == before
    checked.settings.show_areas = False
    assert seen() == before


def test_a_design_without_areas_has_an_empty_overlay(crown: SimpleNamespace) -> None:
    crown.settings.show_areas = True
    made = overlay_of(crown)
    assert made.patches.patches == ()
    assert made.margin_line is None
    assert crown.part("addon.drawing.overlay").key_of(made) == []
    with pytest.raises(RuntimeError, match="Find Areas first"):
        crown.bpy.ops.cuspwise.toggle_area(area="margin")
