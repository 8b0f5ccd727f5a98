"""The study's maps, shown on the design."""

from __future__ import annotations

import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call
from studies import SAME_UM, core_run, edit_design, kept, opened, out_of_date


def attributes(case: SimpleNamespace) -> dict[str, np.ndarray]:
    read = case.part("addon.blender.bridge").read_attribute
    names = [a.name for a in case.design.data.attributes if a.name.startswith("study ")]
    return {name: read(case.design.data, name) for name in names}


def colours(obj: Any) -> np.ndarray:
    layer = obj.data.color_attributes["Cuspwise Colours"]
    flat = np.empty(4 * len(layer.data), dtype=np.float32)
    layer.data.foreach_get("color_srgb", flat)
    return np.rint(255 * flat.reshape(-1, 4)[:, :3]).astype(np.uint8)


def test_maps_are_the_cores_at_the_vertices(studied: SimpleNamespace) -> None:
    run = core_run(studied, studied.folder / "study.toml", studied.folder / "study_results")
    assert run.reused == 6 + 6
    found = run.maps["Printed – tilted"]
    own = len(studied.design.data.vertices)
    assert len(found.mean_um) > own
    studied.settings.study.map_group = "Printed – tilted"
    shown = {
        "mean": ("study mean_mm: Printed – tilted", found.mean_um / 1e3),
        "sd": ("study sd_mm: Printed – tilted", found.sd_um / 1e3),
        "worst": ("study worst_mm: Printed – tilted", found.worst_um / 1e3),
        "share": ("study share: Printed – tilted", found.share_outside),
    }
    for kind, (name, values) in shown.items():
        studied.settings.study.map_kind = kind
        assert call(studied, "show_group_map") == {"FINISHED"}
        written = attributes(studied)
        assert list(written) == [name]
        assert written[name] == pytest.approx(values[:own], abs=SAME_UM / 1e3, nan_ok=True)


def test_colours_and_legend_follow_the_choices(studied: SimpleNamespace) -> None:
    part, settings = studied.part, studied.settings
    legend = part("addon.study.group_map").legend_of
    palette = part("standalone_core.report.drawing.deviation_colours")
    assert call(studied, "show_group_map") == {"FINISHED"}
    ((name, values),) = attributes(studied).items()
    limit = settings.shown_limit_um
    expected = palette.deviation_colours(values, limit / 1e3)
    assert np.array_equal(colours(studied.design), expected)
    found, heads = legend(studied.scene)
    assert heads == ("Mean of the group, µm", "Milled")
    assert found.limit_um == limit
    assert "±25 µm" in found.tolerance_text
    settings.limit_is_automatic = False
    settings.limit_um = 12.0
    assert legend(studied.scene)[0].limit_um == 12.0
    settings.palette = "grey"
    expected = palette.deviation_colours(values, 0.012, "grey")
    assert np.array_equal(colours(studied.design), expected)
    settings.study.map_kind = "share"
    found, heads = legend(studied.scene)
    assert heads[0] == "Crowns out of tolerance"
    assert [tick.text for tick in found.ticks] == ["0 %", "25 %", "50 %", "75 %", "100 %"]
    settings.study.map_kind = "sd"
    found, _ = legend(studied.scene)
    assert found.ticks[0].text == "0"
    assert "above 12 µm" in found.clipped_text
    assert name not in attributes(studied)


def test_a_difference_is_coloured_where_it_is_significant(studied: SimpleNamespace) -> None:
    settings = studied.settings
    settings.study.map_kind = "difference"
    assert call(studied, "show_group_map") == {"FINISHED"}
    title = "Printed – tilted minus Milled"
    written = attributes(studied)
    assert set(written) == {f"study difference_mm: {title}"[:60], f"study q: {title}"[:60]}
    difference, q = written[f"study difference_mm: {title}"[:60]], written[f"study q: {title}"[:60]]
    told = np.where(np.isfinite(difference), np.where(q <= 0.05, difference, 0.0), np.nan)
    expected = studied.part("standalone_core.report.drawing.deviation_colours").deviation_colours(
        told, settings.shown_limit_um / 1e3
    )
    assert np.array_equal(colours(studied.design), expected)
    assert "does not say that they differ there" in kept(studied)["caveat"]


