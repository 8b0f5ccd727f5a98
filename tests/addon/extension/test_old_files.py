"""Files saved by a version that called support marks contacts, and a sprue a connector."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

RADIUS_MM = 0.6


def stored(owner: Any) -> Any:
    """Our properties as the file has them, declared or not."""
    owner.cuspwise.name = ""  # makes sure that there are some
    if hasattr(owner, "bl_system_properties_get"):
        return owner.bl_system_properties_get(do_create=True)["cuspwise"]
    return owner["cuspwise"]


@pytest.fixture
def old(checked: SimpleNamespace, tmp_path: Path) -> SimpleNamespace:
    """The checked crown with a sprue's mark, saved as the earlier version did and opened anew."""
    bpy, design, scan = checked.bpy, checked.design, checked.scan
    checked.settings.mark_kind = "sprue"
    top = max(design.data.vertices, key=lambda vertex: vertex.co.z).co
    assert bpy.ops.cuspwise.mark_support(location=top, radius_mm=RADIUS_MM) == {"FINISHED"}
    group = design.vertex_groups["Area: sprue: 1"]
    group.name = "Area: connector: 1"
    there = stored(design)
    there["contact_circles"] = design.cuspwise.mark_circles.replace("sprue: 1", "connector: 1")
    design.cuspwise.mark_circles = ""
    choices = stored(checked.scene)
    choices["contact_radius_mm"], choices["contact_kind"] = 0.9, 1
    checked.settings.property_unset("mark_radius_mm")
    checked.settings.property_unset("mark_kind")
    kept = json.loads(scan.cuspwise.result)
    kept["version"] = 3
    kept["check"]["exceedances"] = kept["check"].pop("patches")
    kept["check"]["contacts"] = kept["check"].pop("marks")
    scan.cuspwise.result = json.dumps(kept)
    path = tmp_path / "old.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene, objects = bpy.context.scene, bpy.data.objects
    return SimpleNamespace(
        bpy=bpy,
        part=checked.part,
        scene=scene,
        settings=scene.cuspwise,
        design=objects["Design"],
        scan=objects["Scan"],
    )


def test_a_connector_is_a_sprue_now(old: SimpleNamespace) -> None:
    support_marks = old.part("addon.areas.support_marks")
    assert support_marks.names(old.design) == ["sprue: 1"]
    circle = support_marks.circles(old.design)["sprue: 1"]
    assert circle["radius_mm"] == pytest.approx(RADIUS_MM)
    assert "contact_circles" not in stored(old.design)
    (mark,) = old.part("addon.check.inputs").read_design(old.bpy.context).marks
    assert (mark.kind, mark.name, mark.radius_mm) == ("sprue", "1", pytest.approx(RADIUS_MM))


def test_choices_for_the_next_mark_stay(old: SimpleNamespace) -> None:
    assert old.settings.mark_radius_mm == pytest.approx(0.9)
    assert old.settings.mark_kind == "sprue"
    assert not {"contact_radius_mm", "contact_kind"} & set(stored(old.scene).keys())


def test_an_earlier_result_is_out_of_date(old: SimpleNamespace) -> None:
    """And said to be, before anything else is done; checking again heals it."""
    assert old.scan.cuspwise.state == "OUT_OF_DATE"
    assert "another version" in old.scan.cuspwise.state_reason
    assert old.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert old.scan.cuspwise.state == "CURRENT"
    rows = old.part("addon.check.mark_results").rows(old.scan, old.design)
    assert list(rows) == ["sprue: 1"]


def test_a_present_file_is_left_alone(checked: SimpleNamespace) -> None:
    before = checked.scan.cuspwise.result, checked.design.cuspwise.areas
    checked.part("addon.check.old_files").take_over("")
    assert (checked.scan.cuspwise.result, checked.design.cuspwise.areas) == before
    assert checked.scan.cuspwise.state == "CURRENT"
