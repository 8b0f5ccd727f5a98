"""Every operator: what it explains, what it asks for and what it refuses."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call

NEED_DESIGN = ("check_crown", "superimpose", "measure_deviation", "find_areas")
NEED_SCAN = (
    "pick_landmarks",
    "remove_landmarks",
    "check_crown",
    "superimpose",
    "measure_deviation",
    "restore_position",
)
NEED_RESULT = (
    "read_value",
    "show_colour_map",
    "frame_patch",
    "copy_table",
    "export_report",
    "write_report",
)

SMALL_WORDS = ("and", "as", "from", "on", "or", "the", "to")


# Asking ---------------------------------------------------------------------------------------


def test_every_operator_explains_itself(extension: SimpleNamespace) -> None:
    import bpy

    for cls in extension.part("addon.operators").CLASSES:
        _, _, name = cls.bl_idname.partition(".")
        shown = getattr(bpy.ops.cuspwise, name).get_rna_type()
        assert len(shown.description) > 20, cls
        for word in shown.name.split():
            assert word[0].isupper() or word in SMALL_WORDS, shown.name
        for option in shown.properties:
            assert option.identifier == "rna_type" or is_explained(option), (cls, option)


def test_every_choice_explains_itself(extension: SimpleNamespace) -> None:
    """In the scene, on objects, in lists, in the preferences, and each item of an enumeration."""
    groups = [
        *extension.part("addon.properties.registration").CLASSES,
        extension.part("addon.properties.preferences").CuspwisePreferences,
    ]
    for group in groups:
        names = [name for base in group.__mro__ for name in vars(base).get("__annotations__", ())]
        assert names
        for name in names:
            assert is_explained(group.bl_rna.properties[name]), (group, name)


def is_explained(shown: Any) -> bool:
    """Whether a control that can be seen has a tooltip, and so has all there is to choose in it."""
    if shown.is_hidden:
        return True
    items = list(shown.enum_items) if shown.type == "ENUM" else []
    return len(shown.description) > 15 and all(len(item.description) > 10 for item in items)


@pytest.mark.parametrize("name", NEED_DESIGN)
def test_asks_for_a_design(empty: SimpleNamespace, name: str) -> None:
    with pytest.raises(RuntimeError, match="Choose the design first"):
        call(empty, name)


@pytest.mark.parametrize("name", NEED_SCAN)
def test_asks_for_a_scan(crown: SimpleNamespace, name: str) -> None:
    crown.settings.scans.clear()
    with pytest.raises(RuntimeError, match="Import or add a scan first"):
        call(crown, name)
    crown.settings.scans.add()
    with pytest.raises(RuntimeError, match="still is in the scene"):
        call(crown, name)


@pytest.mark.parametrize("name", NEED_RESULT)
def test_asks_for_a_result(crown: SimpleNamespace, name: str) -> None:
    with pytest.raises(RuntimeError, match="Check the scan first"):
        call(crown, name)


def test_asks_for_two_objects(crown: SimpleNamespace) -> None:
    crown.settings.design = crown.scan
    with pytest.raises(RuntimeError, match="the same object"):
        call(crown, "check_crown")


def test_asks_to_leave_edit_mode(crown: SimpleNamespace) -> None:
    crown.bpy.context.view_layer.objects.active = crown.scan
    crown.bpy.ops.object.mode_set(mode="EDIT")
    with pytest.raises(RuntimeError, match="Leave Edit Mode of Scan"):
        call(crown, "check_crown")
    crown.bpy.ops.object.mode_set(mode="OBJECT")


def test_says_that_the_design_was_deleted(crown: SimpleNamespace) -> None:
    crown.bpy.ops.object.select_all(action="DESELECT")
    crown.design.select_set(True)
    crown.bpy.ops.object.delete()
    with pytest.raises(RuntimeError, match="design was deleted"):
        call(crown, "check_crown")


def test_nothing_selected_to_add(crown: SimpleNamespace) -> None:
    crown.bpy.ops.object.select_all(action="DESELECT")
    with pytest.raises(RuntimeError, match="Select mesh objects"):
        call(crown, "add_scans")


def test_asks_to_wait_for_a_job(crown: SimpleNamespace) -> None:
    job = crown.bpy.context.window_manager.cuspwise_job
    job.running = True
    try:
        with pytest.raises(RuntimeError, match="Wait for the job"):
            call(crown, "check_crown")
    finally:
        job.running = False


# Refusing -------------------------------------------------------------------------------------


def _modifier(case: SimpleNamespace) -> None:
    case.scan.modifiers.new("Subdivision", "SUBSURF")


def _shape_key(case: SimpleNamespace) -> None:
    case.scan.shape_key_add(name="Basis")
    key = case.scan.shape_key_add(name="Higher")
    key.data[0].co.z += 1.0
    key.value = 1.0


def _no_faces(case: SimpleNamespace) -> None:
    case.scan.data.clear_geometry()


def _not_finite(case: SimpleNamespace) -> None:
    case.scan.data.vertices[0].co.x = float("nan")


def _flat(case: SimpleNamespace) -> None:
    case.design.scale.z = 0.0


def _enormous(case: SimpleNamespace) -> None:
    case.design.scale = (100.0, 100.0, 100.0)


def _curve(case: SimpleNamespace) -> None:
    curve = case.bpy.data.curves.new("curve", "CURVE")
    case.settings.scans[0].scan = case.bpy.data.objects.new("Curve", curve)
    case.scene.collection.objects.link(case.settings.scans[0].scan)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_modifier, "Subdivision.*Apply that"),
        (_shape_key, "shape keys.*Apply that"),
        (_no_faces, "Scan: It has no faces"),
        (_not_finite, "not finite.*Delete those"),
        (_flat, "scale is zero"),
        (_enormous, "Choose the length of a unit"),
        (_curve, "Curve: It is not a mesh"),
    ],
)
@pytest.mark.parametrize("name", ["check_crown", "superimpose", "measure_deviation"])
def test_refuses(crown: SimpleNamespace, name: str, spoil: Any, words: str) -> None:
    """What cannot be measured is named, with what to do; nothing has changed."""
    spoil(crown)
    crown.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match=words):
        call(crown, name)
    assert crown.scan.cuspwise.state == "NONE"
    assert not crown.design.vertex_groups
    assert not crown.scan.cuspwise.pose_before


def test_a_modifier_that_moves_nothing_is_let_through(crown: SimpleNamespace) -> None:
    crown.scan.modifiers.new("Weighted Normal", "WEIGHTED_NORMAL")
    hidden = crown.scan.modifiers.new("Subdivision", "SUBSURF")
    hidden.show_viewport = False
    assert call(crown, "superimpose") == {"FINISHED"}


def test_refuses_a_linked_object(
    crown: SimpleNamespace, tmp_path: Path, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    bpy = crown.bpy
    path = tmp_path / "library.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(path), link=True) as (_source, target):
        target.objects = ["Scan"]
    linked = target.objects[0]
    scene = bpy.context.scene
    scene.collection.objects.link(linked)
    scene.cuspwise.design = extension.add_object("Design", surfaces.design)
    scene.cuspwise.scans.add().scan = linked
    with pytest.raises(RuntimeError, match=r"linked from another file.*Make it local"):
        bpy.ops.cuspwise.check_crown()


def test_refuses_to_move_what_is_held(crown: SimpleNamespace) -> None:
    target = crown.bpy.data.objects.new("target", None)
    crown.scene.collection.objects.link(target)
    crown.scan.constraints.new("COPY_LOCATION").target = target
    crown.bpy.context.view_layer.update()
    place = crown.scan.matrix_world.copy()
    with pytest.raises(RuntimeError, match="a constraint, driver or parent holds it"):
        call(crown, "check_crown")
    assert crown.scan.matrix_world == place
    assert crown.scan.cuspwise.state == "NONE"


def test_a_scan_that_something_holds_is_refused_before_it_is_laid(
    crown: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not after the fit; and the trial leaves it where it was, to the last bit."""
    inputs = crown.part("addon.check.inputs")
    for name in ("check_input_steps", "superimpose_input_steps"):
        monkeypatch.setattr(inputs, name, lambda *_given: pytest.fail("it was computed"))
    target = crown.bpy.data.objects.new("Held by", None)
    crown.scene.collection.objects.link(target)
    holds = crown.scan.constraints.new("COPY_ROTATION")
    holds.target = target
    crown.scan.location = (0.1, 0.2, 0.3)
    crown.bpy.context.view_layer.update()
    before = [list(row) for row in crown.scan.matrix_basis]
    for name in ("check_crown", "superimpose"):
        with pytest.raises(RuntimeError, match="a constraint, driver or parent holds it"):
            call(crown, name)
    call(crown, "check_all")
    assert "constraint" in crown.scan.cuspwise.problem
    assert [list(row) for row in crown.scan.matrix_basis] == before
    assert crown.scan.cuspwise.state == "NONE"


def test_a_scan_with_a_parent_that_holds_nothing_is_laid(crown: SimpleNamespace) -> None:
    parent = crown.bpy.data.objects.new("Tray", None)
    crown.scene.collection.objects.link(parent)
    parent.location, parent.rotation_euler = (5.0, 0.0, 0.0), (0.0, 0.5, 0.0)
    crown.scan.parent = parent
    crown.bpy.context.view_layer.update()
    before = crown.scan.matrix_basis.copy()
    crown.part("addon.blender.frames").refuse_held(crown.scan, crown.bpy.context.view_layer)
    assert crown.scan.matrix_basis == before
    assert call(crown, "superimpose") == {"FINISHED"}
