"""Support marks: marked, assigned, painted, measured, renamed, kept."""

from __future__ import annotations

import csv
import importlib.util
import io
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

RADIUS_MM = 0.65


def stub_place(extension: SimpleNamespace, number: int = 0) -> np.ndarray:
    """Where the demo's printed crown has a support stub, mm, in the design's frame."""
    spot = extension.part("standalone_core.demo.scenario").printed_errors().spots[number]
    shape = extension.part("standalone_core.demo.shape").CrownShape()
    place: np.ndarray = shape.points(np.array(np.deg2rad(spot.angle_deg)), np.array(spot.s_mm))
    return place


def mark(case: SimpleNamespace, place: np.ndarray, **options: Any) -> None:
    done = case.bpy.ops.cuspwise.mark_support(location=place.tolist(), **options)
    assert done == {"FINISHED"}


def groups(case: SimpleNamespace) -> list[str]:
    return [g.name for g in case.design.vertex_groups if ": " in g.name.removeprefix("Area: ")]


def rows(case: SimpleNamespace) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = case.part("addon.check.mark_results").rows(
        case.scan, case.design
    )
    return found


def core_row(case: SimpleNamespace, surfaces: SimpleNamespace, place: np.ndarray) -> Any:
    """The same mark as the core measures it on what the check in Blender kept."""
    marks = case.part("standalone_core.deviation.support_marks")
    supports = case.part("standalone_core.areas.support_marks")
    store = case.part("addon.check.store")
    kept = store.kept_of(case.scan)
    field, areas = kept.there, kept.area_set
    evaluation = case.part("standalone_core.mesh.refine").evaluation_mesh(surfaces.design, 0.4)
    sides = {name: areas[name] for name in ("external", "intaglio")}
    area_set = case.part("standalone_core.areas.area_set").AreaSet(evaluation, sides)
    spot = supports.SupportMark("1", tuple(place.tolist()), RADIUS_MM)
    discs = case.part("standalone_core.areas.mark_discs")
    (found,) = marks.measure_marks(field, discs.with_supports(area_set, [spot]))
    return found


# Polls and refusals ---------------------------------------------------------------------------


def test_without_a_design_nothing_can_be_marked(empty: SimpleNamespace) -> None:
    for name in ("mark_support", "assign_mark_faces", "remove_mark"):
        assert not getattr(empty.bpy.ops.cuspwise, name).poll()
    with pytest.raises(RuntimeError, match="Choose the design first"):
        empty.bpy.ops.cuspwise.mark_support()


def test_polls_say_what_is_missing(crown: SimpleNamespace) -> None:
    ops = crown.bpy.ops.cuspwise
    with pytest.raises(RuntimeError, match="Choose a support mark in the list"):
        ops.remove_mark()
    with pytest.raises(RuntimeError, match="Choose a support mark in the list"):
        ops.frame_mark()
    with pytest.raises(RuntimeError, match="Check a scan first"):
        ops.measure_marks()
    with pytest.raises(RuntimeError, match="select faces in Edit Mode"):
        ops.assign_mark_faces()


def test_an_implausible_size_is_refused(crown: SimpleNamespace) -> None:
    crown.design.scale = (90.0,) * 3
    crown.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match="Choose the length of a unit"):
        crown.bpy.ops.cuspwise.mark_support(location=(0, 0, 0))
    assert groups(crown) == []


# Marking --------------------------------------------------------------------------------------