def test_long_names_of_groups_in_any_script(listed: SimpleNamespace) -> None:
    """Attributes hold 67 bytes of a name, legends two lines of it."""
    for item in listed.settings.scans:
        item.group = f"{item.group}: 歯科用ジルコニア・ブロックから削り出した冠、焼結後に研磨"
    listed.settings.scans.remove(0)
    assert call(listed, "run_study") == {"FINISHED"}
    assert call(listed, "show_group_map") == {"FINISHED"}
    case = SimpleNamespace(**vars(listed), design=listed.settings.design)
    ((name, values),) = attributes(case).items()
    assert len(name.encode()) <= 60
    assert np.isfinite(values).any()
    assert len(listed.part("addon.study.group_map").legend_of(listed.scene)[1]) <= 3


def test_removing_brings_everything_back(studied: SimpleNamespace) -> None:
    bpy = studied.bpy
    scans = [item.scan for item in studied.settings.scans]
    assert [scan.hide_get() for scan in scans].count(False) == 1  # since the study
    assert call(studied, "remove_colour_map") == {"FINISHED"}
    assert not any(scan.hide_get() for scan in scans)
    material = bpy.data.materials.new("Keramik")
    studied.design.data.materials.append(material)
    hidden = scans[2]
    hidden.hide_set(True)
    names = {a.name for a in studied.design.data.attributes}
    transform = studied.scene.view_settings.view_transform
    assert call(studied, "show_group_map") == {"FINISHED"}
    assert all(item.scan.hide_get() for item in studied.settings.scans)
    assert not studied.design.hide_get()
    assert studied.scene.view_settings.view_transform == "Standard"
    assert out_of_date(studied) == ""
    assert call(studied, "remove_colour_map") == {"FINISHED"}
    assert [item.scan.hide_get() for item in studied.settings.scans].count(True) == 1
    assert hidden.hide_get()
    assert studied.design.material_slots[0].material == material
    assert {a.name for a in studied.design.data.attributes} == names
    assert studied.scene.view_settings.view_transform == transform
    assert studied.settings.study.shown is False


def test_the_map_gives_way_to_a_checked_crown(studied: SimpleNamespace) -> None:
    assert call(studied, "show_group_map") == {"FINISHED"}
    assert call(studied, "check_crown") == {"FINISHED"}
    assert studied.settings.study.shown is False
    assert not studied.scan.hide_get()
    assert attributes(studied) == {}
    assert call(studied, "show_group_map") == {"FINISHED"}
    with pytest.raises(RuntimeError, match="A group's map is shown"):
        call(studied, "read_value", location=(0, 0, 9))
    assert call(studied, "show_colour_map") == {"FINISHED"}
    assert studied.settings.study.shown is False


def test_a_map_of_a_changed_design_says_so(studied: SimpleNamespace) -> None:
    """Vertices that moved are not measured points any more: grey, not wrong."""
    edit_design(studied)
    assert call(studied, "show_group_map") == {"FINISHED"}
    ((_, values),) = attributes(studied).items()
    assert np.isnan(values[3])
    assert np.isfinite(values).sum() > 0.9 * len(values)
    assert out_of_date(studied) == "The design's mesh was changed."


def test_nothing_of_it_stays_when_the_folder_goes(studied: SimpleNamespace, tmp_path: Path) -> None:
    """Numbers and maps live in the .blend; only the report needs the folder."""
    copy = tmp_path / "Studie.blend"
    shutil.copy(studied.path, copy)
    again = opened(studied.part, copy)
    assert call(again, "copy_study_table") == {"FINISHED"}
    assert call(again, "show_group_map") == {"FINISHED"}
