"""Results stay with their object and are called out of date once they no longer belong to it."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest


def whole(case: SimpleNamespace, scan: Any) -> dict[str, Any]:
    store = case.part("addon.check.store")
    row = store.rows_of(store.result_of(scan))[0]
    peak = dict(zip("xyz", row.pop("peak_mm"), strict=True))
    return {**row, **peak}


def state(case: SimpleNamespace, scan: Any | None = None) -> str:
    """State after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    return str((scan or case.scan).cuspwise.state)


def reopened(case: SimpleNamespace, path: Path) -> SimpleNamespace:
    case.bpy.ops.wm.save_as_mainfile(filepath=str(path))
    case.bpy.ops.wm.open_mainfile(filepath=str(path))
    data = case.bpy.data.objects
    return SimpleNamespace(bpy=case.bpy, part=case.part, scene=case.bpy.context.scene, objects=data)


def test_a_saved_file_holds_everything(checked: SimpleNamespace) -> None:
    assert checked.scan.cuspwise.state == "CURRENT"
    assert checked.scan.cuspwise.design == checked.design
    assert checked.part("addon.check.store").refresh(checked.scan, checked.scene, with_areas=True)
    document = json.loads(checked.scan.cuspwise.result)["check"]
    assert document["schema"] == "cuspwise check"
    points = checked.scan.cuspwise.result_points
    assert len(points.vertices) >= len(checked.design.data.vertices)
    assert whole(checked, checked.scan)["verdict"] in ("within", "outside")


def test_renaming_changes_nothing(checked: SimpleNamespace, tmp_path: Path) -> None:
    before = whole(checked, checked.scan)
    checked.scan.name, checked.design.name = "Krone Nr. 3", "Entwurf – größer"
    checked.scan.data.name = "mesh 3"
    assert state(checked) == "CURRENT"
    again = reopened(checked, tmp_path / "Datei ü.blend")
    scan = again.objects["Krone Nr. 3"]
    assert state(again, scan) == "CURRENT"
    assert scan.cuspwise.design == again.objects["Entwurf – größer"]
    assert whole(again, scan) == pytest.approx(before, nan_ok=True)


def test_a_copy_keeps_the_results_and_its_own_state(checked: SimpleNamespace) -> None:
    bpy = checked.bpy
    bpy.ops.object.select_all(action="DESELECT")
    checked.scan.select_set(True)
    bpy.context.view_layer.objects.active = checked.scan
    bpy.ops.object.duplicate()
    copy = bpy.context.active_object
    assert copy != checked.scan
    assert bpy.ops.cuspwise.add_scans() == {"FINISHED"}
    assert state(checked, copy) == "CURRENT"
    copy.location.z += 0.1
    assert state(checked, copy) == "OUT_OF_DATE"
    assert state(checked, checked.scan) == "CURRENT"
    # Measured anew, the copy leaves the original's attributes alone.
    name = f"deviation_mm {checked.scan.cuspwise.result_id}"
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert copy.cuspwise.result_id != checked.scan.cuspwise.result_id
    assert name in checked.design.data.attributes
    assert name in checked.scan.data.attributes


def test_appended_results_come_along(checked: SimpleNamespace, tmp_path: Path) -> None:
    bpy = checked.bpy
    before = whole(checked, checked.scan)
    path = tmp_path / "source.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(path), link=False) as (_source, target):
        target.objects = ["Scan", "Design"]
    for obj in target.objects:
        bpy.context.scene.collection.objects.link(obj)
    scan = bpy.data.objects["Scan"]
    bpy.context.scene.cuspwise.design = bpy.data.objects["Design"]
    scan.select_set(True)
    assert bpy.ops.cuspwise.add_scans() == {"FINISHED"}
    # What is shown beside it is what it was measured with, or that is said.
    assert scan.cuspwise.state_reason == "It was measured with other settings: spacing."
    bpy.context.scene.cuspwise.spacing_mm = 0.4
    assert scan.cuspwise.state == "CURRENT"
    assert whole(checked, scan) == pytest.approx(before, nan_ok=True)


def _move_scan(case: SimpleNamespace) -> None:
    case.scan.location.x += 0.001


def _move_design(case: SimpleNamespace) -> None:
    case.design.rotation_euler.z += 0.01


def _scale_design(case: SimpleNamespace) -> None:
    case.design.scale *= 1.001


def _edit_hidden_design(case: SimpleNamespace) -> None:
    assert case.design.hide_get()
    case.design.data.vertices[3].co.x += 0.002
    case.design.data.update()


def _edit_scan(case: SimpleNamespace) -> None:
    case.scan.data.vertices[3].co.x += 0.002
    case.scan.data.update()


def _edit_design(case: SimpleNamespace) -> None:
    bpy = case.bpy
    case.settings.shown = "DESIGN"  # hidden objects can be neither edited nor selected
    bpy.ops.object.select_all(action="DESELECT")
    bpy.context.view_layer.objects.active = case.design
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    bpy.ops.mesh.flip_normals()
    bpy.ops.object.mode_set(mode="OBJECT")