def test_marked_before_the_check_it_has_a_row_after_it(
    crown: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    place = stub_place(extension)
    mark(crown, place, radius_mm=RADIUS_MM)
    assert groups(crown) == ["Area: support: 1"]
    assert rows(crown) == {}
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    row = rows(crown)["support: 1"]
    assert row["verdict"] == "stub"
    expected = core_row(crown, surfaces, place)
    for name in ("height_um", "peak_um", "surroundings_um", "band_um"):
        assert row[name] == pytest.approx(getattr(expected, name), abs=0.01)
    for name in ("area_mm2", "volume_mm3", "coverage"):
        assert row[name] == pytest.approx(getattr(expected, name), rel=1e-4)
    # The other rows, the patches and the result's state do not know of it.
    store = crown.part("addon.check.store")
    kept = store.result_of(crown.scan)
    assert not [r for r in kept["check"]["measures"] if "support" in r["area"]]
    assert not [p for p in kept["check"]["patches"] if "supports" in p["areas"]]
    assert store.refresh(crown.scan, crown.scene, with_areas=True)


def test_marked_after_the_check_it_is_measured_at_once(
    checked: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    place = stub_place(extension)
    checked.settings.mark_radius_mm = RADIUS_MM
    mark(checked, place, name="lingual")
    row = rows(checked)["support: lingual"]
    expected = core_row(checked, surfaces, place)
    assert row["height_um"] == pytest.approx(expected.height_um, abs=0.01)
    assert row["volume_mm3"] == pytest.approx(expected.volume_mm3, rel=1e-4)
    assert row["reason"] == expected.reason
    assert checked.scan.cuspwise.state == "CURRENT"
    assert not checked.scan.cuspwise.marks_out_of_date
    store = checked.part("addon.check.store")
    assert store.refresh(checked.scan, checked.scene, with_areas=True)
    # Checked again, the same numbers come out.
    assert checked.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    again = rows(checked)["support: lingual"]
    assert again["height_um"] == pytest.approx(row["height_um"], abs=0.2)


def test_a_circle_between_the_vertices_is_measured_as_a_circle(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    mark(checked, stub_place(extension), radius_mm=0.15, name="small")
    index = checked.design.vertex_groups["Area: support: small"].index
    inside = [v for v in checked.design.data.vertices if any(g.group == index for g in v.groups)]
    row = rows(checked)["support: small"]
    assert row["spot_mm2"] == 0.0 or row["n"] >= len(inside)
    assert len(checked.part("addon.areas.support_marks").circles(checked.design)) == 1


def test_names_are_numbers_and_unique(crown: SimpleNamespace, extension: SimpleNamespace) -> None:
    place = stub_place(extension)
    mark(crown, place)
    crown.settings.mark_kind = "sprue"
    mark(crown, place)
    mark(crown, place, name="ü")
    mark(crown, place, name="ü")
    assert groups(crown) == [
        "Area: support: 1",
        "Area: sprue: 2",
        "Area: sprue: ü",
        "Area: sprue: ü 1",
    ]


def test_scale_of_the_scene_does_not_matter(
    empty: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    design, scan = extension.set_up(surfaces, 0.001)
    empty.scene.cuspwise.unit = "m"
    case = SimpleNamespace(**vars(empty), design=design, scan=scan)
    place = stub_place(extension)
    done = empty.bpy.ops.cuspwise.mark_support(location=place / 1000, radius_mm=RADIUS_MM)
    assert done == {"FINISHED"}
    assert empty.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    expected = core_row(case, surfaces, place)
    assert rows(case)["support: 1"]["height_um"] == pytest.approx(expected.height_um, abs=0.05)


# Editing --------------------------------------------------------------------------------------


def test_selected_faces_make_a_mark(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    bpy, design = checked.bpy, checked.design
    bpy.ops.object.select_all(action="DESELECT")
    design.hide_set(False)
    design.select_set(True)
    bpy.context.view_layer.objects.active = design
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="DESELECT")
    with pytest.raises(RuntimeError, match="Select some faces first"):
        bpy.ops.cuspwise.assign_mark_faces()
    bpy.ops.object.mode_set(mode="OBJECT")
    place = stub_place(extension)
    near = [p for p in design.data.polygons if np.linalg.norm(np.array(p.center) - place) < 0.7]
    for polygon in near:
        polygon.select = True
    bpy.ops.object.mode_set(mode="EDIT")
    assert bpy.ops.cuspwise.assign_mark_faces() == {"FINISHED"}
    assert design.mode == "EDIT"
    bpy.ops.object.mode_set(mode="OBJECT")
    assert groups(checked) == ["Area: support: 1"]
    assert checked.scan.cuspwise.marks_out_of_date
    assert bpy.ops.cuspwise.measure_marks() == {"FINISHED"}
    assert rows(checked)["support: 1"]["verdict"] == "stub"
    assert not checked.scan.cuspwise.marks_out_of_date


def test_a_painted_mark_counts_as_painted(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    bpy, design = checked.bpy, checked.design
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    before = rows(checked)["support: 1"]
    group = design.vertex_groups["Area: support: 1"]
    far = [v.index for v in design.data.vertices if v.co.z > 5.0]
    group.add(far, 1.0, "REPLACE")
    results = checked.part("addon.check.mark_results")
    assert not results.refresh(checked.scan)
    assert checked.scan.cuspwise.marks_out_of_date
    bpy.ops.cuspwise.copy_table()  # warns, and copies what there is
    assert bpy.ops.cuspwise.measure_marks() == {"FINISHED"}
    after = rows(checked)["support: 1"]
    assert after["spot_mm2"] > 3 * before["spot_mm2"]
    assert checked.part("addon.areas.support_marks").circles(design) == {}


def test_renaming_keeps_numbers_and_circle(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    design, data = checked.design, checked.design.cuspwise
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    mark(checked, stub_place(extension, 1), radius_mm=RADIUS_MM)
    height = rows(checked)["support: 2"]["height_um"]
    data.mark_name = "distal"
    data.mark_kind = "sprue"
    assert groups(checked) == ["Area: support: 1", "Area: sprue: distal"]
    assert rows(checked)["sprue: distal"]["height_um"] == height
    assert data.mark_radius_mm == pytest.approx(RADIUS_MM)
    assert (data.mark_name, data.mark_kind) == ("distal", "sprue")
    data.mark_name = "1"  # taken
    assert data.mark_name == "1 1"
    data.mark_name = "  "
    assert data.mark_name == "1 1"
    # In Blender's own list: the numbers wait for a new measurement, the circle goes along.
    design.vertex_groups["Area: sprue: 1 1"].name = "Area: support: mine"
    assert checked.bpy.ops.cuspwise.measure_marks() == {"FINISHED"}
    assert rows(checked)["support: mine"]["height_um"] == pytest.approx(height, abs=1e-6)
    assert data.mark_radius_mm == pytest.approx(RADIUS_MM)


def test_another_radius_is_measured_on_demand(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    before = rows(checked)["support: 1"]["spot_mm2"]
    checked.design.cuspwise.mark_radius_mm = 1.3
    assert checked.scan.cuspwise.marks_out_of_date
    assert checked.bpy.ops.cuspwise.measure_marks() == {"FINISHED"}
    assert rows(checked)["support: 1"]["spot_mm2"] == pytest.approx(4 * before, rel=0.2)


def test_removing_leaves_the_others(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    mark(checked, stub_place(extension, 1), radius_mm=RADIUS_MM)
    checked.design.cuspwise.mark_index = checked.design.vertex_groups["Area: support: 1"].index
    assert checked.bpy.ops.cuspwise.remove_mark() == {"FINISHED"}
    assert groups(checked) == ["Area: support: 2"]
    assert list(rows(checked)) == ["support: 2"]
    assert checked.part("addon.areas.support_marks").chosen(checked.design) == "support: 2"
    assert checked.bpy.ops.cuspwise.remove_mark() == {"FINISHED"}
    assert rows(checked) == {}


def test_a_click_on_a_row_frames_it(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    place = stub_place(extension)
    mark(checked, place, radius_mm=RADIUS_MM)
    cursor = checked.scene.cursor
    cursor.location = (0.0, 0.0, 0.0)
    checked.design.cuspwise.mark_index = checked.design.vertex_groups["Area: support: 1"].index
    peak = np.array(rows(checked)["support: 1"]["peak_mm"])
    assert np.allclose(cursor.location, peak, atol=1e-4)
    assert np.linalg.norm(np.array(cursor.location) - place) < RADIUS_MM
    cursor.location = (0.0, 0.0, 0.0)
    assert checked.bpy.ops.cuspwise.frame_mark() == {"FINISHED"}
    assert np.allclose(cursor.location, peak, atol=1e-4)


# Keeping and handing on -----------------------------------------------------------------------


def test_save_reload_rename_and_move(
    checked: SimpleNamespace, extension: SimpleNamespace, tmp_path: Path
) -> None:
    bpy = checked.bpy
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    row = rows(checked)["support: 1"]
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "kept.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "kept.blend"))
    design, scan = bpy.data.objects["Design"], bpy.data.objects["Scan"]
    design.name = "Entwurf"
    case = SimpleNamespace(bpy=bpy, part=checked.part, design=design, scan=scan)
    assert rows(case)["support: 1"] == row
    assert design.cuspwise.mark_radius_mm == pytest.approx(RADIUS_MM)
    for obj in (design, scan):
        obj.location.x += 20.0
    bpy.context.view_layer.update()
    assert bpy.ops.cuspwise.measure_marks() == {"FINISHED"}
    assert rows(case)["support: 1"]["height_um"] == pytest.approx(row["height_um"], abs=0.05)


def test_areas_files_carry_marks(
    checked: SimpleNamespace, extension: SimpleNamespace, tmp_path: Path
) -> None:
    bpy, path = checked.bpy, tmp_path / "areas.json"
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    row = rows(checked)["support: 1"]
    assert bpy.ops.cuspwise.save_areas(filepath=str(path)) == {"FINISHED"}
    document = json.loads(path.read_text(encoding="utf-8"))
    assert {"support: 1", "supports"} <= set(document["areas"])
    assert bpy.ops.cuspwise.remove_mark() == {"FINISHED"}
    assert bpy.ops.cuspwise.load_areas(filepath=str(path)) == {"FINISHED"}
    assert groups(checked) == ["Area: support: 1"]
    assert "Area: supports" not in checked.design.vertex_groups
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    again = rows(checked)["support: 1"]
    assert again["spot_mm2"] == pytest.approx(row["spot_mm2"])
    assert again["height_um"] == pytest.approx(row["height_um"], abs=0.2)


def test_table_and_report_hold_the_marks(
    checked: SimpleNamespace, extension: SimpleNamespace, tmp_path: Path
) -> None:
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM, name="lingual")
    kept = checked.part("addon.check.store").result_of(checked.scan)
    text = checked.part("addon.operators.results").table_text(kept)
    table = list(csv.reader(io.StringIO(text), delimiter="\t"))
    blank = table.index([])
    title, row = table[blank + 1], table[blank + 2]
    assert title[:3] == ["support mark", "kind", "height above surroundings (µm)"]
    assert row[:2] == ["lingual", "printing support"]
    assert row[-1] == "stub"
    assert float(row[2]) == pytest.approx(rows(checked)["support: lingual"]["height_um"], abs=5e-3)
    assert checked.bpy.ops.cuspwise.export_report(directory=str(tmp_path)) == {"FINISHED"}
    (found,) = csv.DictReader((tmp_path / "marks.csv").open(encoding="utf-8-sig"))
    assert (found["mark"], found["verdict"]) == ("lingual", "stub")
    assert float(found["height_um"]) == pytest.approx(float(row[2]), abs=0.2)


def _drawn() -> Any:
    """The stand-in for a window's panels of the neighbouring tests."""
    path = Path(__file__).with_name("test_window_parts.py")
    spec = importlib.util.spec_from_file_location("window_parts", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.drawn


def test_the_panel_says_it_in_words(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    drawn = _drawn()
    assert "None marked yet" in " ".join(drawn(checked))
    mark(checked, stub_place(extension), radius_mm=RADIUS_MM)
    said = drawn(checked)
    assert "Stub" in said
    assert any(text.startswith("height +") for text in said)
    checked.scan.cuspwise.marks_out_of_date = True
    assert "Edited since: press Measure Marks." in " ".join(drawn(checked))
    panel = checked.part("addon.panels.support_marks")
    panel.MarkList.rows = rows(checked)
    assert panel._short(rows(checked)["support: 1"]).startswith("stub +")


def test_old_results_without_marks_are_read(checked: SimpleNamespace) -> None:
    store = checked.part("addon.check.store")
    kept = store.result_of(checked.scan)
    del kept["check"]["marks"], kept["made_with"]["marks"]
    checked.scan.cuspwise.result = json.dumps(kept)
    assert rows(checked) == {}
    assert checked.part("addon.check.mark_results").refresh(checked.scan)


def test_every_control_explains_itself(crown: SimpleNamespace) -> None:
    ops = crown.bpy.ops.cuspwise
    for name in (
        "mark_support",
        "assign_mark_faces",
        "remove_mark",
        "measure_marks",
        "frame_mark",
    ):
        assert len(getattr(ops, name).get_rna_type().description) > 50
    properties = crown.design.cuspwise.bl_rna.properties
    for name in ("mark_index", "mark_name", "mark_kind", "mark_radius_mm"):
        assert len(properties[name].description) > 20
    properties = crown.settings.bl_rna.properties
    for name in ("mark_kind", "mark_radius_mm"):
        assert len(properties[name].description) > 20
