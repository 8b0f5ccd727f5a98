"""A map is seen alone, and all that was hidden or shown for it comes back as it was."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from calls import call
from test_window_parts import Layout


@pytest.fixture
def three(checked: SimpleNamespace) -> SimpleNamespace:
    """A tray whose scans lie in one place: two measured ones, and one that is not."""
    others = {}
    for name in ("Second", "Raw"):
        obj = checked.scan.copy()
        obj.name, obj.data = name, checked.scan.data.copy()
        checked.scene.collection.objects.link(obj)
        others[name] = obj
        checked.settings.scans.add().scan = obj
    others["Raw"].cuspwise.result = others["Raw"].cuspwise.result_id = ""
    others["Raw"].cuspwise.result_points = None
    others["Raw"].cuspwise.state = "NONE"
    return SimpleNamespace(**vars(checked), second=others["Second"], raw=others["Raw"])


def seen(case: SimpleNamespace) -> list[str]:
    """Names of the meshes that are seen."""
    objects = case.bpy.context.scene.objects
    return sorted(o.name for o in objects if o.type == "MESH" and not o.hide_get())


def show(case: SimpleNamespace) -> None:
    """The map of the first scan, as after pressing the button."""
    case.part("addon.drawing.colour_map").show(case.bpy.context)


def test_the_others_are_hidden_and_come_back(three: SimpleNamespace) -> None:
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Scan", "Second"]
    three.second.hide_set(True)
    assert call(three, "show_colour_map") == {"FINISHED"}
    assert seen(three) == ["Scan"]
    for shown, names in (("DESIGN", ["Design"]), ("BOTH", ["Design", "Scan"]), ("SCAN", ["Scan"])):
        three.settings.shown = shown
        assert seen(three) == names
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Scan"]


def test_another_scan_takes_the_place_of_the_first(three: SimpleNamespace) -> None:
    three.raw.hide_set(True)
    show(three)
    three.settings.scan_index = 1
    assert seen(three) == ["Second"]
    three.settings.scan_index = 0
    assert seen(three) == ["Scan"]
    # Nothing is coloured for one that was not measured: nothing is hidden either.
    three.settings.scan_index = 2
    assert seen(three) == ["Design", "Scan", "Second"]
    three.settings.scan_index = 1
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Scan", "Second"]


def test_what_was_done_by_hand_meanwhile_stays(three: SimpleNamespace) -> None:
    show(three)
    three.second.hide_set(False)  # shown beside the map
    three.scan.hide_set(True)  # the map itself hidden
    three.settings.palette = "strong"
    three.settings.limit_is_automatic = False
    assert seen(three) == ["Second"]
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Second"]


def test_a_map_that_is_asked_for_anew_is_seen_alone(three: SimpleNamespace) -> None:
    show(three)
    three.second.hide_set(False)
    three.scan.hide_set(True)
    show(three)
    assert seen(three) == ["Scan"]
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Second"]  # the scan was hidden by hand


def test_it_outlives_saving_and_renaming(three: SimpleNamespace, tmp_path: Path) -> None:
    three.raw.hide_set(True)
    show(three)
    three.second.name = "Krone 2"
    path = str(tmp_path / "tray.blend")
    three.bpy.ops.wm.save_as_mainfile(filepath=path)
    three.bpy.ops.wm.open_mainfile(filepath=path)
    assert seen(three) == ["Scan"]
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Krone 2", "Scan"]


def test_undo_and_redo_take_it_along(three: SimpleNamespace) -> None:
    bpy = three.bpy
    assert call(three, "remove_colour_map") == {"FINISHED"}
    three.raw.hide_set(True)
    bpy.context.view_layer.update()
    bpy.ops.ed.undo_push(message="before")
    assert call(three, "show_colour_map") == {"FINISHED"}
    bpy.ops.ed.undo_push(message="shown")
    bpy.ops.ed.undo()
    assert seen(three) == ["Design", "Scan", "Second"]
    bpy.ops.ed.redo()
    assert seen(three) == ["Scan"]
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Scan", "Second"]


def test_deleting_the_coloured_scan_gives_the_rest_back(three: SimpleNamespace) -> None:
    bpy = three.bpy
    show(three)
    bpy.ops.object.select_all(action="DESELECT")
    three.scan.select_set(True)
    bpy.ops.object.delete()
    bpy.context.view_layer.update()
    assert seen(three) == ["Design", "Raw", "Second"]
    assert not three.design.cuspwise.coloured
    assert three.settings.shown_limit_um == 0.0
    three.settings.scan_index = 1
    assert seen(three) == ["Second"]
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Second"]


def test_deleting_a_hidden_scan_changes_nothing_else(three: SimpleNamespace) -> None:
    show(three)
    three.bpy.data.objects.remove(three.second)
    three.bpy.context.view_layer.update()
    assert seen(three) == ["Scan"]
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Scan"]


def test_a_scan_off_the_list_is_none_of_ours(three: SimpleNamespace) -> None:
    show(three)
    three.settings.scan_index = 1
    assert call(three, "remove_scan") == {"FINISHED"}
    assert seen(three) == ["Second"] or "Second" in seen(three)
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert seen(three) == ["Design", "Raw", "Scan", "Second"]


def test_a_file_of_before_gives_back_what_it_had_hidden(
    checked: SimpleNamespace, tmp_path: Path
) -> None:
    """It noted how coloured objects were, and nothing of who hid them."""
    design = checked.design.cuspwise
    design.held = False
    design.hidden_before = False
    path = str(tmp_path / "before.blend")
    checked.bpy.ops.wm.save_as_mainfile(filepath=path)
    checked.bpy.ops.wm.open_mainfile(filepath=path)
    assert call(checked, "remove_colour_map") == {"FINISHED"}
    assert seen(checked) == ["Design", "Scan"]


@pytest.fixture
def legend(three: SimpleNamespace, monkeypatch: pytest.MonkeyPatch) -> Callable[[], list[str]]:
    """What the legend says in a 3D view with overlays."""
    module = three.part("addon.drawing.legend")
    monkeypatch.setattr(module, "free_part", lambda _area: (0.0, 0.0, 900.0))
    monkeypatch.setattr(module, "width_of", lambda text, _size: 7.0 * len(text))
    screens = (area for screen in three.bpy.data.screens for area in screen.areas)
    space = next(area.spaces.active for area in screens if area.type == "VIEW_3D")
    space.overlay.show_overlays = True
    context = SimpleNamespace(
        scene=three.scene,
        space_data=space,
        area=None,
        preferences=SimpleNamespace(system=SimpleNamespace(ui_scale=1.0)),
    )

    def words() -> list[str]:
        three.bpy.context.view_layer.update()
        return [line.text for line in module.layout_for(context).words]

    return words


def test_the_legend_goes_with_the_colours(
    three: SimpleNamespace, legend: Callable[[], list[str]]
) -> None:
    show(three)
    assert "Deviation, µm" in legend()
    three.settings.scan_index = 2  # not measured
    assert legend() == []
    three.settings.scan_index = 1
    assert "Deviation, µm" in legend()
    three.second.hide_set(True)
    assert legend() == []
    three.second.hide_set(False)
    assert call(three, "remove_colour_map") == {"FINISHED"}
    assert legend() == []


def test_the_margin_line_alone_has_the_limit_of_its_scan(
    three: SimpleNamespace, legend: Callable[[], list[str]]
) -> None:
    """Not that of the map which was shown last."""
    show(three)
    assert call(three, "remove_colour_map") == {"FINISHED"}
    three.settings.show_margin = True
    three.settings.limit_is_automatic = False
    three.settings.limit_um = 73.0
    assert three.settings.shown_limit_um == 73.0
    assert "73" in " ".join(legend())
    three.settings.limit_is_automatic = True
    core = three.part("standalone_core.report.drawing.legend")
    points = three.part("addon.check.store").points_of(three.scan)
    assert three.settings.shown_limit_um == core.colour_limit_um(*points, tolerance_um=25.0)
    three.settings.scan_index = 2
    assert legend() == []


def test_the_automatic_limit_is_the_one_of_the_legend(three: SimpleNamespace) -> None:
    """The panel shows it in the place of the one that could be chosen."""
    panel = three.part("addon.panels.deviation").DeviationPanel

    def limits() -> list[str]:
        notes: list[str] = []
        panel.draw(SimpleNamespace(layout=Layout(notes, three.bpy)), three.bpy.context)
        return [note for note in notes if note.endswith("limit_um")]

    show(three)
    three.settings.limit_um = 9.0
    assert limits() == ["shown_limit_um"]
    three.settings.limit_is_automatic = False
    assert limits() == ["limit_um"]
    three.settings.limit_is_automatic = True
    three.settings.scan_index = 2
    assert limits() == []
