"""Areas of one's own, made from a selection, and automatic ones given back."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call


def select_top(case: SimpleNamespace) -> list[int]:
    """Select the highest vertices of the design in Edit Mode, and stay there."""
    bpy, design = case.bpy, case.design
    case.settings.shown = "DESIGN"
    bpy.ops.object.select_all(action="DESELECT")
    bpy.context.view_layer.objects.active = design
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="DESELECT")
    bpy.ops.object.mode_set(mode="OBJECT")
    heights = np.array([v.co.z for v in design.data.vertices])
    chosen = heights > 4.0
    design.data.vertices.foreach_set("select", chosen)
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_mode(type="VERT")
    return list(np.flatnonzero(chosen))


def members(case: SimpleNamespace, group: str) -> list[int]:
    index = case.design.vertex_groups[group].index
    return [
        v.index
        for v in case.design.data.vertices
        if any(g.group == index and g.weight >= 0.5 for g in v.groups)
    ]


def rows(case: SimpleNamespace) -> dict[str, dict[str, Any]]:
    store = case.part("addon.check.store")
    return {row["area"]: row for row in store.rows_of(store.result_of(case.scan))}


def panel(case: SimpleNamespace) -> list[str]:
    from test_window_parts import drawn

    return drawn(case)


def test_an_area_is_made_of_what_is_selected_measured_judged_and_removed(
    checked: SimpleNamespace,
) -> None:
    """Made in Edit Mode, which goes on; its tolerance and its place in the list go with it."""
    top = select_top(checked)
    assert call(checked, "make_area", area=" cusp   tips ") == {"FINISHED"}
    assert checked.design.mode == "EDIT"
    checked.bpy.ops.object.mode_set(mode="OBJECT")
    assert members(checked, "Area: cusp tips") == top
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"
    assert call(checked, "add_area_row", rows="tolerances", area="cusp tips") == {"FINISHED"}
    checked.settings.tolerances[0].um = 2.0
    assert call(checked, "check_crown") == {"FINISHED"}
    tips = rows(checked)["cusp tips"]
    assert tips["n"] > 0
    assert tips["tolerance_um"] == 2.0
    assert tips["verdict"] == "outside"
    said = panel(checked)
    assert "Your own: cusp tips." in said
    assert f"{tips['area_mm2']:.1f} mm²" in said
    assert call(checked, "remove_area", area="cusp tips") == {"FINISHED"}
    assert "Area: cusp tips" not in checked.design.vertex_groups
    # The row that names it says what is wrong, and how to go on.
    with pytest.raises(RuntimeError, match=r"cusp tips.*Tolerances"):
        call(checked, "check_crown")
    assert call(checked, "remove_area_row", rows="tolerances", number=0) == {"FINISHED"}
    assert call(checked, "check_crown") == {"FINISHED"}
    assert "cusp tips" not in rows(checked)


def test_the_automatic_area_comes_back_alone(checked: SimpleNamespace) -> None:
    before = {name: members(checked, f"Area: {name}") for name in ("occlusal", "margin")}
    top = select_top(checked)
    checked.bpy.ops.object.mode_set(mode="OBJECT")
    for name in before:
        assert call(checked, "make_area", area=name) == {"FINISHED"}
        assert members(checked, f"Area: {name}") == top
    assert call(checked, "check_crown") == {"FINISHED"}
    assert rows(checked)["margin"]["n"] == rows(checked)["occlusal"]["n"]
    assert "Edited by you: margin and occlusal." in panel(checked)
    assert call(checked, "restore_area", area="occlusal") == {"FINISHED"}
    assert members(checked, "Area: occlusal") == before["occlusal"]
    assert members(checked, "Area: margin") == top
    assert checked.scan.cuspwise.state == "OUT_OF_DATE"
    assert call(checked, "restore_area", area="margin") == {"FINISHED"}
    assert members(checked, "Area: margin") == before["margin"]
    assert not checked.part("addon.areas.area_groups").user_areas(checked.design)
    assert call(checked, "check_crown") == {"FINISHED"}
    with pytest.raises(RuntimeError, match="not found automatically"):
        call(checked, "restore_area", area="cusp tips")


def test_names_that_are_taken_and_nothing_selected_are_refused(crown: SimpleNamespace) -> None:
    top = select_top(crown)
    assert top
    for name in ("", "whole crown", "supports", "support: 1"):
        with pytest.raises(RuntimeError, match="cannot be an area's name"):
            call(crown, "make_area", area=name)
    crown.bpy.ops.mesh.select_all(action="DESELECT")
    with pytest.raises(RuntimeError, match=r"No vertex is selected.*Edit Mode"):
        call(crown, "make_area", area="tips")
    crown.bpy.ops.object.mode_set(mode="OBJECT")
    assert not crown.design.vertex_groups


def test_a_scan_can_be_laid_on_an_area_of_ones_own(
    crown: SimpleNamespace, surfaces: SimpleNamespace
) -> None:
    """The same as on the occlusal surface, where somebody made both of the same vertices."""
    import json

    results = []
    assert call(crown, "find_areas") == {"FINISHED"}
    occlusal = members(crown, "Area: occlusal")
    crown.design.vertex_groups.new(name="Area: mine").add(occlusal[1:], 1.0, "REPLACE")
    crown.design.vertex_groups["Area: occlusal"].remove([occlusal[0]])
    crown.settings.fit_area = "LISTED"
    for area in ("mine", "occlusal"):
        assert call(crown, "add_area_row", rows="fit_areas", area=area) == {"FINISHED"}
        assert call(crown, "superimpose") == {"FINISHED"}
        results.append(json.loads(crown.scan.cuspwise.superimposition)["rms_um"])
        assert call(crown, "restore_position") == {"FINISHED"}
        assert call(crown, "remove_area_row", rows="fit_areas", number=0) == {"FINISHED"}
    assert results[0] == results[1]
    crown.settings.fit_area = "whole"
    assert call(crown, "superimpose") == {"FINISHED"}
    whole = json.loads(crown.scan.cuspwise.superimposition)["rms_um"]
    assert abs(whole - results[0]) > 1.0
    crown.settings.fit_area = "LISTED"
    with pytest.raises(RuntimeError, match="No area is listed"):
        call(crown, "superimpose")


def test_squares_of_colour_stand_beside_the_names(checked: SimpleNamespace) -> None:
    icons = checked.part("addon.drawing.colour_icons")
    assert icons.icon_of("#e69f00") == icons.icon_of("#e69f00")
    square = icons._kept[0]["#e69f00"]
    middle = 4 * (icons.SIDE * icons.SIDE // 2 + icons.SIDE // 2)
    found = list(square.icon_pixels_float)[middle : middle + 4]
    assert found == pytest.approx([0xE6 / 255, 0x9F / 255, 0.0, 1.0], abs=0.01)
