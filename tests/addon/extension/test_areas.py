"""Areas as vertex groups: found, edited, used, kept."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest


def members(design: Any, name: str) -> np.ndarray:
    index = design.vertex_groups[name].index
    return np.array(
        [v.index for v in design.data.vertices if any(g.group == index for g in v.groups)]
    )


def test_find_areas_writes_the_cores_areas(
    crown: SimpleNamespace, extension: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    assert crown.bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    evaluation = extension.part("standalone_core.mesh.refine").evaluation_mesh(
        surfaces.design, extension.spacing_mm
    )
    found = extension.part("standalone_core.areas.find").find_areas(evaluation)
    words = extension.part("standalone_core.report.check.sentences").area_words
    count = len(surfaces.design.vertices)
    for name, area in found.areas.items():
        if name == "whole":
            continue
        group = members(crown.design, f"Area: {words(name)}")
        inside = np.flatnonzero(area.points[:count])
        # Rounding of coordinates may turn single vertices on an area's edge over.
        assert len(np.setxor1d(group, inside)) <= 0.002 * count, name
    line = crown.design.cuspwise.margin_line
    assert line.parent == crown.design
    own = np.array([p.co[:3] for p in line.data.splines[0].points])
    assert np.abs(own - found.margin_line.points_mm).max() < 1e-3
    assert line.data.splines[0].use_cyclic_u


def test_edited_groups_are_used_and_survive(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    bpy, design = checked.bpy, checked.design
    top = [v.index for v in design.data.vertices if v.co.z > 4.0]
    mine = design.vertex_groups.new(name="Area: höchste Höcker")
    mine.add(top, 1.0, "REPLACE")
    occlusal = design.vertex_groups["Area: occlusal"]
    occlusal.remove(list(range(len(design.data.vertices))))
    occlusal.add(top, 1.0, "REPLACE")
    design.vertex_groups.new(name="not an area").add([0, 1], 1.0, "REPLACE")
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    store = extension.part("addon.check.store")
    rows = {row["area"]: row for row in store.rows_of(store.result_of(checked.scan))}
    assert "not an area" not in rows
    assert rows["höchste Höcker"]["n"] == rows["occlusal"]["n"] > 0
    assert rows["höchste Höcker"]["area_mm2"] == pytest.approx(rows["occlusal"]["area_mm2"])
    assert sorted(members(design, "Area: occlusal")) == sorted(top)
    assert checked.scan.cuspwise.state == "CURRENT"
    # Found again, the edited group stays; deleted, it comes back.
    assert bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    assert sorted(members(design, "Area: occlusal")) == sorted(top)
    design.vertex_groups.remove(design.vertex_groups["Area: occlusal"])
    assert bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    assert len(members(design, "Area: occlusal")) != len(top)
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"


def test_an_edited_margin_line_moves_the_band(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    store = extension.part("addon.check.store")
    line = checked.design.cuspwise.margin_line
    for point in line.data.splines[0].points:
        point.co.z += 0.5
    assert checked.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    kept = store.result_of(checked.scan)
    assert kept["check"]["margin_line"]["origin"] == "user"
    moved = np.array([p.co[2] for p in line.data.splines[0].points])
    assert checked.scan.cuspwise.state == "CURRENT"
    assert checked.bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    again = np.array([p.co[2] for p in line.data.splines[0].points])
    assert np.array_equal(again, moved)
    # Deleted, it is found anew.
    checked.bpy.data.objects.remove(line)
    assert checked.bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    fresh = checked.design.cuspwise.margin_line
    assert fresh is not None
    assert np.mean([p.co[2] for p in fresh.data.splines[0].points]) < moved.mean() - 0.3


# Areas files ----------------------------------------------------------------------------------


def areas_by_core(extension: SimpleNamespace, mesh: Any, path: Path) -> Any:
    """What the command line makes of an areas file for a design."""
    repaired = extension.part("standalone_core.mesh.repair").repair_mesh(mesh).mesh
    refine = extension.part("standalone_core.mesh.refine")
    evaluation = refine.evaluation_mesh(repaired, extension.spacing_mm)
    return extension.part("standalone_core.areas.files").load_areas(path, evaluation)


def test_saved_areas_serve_an_exported_design(
    crown: SimpleNamespace, extension: SimpleNamespace, tmp_path: Path
) -> None:
    """Wherever the design lies: the file fits what an STL export of it holds, in its own order."""
    from mathutils import Euler

    bpy, path = crown.bpy, tmp_path / "Flächen ü.json"
    crown.design.rotation_euler = Euler((0.2, -0.4, 0.7))
    crown.design.location = (12.0, -30.0, 5.0)
    bpy.context.view_layer.update()
    assert bpy.ops.cuspwise.find_areas() == {"FINISHED"}
    high = [v.index for v in crown.design.data.vertices if v.co.z > 4.0]
    crown.design.vertex_groups.new(name="Area: tips").add(high, 1.0, "REPLACE")
    assert bpy.ops.cuspwise.save_areas(filepath=str(path)) == {"FINISHED"}
    bpy.ops.object.select_all(action="DESELECT")
    crown.design.select_set(True)
    stl = tmp_path / "design.stl"
    bpy.ops.wm.stl_export(filepath=str(stl), export_selected_objects=True)
    exported = extension.part("standalone_core.mesh.files").read_mesh(stl, unit="mm").mesh
    loaded = areas_by_core(extension, exported, path)
    document = json.loads(path.read_text(encoding="utf-8"))
    assert {*loaded.areas} == {*document["areas"]}
    assert loaded["tips"].origin == "file"
    assert loaded["margin"].origin == "automatic"
    for name in loaded.areas:
        size = document["areas"][name]["area_mm2"]
        assert loaded.area_mm2(name) == pytest.approx(size, rel=0.005), name


@pytest.mark.parametrize("moved", [False, True])
def test_areas_of_the_command_line_count_in_blender(
    crown: SimpleNamespace,
    extension: SimpleNamespace,
    surfaces: SimpleNamespace,
    tmp_path: Path,
    moved: bool,
) -> None:
    """Loaded for an imported copy of the design, they give the numbers that the core gives."""
    bpy, part = crown.bpy, extension.part
    refine, files = part("standalone_core.mesh.refine"), part("standalone_core.areas.files")
    evaluation = refine.evaluation_mesh(surfaces.design, extension.spacing_mm)
    settings = part("standalone_core.areas.area_set").AreaSettings(margin_band_mm=0.6)
    found = part("standalone_core.areas.find").find_areas(evaluation, settings)
    area = part("standalone_core.areas.area_set").Area
    found = found.replaced([area("tips", evaluation.points[:, 2] > 4.5, "user")])
    path = files.save_areas(tmp_path / "areas.json", found)
    stl = tmp_path / "Entwurf.stl"
    part("standalone_core.mesh.files").write_mesh(stl, surfaces.design)
    bpy.ops.wm.stl_import(filepath=str(stl))
    crown.settings.design = bpy.context.active_object
    if moved:
        crown.settings.design.location = (3.0, 4.0, 5.0)
        bpy.context.view_layer.update()
    assert bpy.ops.cuspwise.load_areas(filepath=str(path)) == {"FINISHED"}
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    check = part("standalone_core.check")
    expected = check.check_meshes(
        surfaces.design,
        surfaces.scan,
        check.CheckSettings(spacing_mm=extension.spacing_mm, areas_file=path),
    )
    rows = part("addon.check.store").rows_of(part("addon.check.store").result_of(crown.scan))
    assert [row["area"] for row in rows] == [*expected.area_set.areas]
    for row in rows:
        wanted = expected.measures_of(row["area"])
        assert row["area_mm2"] == pytest.approx(wanted.area_mm2, rel=2e-3), row["area"]
        assert row["rms_um"] == pytest.approx(wanted.rms_um, abs=0.05), row["area"]
    assert crown.scan.cuspwise.state == "CURRENT"
    assert "Area: tips" in crown.settings.design.vertex_groups


def test_loading_replaces_and_makes_out_of_date(checked: SimpleNamespace, tmp_path: Path) -> None:
    bpy, path = checked.bpy, tmp_path / "areas.json"
    checked.design.vertex_groups.new(name="Area: mine").add([1, 2, 3], 1.0, "REPLACE")
    assert bpy.ops.cuspwise.save_areas(filepath=str(path)) == {"FINISHED"}
    checked.design.vertex_groups.remove(checked.design.vertex_groups["Area: mine"])
    checked.design.vertex_groups.new(name="Area: other").add([1, 2, 3], 1.0, "REPLACE")
    assert bpy.ops.cuspwise.load_areas(filepath=str(path)) == {"FINISHED"}
    assert "Area: other" not in checked.design.vertex_groups
    assert sorted(members(checked.design, "Area: mine")) == [1, 2, 3]
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"


def test_area_files_are_refused_with_a_reason(crown: SimpleNamespace, tmp_path: Path) -> None:
    bpy, path = crown.bpy, tmp_path / "areas.json"
    with pytest.raises(RuntimeError, match="No file was given"):
        bpy.ops.cuspwise.load_areas()
    path.write_text("{}")
    with pytest.raises(RuntimeError, match="not an areas file"):
        bpy.ops.cuspwise.load_areas(filepath=str(path))
    crown.design.data.vertices[5].co.x += 0.01
    assert bpy.ops.cuspwise.save_areas(filepath=str(path)) == {"FINISHED"}
    crown.design.data.vertices[5].co.x -= 0.01
    with pytest.raises(RuntimeError, match=r"another design.*Choose the design"):
        bpy.ops.cuspwise.load_areas(filepath=str(path))
    with pytest.raises(RuntimeError, match="could not be written"):
        bpy.ops.cuspwise.save_areas(filepath=str(tmp_path / "none" / "areas.json"))
    assert not crown.design.vertex_groups


def test_any_number_of_own_areas_is_kept_with_a_result(
    crown: SimpleNamespace, extension: SimpleNamespace
) -> None:
    """Sixty of them, more than a whole number of Blender's has bits: judged anew, none is lost."""
    bpy, store = crown.bpy, extension.part("addon.check.store")
    heights = np.array([v.co.z for v in crown.design.data.vertices])
    steps = np.linspace(heights.min() + 0.2, heights.max() - 0.2, 60)
    for k, height in enumerate(steps):
        group = crown.design.vertex_groups.new(name=f"Area: above {k}")
        group.add(np.flatnonzero(heights > height).tolist(), 1.0, "REPLACE")
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    before = {row["area"]: row for row in store.rows_of(store.result_of(crown.scan))}
    assert {f"above {k}" for k in range(60)} <= before.keys()
    kept = store.kept_of(crown.scan).area_set
    counts = [int(kept[f"above {k}"].points.sum()) for k in range(60)]
    assert counts == [before[f"above {k}"]["n"] for k in range(60)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[30] > counts[31] > counts[59] > 0
    assert all(kept[name].points.sum() == before[name]["n"] for name in ("whole", "margin"))
