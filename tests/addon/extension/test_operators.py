"""Every operator: what it does, says and writes."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call


def test_superimpose_and_restore(crown: SimpleNamespace) -> None:
    place = crown.scan.matrix_world.copy()
    assert call(crown, "superimpose") == {"FINISHED"}
    assert crown.scan.cuspwise.state == "PLACED"
    placed = crown.scan.matrix_world.copy()
    assert placed != place
    kept = json.loads(crown.scan.cuspwise.superimposition)
    assert kept["verdict"] == "good"
    assert 1.0 < kept["rms_um"] < 40.0
    # Again, from where it lies: it stays, and the first pose is still the one to go back to.
    crown.settings.start = "in_place"
    assert call(crown, "superimpose") == {"FINISHED"}
    assert np.abs(np.array(crown.scan.matrix_world) - np.array(placed)).max() < 1e-4
    assert call(crown, "restore_position") == {"FINISHED"}
    assert crown.scan.matrix_world == place
    assert crown.scan.cuspwise.state == "NONE"
    with pytest.raises(RuntimeError, match="has not been superimposed"):
        call(crown, "restore_position")


def test_superimpose_on_an_area(
    crown: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    check = extension.part("standalone_core.check")
    expected = check.check_meshes(
        surfaces.design,
        surfaces.scan,
        check.CheckSettings(spacing_mm=extension.spacing_mm, fit_areas=("occlusal",)),
    )
    crown.settings.fit_area = "occlusal"
    assert call(crown, "superimpose") == {"FINISHED"}
    kept = json.loads(crown.scan.cuspwise.superimposition)
    assert kept["rms_um"] == pytest.approx(1e3 * expected.superimposition.rms_mm, abs=0.01)
    # From the same pose again: which points belong to an area depends a little on the start.
    assert call(crown, "restore_position") == {"FINISHED"}
    assert call(crown, "check_crown") == {"FINISHED"}
    store = extension.part("addon.check.store")
    found = store.rows_of(store.result_of(crown.scan))[0]
    assert found["rms_um"] == pytest.approx(expected.measures_of().rms_um, abs=0.01)


def pick(case: SimpleNamespace, on: str, obj: Any, place_mm: Any) -> None:
    from mathutils import Vector

    location = obj.matrix_world @ Vector(place_mm)
    assert call(case, "pick_landmarks", on=on, location=location) == {"FINISHED"}


def test_landmarks_start_the_superimposition(
    crown: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    """Places that were picked roughly lead to the pose that the core finds from anywhere."""
    check = extension.part("standalone_core.check")
    settings = check.CheckSettings(spacing_mm=extension.spacing_mm)
    expected = check.check_meshes(surfaces.design, surfaces.scan, settings)
    to_scan = np.linalg.inv(expected.superimposition.T_design_scan)
    crown.settings.start = "landmarks"
    with pytest.raises(RuntimeError, match="There are no landmarks"):
        call(crown, "remove_landmarks")
    points = surfaces.design.vertices
    tips = [points[np.argmax(points @ np.array(d))] for d in ((1, 0, 1), (-1, 1, 1), (0, -1, 0.5))]
    for k, tip in enumerate(tips):
        with pytest.raises(RuntimeError, match=f"shares {k} landmarks.*Pick the same places"):
            call(crown, "superimpose")
        pick(crown, "DESIGN", crown.design, tip)
        rough = to_scan[:3, :3] @ (tip + np.array([0.3, -0.2, 0.25])) + to_scan[:3, 3]
        pick(crown, "SCAN", crown.scan, rough)
    marks = [mark for mark in crown.scan.children if mark.cuspwise.landmark]
    assert [mark.cuspwise.landmark for mark in marks] == [1, 2, 3]
    for mark in marks:  # on the surface
        found, place, *_ = crown.scan.closest_point_on_mesh(mark.location)
        assert found
        assert (place - mark.location).length < 1e-5
    assert call(crown, "check_crown") == {"FINISHED"}
    rows = extension.part("addon.check.store").rows_of(
        extension.part("addon.check.store").result_of(crown.scan)
    )
    assert rows[0]["rms_um"] == pytest.approx(expected.measures_of().rms_um, abs=0.01)
    assert crown.scan.cuspwise.state == "CURRENT"
    # They lie on the scan still, and one that was deleted is the next to be picked.
    crown.bpy.data.objects.remove(marks[1])
    pick(crown, "SCAN", crown.scan, (0.0, 0.0, 0.0))
    assert sorted(m.cuspwise.landmark for m in crown.scan.children) == [1, 2, 3]
    assert call(crown, "remove_landmarks") == {"FINISHED"}
    assert not [o for o in crown.bpy.data.objects if o.cuspwise.landmark]


def test_measuring_moves_nothing(checked: SimpleNamespace) -> None:
    checked.scan.location.z += 0.05
    checked.bpy.context.view_layer.update()
    place = checked.scan.matrix_world.copy()
    assert call(checked, "measure_deviation") == {"FINISHED"}
    assert checked.scan.matrix_world == place
    store = checked.part("addon.check.store")
    rows = {r["area"]: r for r in store.rows_of(store.result_of(checked.scan))}
    # Lifted by 50 µm, the occlusal surface stands out by most of that.
    assert 25.0 < rows["occlusal"]["mean_um"] < 60.0


def test_tolerances_change_verdicts_without_measuring(
    checked: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    check = extension.part("standalone_core.check")
    verdict = extension.part("standalone_core.deviation.verdict")
    store = extension.part("addon.check.store")
    before = checked.scan.cuspwise.result_id
    checked.settings.tolerance_whole_um = 8.0
    checked.settings.tolerance_occlusal_um = 60.0
    checked.settings.tolerance_margin_um = 0.0
    expected = check.check_meshes(
        surfaces.design,
        surfaces.scan,
        check.CheckSettings(
            spacing_mm=extension.spacing_mm,
            tolerances=verdict.Tolerances({"whole": 8.0, "occlusal": 60.0}),
        ),
    )
    assert checked.scan.cuspwise.result_id == before
    kept = store.result_of(checked.scan)
    patches = kept["check"]["patches"]
    assert kept["patch_limit_um"] == 8.0
    assert len(patches) == pytest.approx(len(expected.patches), abs=2)
    listed = extension.part("addon.check.store").PATCHES_LISTED
    assert len(checked.scan.cuspwise.patches) == min(len(patches), listed)
    for found, wanted in zip(patches[:10], expected.patches, strict=False):
        assert found["peak_um"] == pytest.approx(wanted.peak_um, abs=0.05)
        assert found["area_mm2"] == pytest.approx(wanted.area_mm2, rel=0.02)
    assert set(kept["check"]["warnings"]) == set(expected.warnings)
    for row in store.rows_of(store.result_of(checked.scan)):
        wanted = expected.measures_of(row["area"])
        assert row["verdict"] == wanted.verdict
        assert row["within_tolerance"] == pytest.approx(
            wanted.within_tolerance, abs=1e-3, nan_ok=True
        )


def test_read_value(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    """At a vertex the label says its deviation, between vertices the mean; areas are named."""
    words = extension.part("standalone_core.report.check.sentences")
    bridge = extension.part("addon.blender.bridge")
    name = f"deviation_mm {checked.scan.cuspwise.result_id}"
    for on, obj in (("SCAN", checked.scan), ("DESIGN", checked.design)):
        values = bridge.read_attribute(obj.data, name)
        face = obj.data.polygons[len(obj.data.polygons) // 3]
        a, b = (obj.data.vertices[k] for k in list(face.vertices)[:2])
        for place, value in (
            (a.co, values[a.index]),
            (0.5 * (a.co + b.co), 0.5 * (values[a.index] + values[b.index])),
        ):
            before = set(obj.children)
            location = obj.matrix_world @ place
            assert call(checked, "read_value", on=on, location=location) == {"FINISHED"}
            (label,) = set(obj.children) - before
            number = label.cuspwise.caption.partition(" µm")[0].replace("−", "-")
            assert float(number) == pytest.approx(1e3 * value, abs=0.06)
            assert label.name.startswith(label.cuspwise.caption)
            assert (label.location - place).length < 1e-4
    top = max(checked.design.data.vertices, key=lambda v: v.co.z)
    location = checked.design.matrix_world @ top.co
    before = set(checked.design.children)
    assert call(checked, "read_value", on="DESIGN", location=location) == {"FINISHED"}
    (label,) = set(checked.design.children) - before
    assert words.area_words("occlusal") in label.cuspwise.caption
    shown = extension.part("addon.drawing.captions").captions_of(checked.bpy.context)
    assert label.cuspwise.caption in [text for _, text in shown]
    label.hide_set(True)
    again = extension.part("addon.drawing.captions").captions_of(checked.bpy.context)
    assert len(again) == len(shown) - 1
    assert checked.scan.cuspwise.state == "CURRENT"
    checked.scan.location.x += 1.0
    checked.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match=r"moved\. Check again first"):
        call(checked, "read_value")


def test_an_unmeasured_place_says_so(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    name = f"deviation_mm {checked.scan.cuspwise.result_id}"
    extension.part("addon.blender.bridge").write_attribute(
        checked.scan.data, name, "FLOAT", np.full(len(checked.scan.data.vertices), np.nan)
    )
    location = checked.scan.matrix_world @ checked.scan.data.vertices[5].co
    assert call(checked, "read_value", location=location) == {"FINISHED"}
    assert any(label.name.startswith("not measured") for label in checked.scan.children)


def test_frame_patch(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    """The cursor lies on the scan, where its deviation is that of the patch's peak."""
    from mathutils import Euler

    checked.design.rotation_euler = Euler((0.3, 0.2, 0.1))
    checked.bpy.context.view_layer.update()
    patches = extension.part("addon.check.store").result_of(checked.scan)["check"]["patches"]
    for number in (0, len(patches) - 1):
        assert call(checked, "frame_patch", number=number) == {"FINISHED"}
        own = checked.design.matrix_world.inverted() @ checked.scene.cursor.location
        assert np.array(own) == pytest.approx(patches[number]["peak_mm"], abs=1e-4)
    for number in (1, 0):  # a click on a row of the list
        checked.scan.cuspwise.patch_index = number
        own = checked.design.matrix_world.inverted() @ checked.scene.cursor.location
        assert np.array(own) == pytest.approx(patches[number]["peak_mm"], abs=1e-4)
    with pytest.raises(RuntimeError, match="there is no patch"):
        call(checked, "frame_patch", number=len(patches))
    checked.bpy.data.objects.remove(checked.design)
    with pytest.raises(RuntimeError, match="not in this scene"):
        call(checked, "frame_patch", number=0)


