"""What causes ask for: support marks accepted or dismissed, the build direction."""

from __future__ import annotations

import json
from types import SimpleNamespace

import numpy as np
import pytest
from caused import causes, drawn, say


def with_found_marks(case: SimpleNamespace) -> list[np.ndarray]:
    """Two of them on the design's outside, as if they had been found."""
    kept = causes(case)
    count = len(case.design.data.vertices)
    places = [np.array(case.design.data.vertices[k].co) for k in (count // 3, count // 2)]
    kept["marks"] = [
        {
            "place_mm": (place + 0.01).tolist(),
            "height_um": height,
            "kind": kind,
            "likelihood": 0.9,
            "radius_mm": 0.6,
            "answer": "open",
        }
        for place, height, kind in zip(places, (62.0, -48.0), ("stub", "gouge"), strict=True)
    ]
    case.scan.cuspwise.causes = json.dumps(kept)
    return places


def test_found_marks_are_accepted_or_dismissed(explained: SimpleNamespace) -> None:
    case, ops = explained, explained.bpy.ops.cuspwise
    assert "may be support marks" not in " ".join(drawn(case))
    places = with_found_marks(case)
    said = drawn(case)
    assert "Stub +62 µm (0.90)" in said
    assert "Gouge −48 µm (0.90)" in said
    assert ops.frame_found_place(kind="marks", number=1) == {"FINISHED"}
    assert np.allclose(case.scene.cursor.location, places[1] + 0.01, atol=1e-5)
    assert ops.accept_found_mark(number=0) == {"FINISHED"}
    assert "Area: support: 1" in case.design.vertex_groups
    circle = case.part("addon.areas.support_marks").circles(case.design)["support: 1"]
    assert np.linalg.norm(np.array(circle["centre"]) - places[0]) < 0.02
    assert circle["radius_mm"] == 0.6
    rows = case.part("addon.check.mark_results").rows(case.scan, case.design)
    assert list(rows) == ["support: 1"]  # measured at once
    assert ops.dismiss_found_mark(number=1) == {"FINISHED"}
    assert "may be support marks" not in " ".join(drawn(case))
    with pytest.raises(RuntimeError, match="no support mark 1"):
        ops.accept_found_mark(number=0)
    assert len(case.part("addon.areas.support_marks").names(case.design)) == 1


def test_a_stub_that_was_found_stays_dismissed(checked: SimpleNamespace) -> None:
    """One of the demo's printed crown, also when causes are found again."""
    case, ops = checked, checked.bpy.ops.cuspwise
    say(case.settings.causes.production)
    assert ops.find_causes() == {"FINISHED"}
    shape = case.part("standalone_core.demo.shape").CrownShape()
    spots = case.part("standalone_core.demo.scenario").printed_errors().spots
    stubs = [shape.points(np.array(np.deg2rad(s.angle_deg)), np.array(s.s_mm)) for s in spots]
    store = case.part("addon.causes.causes_store")
    (number, mark), *_others = store.open_marks(causes(case))
    assert np.linalg.norm(np.array(stubs) - mark["place_mm"], axis=1).min() < 0.4
    assert mark["kind"] == "stub"
    assert ops.dismiss_found_mark(number=number) == {"FINISHED"}
    left = len(store.open_marks(causes(case)))
    assert ops.find_causes() == {"FINISHED"}
    assert len(store.open_marks(causes(case))) == left
    assert causes(case)["marks"][number]["answer"] == "dismissed"


def test_a_milled_crown_had_a_holding_bar(explained: SimpleNamespace) -> None:
    with_found_marks(explained)
    explained.settings.causes.production.way = "milled"
    assert explained.bpy.ops.cuspwise.accept_found_mark(number=1) == {"FINISHED"}
    assert "Area: sprue: 1" in explained.design.vertex_groups


def test_two_points_tell_the_build_direction(crown: SimpleNamespace) -> None:
    """In the design's own frame: it stays right when the design is turned."""
    from mathutils import Euler, Vector

    ops, facts = crown.bpy.ops.cuspwise, crown.settings.causes.production
    crown.design.rotation_euler = Euler((0.4, -0.7, 1.1))
    crown.bpy.context.view_layer.update()
    own = Vector((0.36, 0.48, -0.8))
    first = Vector((1.0, 2.0, 3.0))
    second = first + 5.0 * (crown.design.matrix_world.to_3x3() @ own)
    assert ops.pick_build_direction(first=first, second=second) == {"FINISHED"}
    assert np.allclose(facts.build_direction, own, atol=1e-6)
    lines = crown.part("addon.drawing.build_arrow").lines_of(crown.bpy.context)
    shaft = np.array(lines[1][1] - lines[1][0])
    there = np.array(crown.design.matrix_world.to_3x3() @ own)
    assert np.allclose(shaft / np.linalg.norm(shaft), there, atol=1e-5)
    with pytest.raises(RuntimeError, match="Both places are the same"):
        ops.pick_build_direction(first=first, second=first)
    assert ops.build_direction_from_axis(axis="NEG_X") == {"FINISHED"}
    assert tuple(facts.build_direction) == (-1.0, 0.0, 0.0)
    crown.settings.causes.show_build_direction = False
    assert crown.part("addon.drawing.build_arrow").lines_of(crown.bpy.context) == []
    assert ops.build_direction_from_axis(axis="NONE") == {"FINISHED"}
    assert crown.part("addon.causes.production").facts_of(crown.scene, crown.scan) == {
        "way": "unknown",
        "build_direction": None,
        "enlargement": None,
        "enlargement_along_build": None,
        "bur_radius_mm": None,
    }


def test_the_view_tells_the_build_direction(crown: SimpleNamespace) -> None:
    """Seen from above, towards the eye."""
    from mathutils import Euler

    bpy = crown.bpy
    screen = bpy.data.screens[0] if not bpy.context.screen else bpy.context.screen
    area = next(a for a in screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "WINDOW")
    turn = Euler((0.0, np.pi / 2, 0.0))
    area.spaces.active.region_3d.view_rotation = turn.to_quaternion()
    with bpy.context.temp_override(screen=screen, area=area, region=region):
        assert bpy.ops.cuspwise.build_direction_from_view() == {"FINISHED"}
    found = crown.settings.causes.production.build_direction
    assert np.allclose(found, (1.0, 0.0, 0.0), atol=1e-6)
