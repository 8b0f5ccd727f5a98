"""The study kept with the file, and what makes it out of date."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call
from studies import edit_design, kept, opened, out_of_date


def test_a_saved_file_holds_everything(studied: SimpleNamespace, tmp_path: Path) -> None:
    before = kept(studied)
    assert out_of_date(studied) == ""
    for item in studied.settings.scans:
        item.scan.name = f"neu {item.scan.name}"
    studied.design.name = studied.design.data.name = "Entwurf – größer"
    again_path = tmp_path / "anderswo.blend"
    studied.bpy.ops.wm.save_as_mainfile(filepath=str(again_path))
    again = opened(studied.part, again_path)
    assert kept(again) == before
    assert out_of_date(again) == ""
    assert again.part("addon.study.study_store").refresh(again.scene) == ""
    assert call(again, "show_group_map") == {"FINISHED"}


def test_undo_brings_the_study_before_back(studied: SimpleNamespace) -> None:
    bpy, before = studied.bpy, studied.design.cuspwise.study
    bpy.ops.ed.undo_push(message="before")
    studied.settings.scans[0].group = ""
    bpy.ops.ed.undo_push(message="group")
    assert call(studied, "run_study") == {"FINISHED"}
    bpy.ops.ed.undo_push(message="run")
    assert studied.design.cuspwise.study != before
    bpy.ops.ed.undo()
    bpy.ops.ed.undo()
    scene = bpy.context.scene
    assert scene.cuspwise.design.cuspwise.study == before
    again = SimpleNamespace(bpy=bpy, part=studied.part, scene=scene)
    assert out_of_date(again) == ""
    assert call(again, "show_group_map") == {"FINISHED"}


def test_appended_with_its_design(studied: SimpleNamespace) -> None:
    bpy, before = studied.bpy, kept(studied)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(studied.path), link=False) as (_source, target):
        target.objects = ["Design"]
    scene = bpy.context.scene
    scene.collection.objects.link(target.objects[0])
    scene.cuspwise.design = target.objects[0]
    again = SimpleNamespace(bpy=bpy, part=studied.part, scene=scene)
    assert kept(again) == before
    assert "no longer in the list" in out_of_date(again)
    assert call(again, "show_group_map") == {"FINISHED"}


def test_another_version_is_not_read(studied: SimpleNamespace) -> None:
    document = json.loads(studied.design.cuspwise.study)
    studied.design.cuspwise.study = json.dumps({**document, "version": 99})
    assert kept(studied) is None
    with pytest.raises(RuntimeError, match="another version"):
        call(studied, "copy_study_table")


def _edit_scan(case: SimpleNamespace) -> None:
    case.scan.data.vertices[3].co.x += 0.002
    case.scan.data.update()


def _scale_scan(case: SimpleNamespace) -> None:
    case.scan.scale *= 1.001


def _scale_design(case: SimpleNamespace) -> None:
    case.design.scale *= 1.001


def _other_group(case: SimpleNamespace) -> None:
    case.settings.scans[0].group = "Printed – tilted"


def _no_group(case: SimpleNamespace) -> None:
    case.settings.scans[0].group = ""


def _remove_from_list(case: SimpleNamespace) -> None:
    case.settings.scans.remove(0)


def _delete(case: SimpleNamespace) -> None:
    case.bpy.data.objects.remove(case.scan)


def _add(case: SimpleNamespace) -> None:
    copy = case.scan.copy()
    case.scene.collection.objects.link(copy)
    item = case.settings.scans.add()
    item.scan, item.group = copy, "Milled"


def _tolerance(case: SimpleNamespace) -> None:
    case.settings.tolerance_whole_um = 99.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_edit_scan, "its mesh was changed"),
        (edit_design, "design's mesh was changed"),
        (_scale_scan, "its scale was changed"),
        (_scale_design, "design's scale"),
        (_other_group, "in another group now"),
        (_no_group, "no longer in the list with a group"),
        (_remove_from_list, "no longer in the list"),
        (_delete, "no longer in the list"),
        (_add, "not in the study yet"),
        (_tolerance, "tolerances"),
    ],
)
def test_changes_make_it_out_of_date(studied: SimpleNamespace, change: Any, words: str) -> None:
    assert out_of_date(studied) == ""
    change(studied)
    assert words in out_of_date(studied)


def test_edited_areas_are_noticed_where_it_counts(studied: SimpleNamespace) -> None:
    group = studied.design.vertex_groups.new(name="Area: mine")
    group.add([0, 1, 2], 1.0, "REPLACE")
    assert "areas" in studied.part("addon.study.study_store").refresh(studied.scene)


def test_comparisons_are_said_in_a_line(studied: SimpleNamespace) -> None:
    lines = studied.part("addon.study.summary").comparison_lines
    (true, words), (precise, _) = lines(kept(studied), "margin", "mean_abs_um")
    assert (true, precise) == ("Trueness", "Precision")
    assert words.startswith("Printed – tilted minus Milled: ")
    assert " to " in words
    assert "µm)" in words