def test_copy_table(checked: SimpleNamespace, extension: SimpleNamespace) -> None:
    assert call(checked, "copy_table") == {"FINISHED"}
    store = extension.part("addon.check.store")
    kept = store.result_of(checked.scan)
    text = extension.part("addon.operators.results").table_text(kept)
    header, *rows = list(csv.reader(io.StringIO(text), delimiter="\t"))
    assert header[0] == "area"
    assert header[-3:] == ["verdict", "reason", "caveat"]
    assert len({len(row) for row in (header, *rows)}) == 1
    shown = dict(zip(header, rows[0], strict=True))
    whole = store.rows_of(kept)[0]
    assert shown["area"] == "whole crown"
    assert float(shown["RMS (µm)"]) == pytest.approx(whole["rms_um"], abs=0.005)
    assert shown["verdict"] == whole["verdict"]
    verdict = store.verdicts_of(kept)[0]
    assert (shown["reason"], shown["caveat"]) == (verdict.reason, verdict.caveat)
    from_scan = float(shown["mean absolute from scan to design (µm)"])
    assert from_scan == pytest.approx(verdict.back_mean_abs_um, abs=0.005)
    assert float(shown["unmatched scan surface (mm²)"]) == verdict.unmatched_mm2 == 0.0
    assert shown["scanner's uncertainty (µm)"] == ""
    assert dict(zip(header, rows[1], strict=True))["share within tolerance"] == ""