def _delete_design(case: SimpleNamespace) -> None:
    case.settings.shown = "DESIGN"
    case.bpy.ops.object.select_all(action="DESELECT")
    case.design.select_set(True)
    case.bpy.ops.object.delete()
    case.scan.data.update()


def _change_unit(case: SimpleNamespace) -> None:
    case.settings.unit = "cm"
    case.scan.data.update()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_move_scan, "moved"),
        (_move_design, "moved"),
        (_scale_design, "scale"),
        (_edit_scan, "scan's mesh"),
        (_edit_design, "design's mesh"),
        (_edit_hidden_design, "design's mesh"),
        (_delete_design, "not in this scene"),
        (_change_unit, "unit"),
    ],
)
def test_changes_make_results_out_of_date(
    checked: SimpleNamespace, change: Any, words: str
) -> None:
    change(checked)
    assert state(checked) == "OUT_OF_DATE"
    assert words in checked.scan.cuspwise.state_reason


def test_moving_both_together_does_not(checked: SimpleNamespace) -> None:
    from mathutils import Euler, Matrix

    motion = Matrix.Translation((30.0, -20.0, 5.0)) @ Euler((0.5, 1.0, -2.0)).to_matrix().to_4x4()
    for obj in (checked.scan, checked.design):
        obj.matrix_world = motion @ obj.matrix_world
    assert state(checked) == "CURRENT"


def test_moving_back_makes_current_again(checked: SimpleNamespace) -> None:
    place = checked.scan.matrix_basis.copy()
    _move_scan(checked)
    assert state(checked) == "OUT_OF_DATE"
    checked.scan.matrix_basis = place
    assert state(checked) == "CURRENT"


def test_looking_into_edit_mode_does_not(checked: SimpleNamespace) -> None:
    checked.bpy.context.view_layer.objects.active = checked.scan
    checked.bpy.ops.object.mode_set(mode="EDIT")
    assert state(checked) == "CURRENT"
    checked.bpy.ops.object.mode_set(mode="OBJECT")
    assert state(checked) == "CURRENT"


def test_selecting_hiding_and_recolouring_do_not(checked: SimpleNamespace) -> None:
    checked.scan.select_set(False)
    checked.scan.hide_set(True)
    checked.settings.limit_is_automatic = False
    checked.settings.limit_um = 33.0
    checked.bpy.ops.cuspwise.remove_colour_map()
    assert state(checked) == "CURRENT"


def test_edited_areas_make_results_out_of_date(checked: SimpleNamespace) -> None:
    store = checked.part("addon.check.store")
    group = checked.design.vertex_groups["Area: occlusal"]
    assert store.refresh(checked.scan, checked.scene, with_areas=True)
    group.add([0, 1, 2], 1.0, "REPLACE")
    assert not store.refresh(checked.scan, checked.scene, with_areas=True)
    assert checked.scan.cuspwise.state_reason == "The areas were edited."


def shading(bpy: Any) -> list[str]:
    """What the views take their colours from in solid mode."""
    return [
        area.spaces.active.shading.color_type
        for screen in bpy.data.screens
        for area in screen.areas
        if area.type == "VIEW_3D"
    ]


def test_undo_and_redo(crown: SimpleNamespace) -> None:
    """One click back undoes a check as a whole; one forward brings it again."""
    bpy = crown.bpy
    bpy.ops.ed.undo_push(message="before")
    place, shaded = crown.scan.matrix_world.copy(), shading(bpy)
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    bpy.ops.ed.undo_push(message="Check Crown")
    bpy.ops.ed.undo()
    scan = bpy.data.objects["Scan"]
    assert scan.cuspwise.state == "NONE"
    assert not scan.cuspwise.result
    assert scan.matrix_world == place
    assert shading(bpy) == shaded
    assert bpy.context.scene.view_settings.view_transform == "AgX"
    assert not scan.data.color_attributes
    assert not bpy.data.objects["Design"].vertex_groups
    bpy.ops.ed.redo()
    scan = bpy.data.objects["Scan"]
    assert scan.cuspwise.state == "CURRENT"
    assert set(shading(bpy)) == {"VERTEX"}
    assert scan.cuspwise.result
    assert f"deviation_mm {scan.cuspwise.result_id}" in scan.data.attributes
    assert bpy.data.objects["Design"].vertex_groups
    assert bpy.ops.cuspwise.remove_colour_map() == {"FINISHED"}
    assert shading(bpy) == shaded


def test_a_result_of_another_version_is_out_of_date(checked: SimpleNamespace) -> None:
    store = checked.part("addon.check.store")
    checked.scan.cuspwise.result = json.dumps({"version": 99})
    assert not store.refresh(checked.scan, checked.scene)
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"
    with pytest.raises(RuntimeError, match="another version"):
        checked.bpy.ops.cuspwise.copy_table()
