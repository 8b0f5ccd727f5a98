"""What the list and the top panel say of a scan: its verdict, or why it has none.

Areas edited since count at once, and no longer once they are as they were.
"""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import pytest

EDITED = "The areas were edited."


def standing(case: SimpleNamespace) -> tuple[str, str]:
    """Symbol and words after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    data = case.scan.cuspwise
    found = case.part("addon.check.verdict_lines").standing(data.state, data.verdict)
    return found.icon, found.words


def settled(case: SimpleNamespace) -> tuple[str, str]:
    """The same after the areas were read, as a timer does in a window."""
    groups = case.part("addon.areas.area_groups")
    edits = case.part("addon.study.area_edits")
    case.bpy.context.view_layer.update()
    edits.settle(case.design, case.scene, groups.user_areas(case.design))
    return standing(case)


WITHIN, OUTSIDE = ("CHECKMARK", "within tolerance"), ("CANCEL", "outside tolerance")
OUT_OF_DATE = ("ERROR", "out of date")


def test_it_follows_the_work(crown: SimpleNamespace) -> None:
    assert standing(crown) == ("RADIOBUT_OFF", "not measured")
    assert crown.bpy.ops.cuspwise.superimpose() == {"FINISHED"}
    assert standing(crown) == ("SNAP_ON", "superimposed, not measured")
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert standing(crown) == OUTSIDE
    crown.scan.location.x += 0.1
    assert standing(crown) == OUT_OF_DATE


def test_it_follows_the_limits(checked: SimpleNamespace) -> None:
    settings, before = checked.settings, standing(checked)
    for area in ("whole", "occlusal", "margin"):
        setattr(settings, f"tolerance_{area}_um", 200.0)
    assert standing(checked) == WITHIN
    settings.tolerance_whole_um = 1.0
    assert standing(checked) == OUTSIDE
    for area in ("whole", "occlusal", "margin"):
        setattr(settings, f"tolerance_{area}_um", 20.0)
    settings.scanner_um = 12.0
    assert standing(checked) == ("QUESTION", "not decidable")
    for area in ("whole", "occlusal", "margin"):
        setattr(settings, f"tolerance_{area}_um", 0.0)
    assert standing(checked) == ("REMOVE", "measured, no tolerance set")
    assert before == OUTSIDE
    icons = checked.bpy.types.UILayout.bl_rna.functions["label"].parameters["icon"].enum_items
    found = checked.part("addon.check.verdict_lines")
    symbols = [found.standing(state, "").icon for state in ("NONE", "PLACED", "OUT_OF_DATE")]
    symbols += [
        found.standing("CURRENT", key).icon
        for key in ("within", "outside", "not_decidable", "no_tolerance")
    ]
    assert len({*symbols}) == len(symbols)
    assert {*symbols} <= {*icons.keys()}


def test_a_file_of_an_earlier_version_has_its_verdict_too(
    checked: SimpleNamespace, tmp_path: Any
) -> None:
    checked.scan.cuspwise.verdict = ""
    path = tmp_path / "old.blend"
    checked.bpy.ops.wm.save_as_mainfile(filepath=str(path))
    checked.bpy.ops.wm.open_mainfile(filepath=str(path))
    assert checked.bpy.data.objects["Scan"].cuspwise.verdict == "outside"


# Areas edited --------------------------------------------------------------------------------


def _rename(case: SimpleNamespace) -> Any:
    case.design.vertex_groups["Area: occlusal"].name = "Area: top"
    return lambda: setattr(case.design.vertex_groups["Area: top"], "name", "Area: occlusal")


def _add(case: SimpleNamespace) -> Any:
    made = case.design.vertex_groups.new(name="Area: mine")
    return lambda: case.design.vertex_groups.remove(made)


def _add_members(case: SimpleNamespace) -> Any:
    group = case.design.vertex_groups["Area: occlusal"]
    inside = {
        v.index for v in case.design.data.vertices for m in v.groups if m.group == group.index
    }
    others = [v.index for v in case.design.data.vertices if v.index not in inside][:3]
    group.add(others, 1.0, "REPLACE")
    return lambda: group.remove(others)


def _edit_line(case: SimpleNamespace) -> Any:
    point = case.design.cuspwise.margin_line.data.splines[0].points[4]
    before = point.co[:]
    point.co.z += 0.2
    return lambda: setattr(point, "co", before)


def _move_line(case: SimpleNamespace) -> Any:
    line = case.design.cuspwise.margin_line
    line.location.z += 0.1
    return lambda: setattr(line, "location", (0.0, 0.0, 0.0))


@pytest.mark.parametrize("edit", [_rename, _add, _add_members, _edit_line, _move_line])
def test_edited_areas_count_at_once_and_taken_back_no_more(
    checked: SimpleNamespace, edit: Any
) -> None:
    before = standing(checked)
    take_back = edit(checked)
    assert standing(checked) == OUT_OF_DATE
    assert checked.scan.cuspwise.state_reason == EDITED
    take_back()
    assert settled(checked) == before


def test_a_removed_area_counts_at_once(checked: SimpleNamespace) -> None:
    groups = checked.design.vertex_groups
    groups.remove(groups["Area: fossae"])
    assert standing(checked) == OUT_OF_DATE
    assert settled(checked) == OUT_OF_DATE
    assert checked.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert standing(checked) == OUTSIDE


def test_other_vertex_groups_and_support_marks_do_not(checked: SimpleNamespace) -> None:
    checked.design.vertex_groups.new(name="mine").add([1, 2], 1.0, "REPLACE")
    checked.design.vertex_groups.new(name="Area: support: 1").add([1, 2], 1.0, "REPLACE")
    assert standing(checked) == OUTSIDE
    assert checked.scan.cuspwise.marks_out_of_date


def paint(case: SimpleNamespace, group: str) -> None:
    """Enter weight paint mode with a group chosen."""
    bpy = case.bpy
    case.settings.shown = "DESIGN"
    bpy.ops.object.select_all(action="DESELECT")
    case.design.select_set(True)
    bpy.context.view_layer.objects.active = case.design
    case.design.vertex_groups.active_index = case.design.vertex_groups[group].index
    bpy.ops.object.mode_set(mode="WEIGHT_PAINT")
    bpy.context.view_layer.update()


def dab(case: SimpleNamespace, group: str) -> None:
    """What a dab of the brush does to the mesh."""
    case.design.vertex_groups[group].add([0, 1, 2, 3], 1.0, "REPLACE")
    case.design.data.update_tag()
    case.bpy.context.view_layer.update()


def test_painting_counts_with_the_first_dab_and_reads_no_mesh(
    checked: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Entering the mode does not; settled, a stroke that changed nothing counts no more."""
    bridge, groups = checked.part("addon.blender.bridge"), checked.part("addon.areas.area_groups")
    paint(checked, "Area: axial walls")
    assert standing(checked) == OUTSIDE

    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError

    read = groups.read_groups_steps
    monkeypatch.setattr(bridge, "checksum", refuse)
    monkeypatch.setattr(groups, "read_groups_steps", refuse)
    checked.design.data.update_tag()
    assert standing(checked) == OUT_OF_DATE
    monkeypatch.undo()
    assert groups.read_groups_steps is read
    assert settled(checked) == OUTSIDE
    dab(checked, "Area: axial walls")
    assert settled(checked) == OUT_OF_DATE
    assert checked.scan.cuspwise.state_reason == EDITED