def test_export_report(
    checked: SimpleNamespace, extension: SimpleNamespace, tmp_path: Path
) -> None:
    folder = tmp_path / "Bericht ü"
    place = checked.scan.matrix_world.copy()
    checked.settings.tolerance_whole_um = 8.0
    assert call(checked, "export_report", directory=str(folder)) == {"FINISHED"}
    names = {"check.html", "check.json", "measures.csv", "patches.csv", "README.csv"}
    assert names <= {path.name for path in folder.iterdir()}
    with open(folder / "measures.csv", encoding="utf-8-sig") as stream:
        rows = list(csv.DictReader(stream))
    store = extension.part("addon.check.store")
    kept = store.rows_of(store.result_of(checked.scan))
    for shown, row in zip(rows, kept, strict=False):
        assert shown["area"] == row["area"]
        for number in ("mean_abs_um", "rms_um"):
            assert float(shown[number]) == pytest.approx(row[number], abs=0.001)
        assert shown["verdict"] == row["verdict"]
    assert checked.scan.matrix_world == place
    assert checked.scan.cuspwise.state == "CURRENT"


def test_an_exported_report_names_objects_and_files_and_doubts(
    checked: SimpleNamespace, tmp_path: Path
) -> None:
    """An imported scan's file is named, too; a scale that nobody should trust is a reason."""
    checked.scan.cuspwise.source_file = "printed ü.stl"
    checked.scan.scale = (1.01, 1.01, 1.01)
    checked.bpy.context.view_layer.update()
    assert checked.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert call(checked, "export_report", directory=str(tmp_path)) == {"FINISHED"}
    written = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert written["scan"]["file"] == {"object": "Scan", "path": "printed ü.stl"}
    assert written["design"]["file"] == {"object": "Design", "path": None}
    assert "1 % too large" in written["doubt"]
    assert written["doubt"] in written["warnings"]
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert "Apply ▸ Scale, Ctrl A" in page


