"""Areas as vertex groups: found, edited, used, kept."""

from __future__ import annotations

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
    words = extension.part("standalone_core.report.words").area_words
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
    store = extension.part("addon.store")
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
    assert checked.scan.cuspwise.state == "STALE"


def test_an_edited_margin_line_moves_the_band(
    checked: SimpleNamespace, extension: SimpleNamespace
) -> None:
    store = extension.part("addon.store")
    line = checked.design.cuspwise.margin_line
    for point in line.data.splines[0].points:
        point.co.z += 0.5
    assert checked.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    kept = store.result_of(checked.scan)
    assert kept["check"]["margin_line"]["origin"] == "file"
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