def test_painting_a_mark_leaves_the_result_alone(checked: SimpleNamespace) -> None:
    checked.design.vertex_groups.new(name="Area: support: 1").add([1, 2], 1.0, "REPLACE")
    checked.bpy.context.view_layer.update()
    checked.scan.cuspwise.marks_out_of_date = False
    paint(checked, "Area: support: 1")
    dab(checked, "Area: support: 1")
    assert checked.scan.cuspwise.marks_out_of_date
    assert settled(checked) == OUTSIDE


def test_undo_takes_an_edit_back(checked: SimpleNamespace) -> None:
    bpy = checked.bpy
    bpy.ops.ed.undo_push(message="before")
    checked.design.vertex_groups["Area: occlusal"].name = "Area: top"
    assert standing(checked) == OUT_OF_DATE
    bpy.ops.ed.undo_push(message="Rename")
    bpy.ops.ed.undo()
    checked.scan, checked.scene = bpy.data.objects["Scan"], bpy.context.scene
    assert standing(checked) == OUTSIDE
    bpy.ops.ed.redo()
    checked.scan = bpy.data.objects["Scan"]
    assert standing(checked) == OUT_OF_DATE


# Scale ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("operator", "scale", "words"),
    [
        ("check_crown", (1.01, 1.01, 1.01), "1 % too large"),
        ("check_crown", (1.0, 1.0, 1.02), "unevenly"),
        ("check_crown", (-1.0, 1.0, 1.0), "mirrored"),
        ("measure_deviation", (1.01, 1.01, 1.01), "1 % too large"),
    ],
)
def test_another_scale_leaves_nothing_decided(
    crown: SimpleNamespace, operator: str, scale: tuple[float, ...], words: str
) -> None:
    if operator == "measure_deviation":
        assert crown.bpy.ops.cuspwise.superimpose() == {"FINISHED"}
    crown.scan.scale = scale
    crown.bpy.context.view_layer.update()
    assert getattr(crown.bpy.ops.cuspwise, operator)() == {"FINISHED"}
    assert standing(crown) == ("QUESTION", "not decidable")
    kept = json.loads(crown.scan.cuspwise.result)["check"]
    assert words in kept["doubt"]
    judged = [row for row in kept["verdicts"] if row["verdict"] != "no_tolerance"]
    assert judged
    assert {row["reason"] for row in judged} == {kept["doubt"]}
    assert kept["doubt"] in kept["warnings"]
    crown.settings.tolerance_whole_um = 500.0  # judged anew, the doubt stays
    assert standing(crown) == ("QUESTION", "not decidable")
    crown.scan.scale = (1.0, 1.0, 1.0)
    assert standing(crown) == OUT_OF_DATE
    assert crown.scan.cuspwise.state_reason == "The scan's scale was changed."


def test_an_applied_scale_is_taken_at_its_word(crown: SimpleNamespace) -> None:
    from mathutils import Matrix

    crown.scan.data.transform(Matrix.Scale(1000.0, 4))
    crown.scan.scale = (0.001,) * 3
    crown.bpy.context.view_layer.update()
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert standing(crown)[1] == "not decidable"
    bpy = crown.bpy
    bpy.ops.object.select_all(action="DESELECT")
    crown.settings.shown = "SCAN"
    crown.scan.select_set(True)
    bpy.context.view_layer.objects.active = crown.scan
    bpy.ops.object.transform_apply(location=False, rotation=False, scale=True)
    assert standing(crown) == OUT_OF_DATE
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert standing(crown) == OUTSIDE