def test_export_refusals(checked: SimpleNamespace, tmp_path: Path) -> None:
    with pytest.raises(RuntimeError, match="No folder was given"):
        call(checked, "export_report")
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(RuntimeError, match="could not be written"):
        call(checked, "export_report", directory=str(tmp_path / "file" / "in"))
    checked.scan.location.x += 0.5
    checked.bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match=r"moved\. Check again first"):
        call(checked, "export_report", directory=str(tmp_path))


def test_remove_scan(checked: SimpleNamespace) -> None:
    assert call(checked, "remove_scan") == {"FINISHED"}
    assert not checked.settings.scans
    assert checked.scan.cuspwise.state == "CURRENT"
    with pytest.raises(RuntimeError, match="Choose a scan in the list"):
        call(checked, "remove_scan")


def test_landmarks_are_picked_side_by_side(checked: SimpleNamespace) -> None:
    """A scan that lies on its design and hides it: both are seen and hit, none is moved by it."""
    from mathutils import Quaternion, Vector

    bpy, design, scan = checked.bpy, checked.design, checked.scan
    beside = checked.part("addon.check.beside")
    picking = checked.part("addon.blender.picking")
    assert design.hide_get()  # by the colour map
    tooth = checked.part("addon.blender.bridge").new_mesh("Tooth", [[0, 0, 0]] * 3, None)
    other = bpy.data.objects.new("Tooth", tooth)
    checked.scene.collection.objects.link(other)
    basis, seen = scan.matrix_basis.copy(), np.array(scan.matrix_world)
    turned = Quaternion((0.6, 0.0, 0.8, 0.0))
    view = SimpleNamespace(
        view_rotation=turned, view_location=Vector((1.0, 2.0, 3.0)), view_distance=7.0
    )
    context = SimpleNamespace(
        view_layer=bpy.context.view_layer, space_data=SimpleNamespace(region_3d=view)
    )
    both = beside.SideBySide(context, design, scan)
    right = np.array(turned.to_matrix())[:, 0]
    ends = [beside.corners_of(obj) @ right for obj in (design, scan)]
    assert ends[0].max() < ends[1].min()
    middles = [beside.corners_of(obj).mean(axis=0) for obj in (design, scan)]
    apart = middles[1] - middles[0]
    assert apart == pytest.approx((apart @ right) * right, abs=1e-4)  # level, in the view's plane
    assert [obj.hide_get() for obj in (design, scan, other)] == [False, False, True]
    away = Vector(turned @ Vector((0.0, 0.0, 1.0)))
    for obj, middle in zip((design, scan), middles, strict=True):
        eye = Vector(middle) + 100.0 * away
        assert picking.hit_along(obj, eye, -away) is not None
        mark = checked.part("addon.check.landmarks").add_landmark(obj, eye, checked.scene, 1.0)
        assert mark.parent == obj
    # The scan counts as lying on the design: nothing is out of date, no landmark lies beside.
    bpy.context.view_layer.update()
    assert scan.cuspwise.state == "CURRENT"
    on_scan = next(iter(checked.part("addon.check.landmarks").landmarks_of(scan, checked.scene)))
    mark = checked.part("addon.check.landmarks").landmarks_of(scan, checked.scene)[on_scan]
    frames = checked.part("addon.blender.frames")
    assert frames.matrix_of(scan) == pytest.approx(seen, abs=1e-6)
    local = np.append(np.array(mark.location, dtype=np.float64), 1.0)
    assert frames.matrix_of(mark)[:3, 3] == pytest.approx((seen @ local)[:3], abs=1e-5)
    both.end()
    assert scan.matrix_basis == basis
    assert np.array_equal(np.array(scan.matrix_world), seen)
    assert [obj.hide_get() for obj in (design, scan, other)] == [True, False, False]
    assert (view.view_location, view.view_distance) == (Vector((1.0, 2.0, 3.0)), 7.0)
    assert scan.cuspwise.state == "CURRENT"
    assert not scan.cuspwise.fit.is_on_die


