"""What a study asks for and refuses, and what it says before it runs."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest
from calls import call
from studies import kept


@pytest.mark.parametrize("name", ["copy_study_table", "show_group_map", "open_study_report"])
def test_asks_for_a_study(listed: SimpleNamespace, name: str) -> None:
    with pytest.raises(RuntimeError, match="Run the study first"):
        call(listed, name)


def test_asks_for_a_design(listed: SimpleNamespace) -> None:
    listed.settings.design = None
    with pytest.raises(RuntimeError, match="Choose the design first"):
        call(listed, "run_study")


def test_asks_for_groups(listed: SimpleNamespace) -> None:
    for item in listed.settings.scans:
        item.group = "  "
    with pytest.raises(RuntimeError, match="a group each"):
        call(listed, "run_study")


def test_asks_to_save_or_choose_a_folder(listed: SimpleNamespace) -> None:
    for folder in ("", "//beside"):
        listed.settings.study.folder = folder
        with pytest.raises(RuntimeError, match=r"Save the \.blend, or choose a folder"):
            call(listed, "run_study")


def test_refuses_a_folder_that_holds_other_files(listed: SimpleNamespace) -> None:
    listed.folder.mkdir()
    own = listed.folder / "design.ply"
    own.write_text("mine")
    with pytest.raises(RuntimeError, match="It holds other files"):
        call(listed, "run_study")
    assert [file.name for file in listed.folder.iterdir()] == ["design.ply"]
    assert own.read_text() == "mine"
    assert kept(listed) is None


def test_refuses_a_folder_that_cannot_be_made(listed: SimpleNamespace, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    listed.settings.study.folder = str(tmp_path / "a file" / "study")
    with pytest.raises(RuntimeError, match="cannot be made"):
        call(listed, "run_study")


def test_every_choice_explains_itself(extension: SimpleNamespace) -> None:
    group = extension.part("addon.properties.study_choices").StudySettings
    for name in group.__annotations__:
        shown = group.bl_rna.properties[name]
        assert shown.is_hidden or len(shown.description) > 15, name


def test_says_who_takes_part_and_what_it_cannot_tell(listed: SimpleNamespace) -> None:
    scene = listed.part("addon.study.study_scene")
    lines = scene.listing_lines(scene.listing_of(listed.scene))
    assert lines == ("4 crowns: 2 in Milled, 2 in Printed – tilted.",)
    for item in list(listed.settings.scans)[1:]:
        item.group = ""
    listed.settings.scans[0].group = " milled "
    lines = scene.listing_lines(scene.listing_of(listed.scene))
    assert lines[0] == "1 crown: 1 in milled."
    assert "3 scans have no group" in lines[1]
    assert "nothing to compare" in lines[2]
    assert "nothing about spread" in lines[3]


def test_a_scaled_scan_is_left_out_with_the_remedy(listed: SimpleNamespace) -> None:
    """Its numbers would be its scale's; and the study counts in words of its own."""
    scaled = listed.settings.scans[0].scan
    scaled.scale = (1.01, 1.01, 1.01)
    listed.bpy.context.view_layer.update()
    part = listed.part("addon.study.export")
    read = listed.part("standalone_core.progress").run(part.read_steps(listed.bpy.context))
    assert [entry.scan for entry in read.entries] == [
        item.scan for item in listed.settings.scans[1:]
    ]
    (row,) = read.unreadable
    assert row["name"] == scaled.name
    assert "another scale than the design's (1.01 against 1)" in row["reason"]
    assert "Ctrl A" in row["remedy"]


def test_one_scan_takes_and_two_take_no_part(listed: SimpleNamespace) -> None:
    scene = listed.part("addon.study.study_scene")
    scans = listed.settings.scans
    scans[0].group = ""
    said = scene.listing_lines(scene.listing_of(listed.scene))
    assert "1 scan has no group and takes no part." in said
    scans[1].group = ""
    said = scene.listing_lines(scene.listing_of(listed.scene))
    assert "2 scans have no group and take no part." in said