def test_a_scan_that_hangs_on_something_turned_goes_beside_too(crown: SimpleNamespace) -> None:
    from mathutils import Quaternion, Vector

    bpy = crown.bpy
    holder = bpy.data.objects.new("Holder", None)
    crown.scene.collection.objects.link(holder)
    holder.rotation_euler, holder.scale = (0.5, 1.0, -0.3), (2.0, 2.0, 2.0)
    crown.scan.parent = holder
    bpy.context.view_layer.update()
    beside, seen = crown.part("addon.check.beside"), np.array(crown.scan.matrix_world)
    view = SimpleNamespace(view_rotation=Quaternion(), view_location=Vector(), view_distance=1.0)
    context = SimpleNamespace(
        view_layer=bpy.context.view_layer, space_data=SimpleNamespace(region_3d=view)
    )
    both = beside.SideBySide(context, crown.design, crown.scan)
    boxes = [beside.corners_of(obj) for obj in (crown.design, crown.scan)]
    assert boxes[0][:, 0].max() < boxes[1][:, 0].min()
    assert boxes[1].mean(axis=0)[1:] == pytest.approx(boxes[0].mean(axis=0)[1:], abs=1e-3)
    both.end()
    assert np.array_equal(np.array(crown.scan.matrix_world), seen)
