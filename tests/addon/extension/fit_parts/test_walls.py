"""Walls in Blender: the core's numbers, kept, shown, and out of date when they should be."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call
from caused import drawn


def kept(case: SimpleNamespace, crown: Any = None) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((crown or case.design).cuspwise.teeth.walls)
    return found


def reason(case: SimpleNamespace, crown: Any = None) -> str:
    """Why the walls are out of date, after Blender has taken note of changes."""
    case.bpy.context.view_layer.update()
    walls = case.part("addon.fit.walls")
    return str(walls.why_out_of_date(crown or case.design, case.scene))


def attribute(case: SimpleNamespace, key: str = "") -> np.ndarray:
    name = f"wall_mm {case.design.cuspwise.teeth.walls_id} {key}".rstrip()
    values: np.ndarray = case.part("addon.blender.bridge").read_attribute(case.design.data, name)
    return values


def look_at_design(case: SimpleNamespace) -> None:
    case.bpy.context.scene.cuspwise.fit.crown = "DESIGN"


def test_they_are_what_the_core_measures(mouth: SimpleNamespace, jaw: SimpleNamespace) -> None:
    """Place by place on the object's own mesh; and the core's own sentences."""
    part, run = mouth.part, mouth.part("standalone_core.progress").run
    making = part("standalone_core.fit.crown").ready_crown_steps(jaw.design, spacing_mm=0.4)
    crown = run(making)
    walls = run(part("standalone_core.fit.walls.measuring").measure_walls_steps(crown))
    expected = walls.thickness_mm[: len(jaw.design.vertices)]
    np.testing.assert_allclose(attribute(mouth), expected, atol=2e-4)  # Blender's float32 corners
    assert kept(mouth)["lines"] == part("standalone_core.fit.sentences").wall_lines(walls)
    occlusal = crown.parts["occlusal"][: len(expected)]
    spare = expected - np.where(occlusal, 1.0, 0.5)
    np.testing.assert_allclose(attribute(mouth, "spare"), spare, atol=2e-4)


def test_the_thinnest_places_lie_apart_and_are_told_from_the_neighbours(
    mouth: SimpleNamespace,
) -> None:
    places = kept(mouth)["places"]
    local = np.array([row["local"] for row in places])
    apart = np.linalg.norm(local[:, None] - local, axis=2)[np.triu_indices(len(local), 1)]
    assert len(places) == 5
    assert apart.min() >= 0.3
    assert all(row["thin"] == (row["thickness_mm"] < row["required_mm"]) for row in places)
    assert "mesial" in " ".join(row["where"] for row in places)


def test_a_click_goes_to_a_place(mouth: SimpleNamespace) -> None:
    look_at_design(mouth)
    mouth.design.location = (30.0, 0.0, 5.0)
    mouth.bpy.context.view_layer.update()
    assert call(mouth, "frame_thin_place", number=1) == {"FINISHED"}
    expected = np.array(kept(mouth)["places"][1]["local"]) + np.array([30.0, 0.0, 5.0])
    assert np.array(mouth.scene.cursor.location) == pytest.approx(expected, abs=1e-5)
    with pytest.raises(RuntimeError, match="there is no place 10"):
        call(mouth, "frame_thin_place", number=9)


def test_a_scan_is_held_against_its_design_wherever_it_lies(mouth: SimpleNamespace) -> None:
    """A copy of the design, turned and far away: nothing was lost."""
    mouth.scan.rotation_euler = (2.0, 0.3, 1.0)
    mouth.scan.location = (80.0, 20.0, 0.0)
    mouth.bpy.context.view_layer.update()
    assert call(mouth, "check_walls") == {"FINISHED"}
    found = kept(mouth, mouth.scan)
    assert all(abs(row["loss_um"]) < 0.1 for row in found["areas"])
    assert "as thick as designed" in found["lines"][0]
    assert reason(mouth, mouth.scan) == ""
    mouth.scan.rotation_euler = (0.0, 0.0, 0.0)
    assert reason(mouth, mouth.scan) == ""  # where it lies does not matter
    mouth.design.data.vertices[0].co.x += 0.01
    mouth.design.data.update()
    assert reason(mouth, mouth.scan) == "The mesh of Design was changed."


def test_they_are_out_of_date_once_something_else_is_so(mouth: SimpleNamespace) -> None:
    assert reason(mouth) == ""
    mouth.design.location.x += 3.0
    mouth.design.name = "Entwurf"
    assert reason(mouth) == ""
    mouth.design.scale.z = 1.001
    assert "was moved, or its scale" in reason(mouth)
    mouth.design.scale.z = 1.0
    assert reason(mouth) == ""
    mouth.teeth.least_axial_mm = 0.6
    look_at_design(mouth)
    said = " ".join(drawn(mouth))
    assert "Out of date: What is asked for was changed. Check walls again." in said
    mouth.teeth.least_axial_mm = 0.5
    before = mouth.design.data.vertices[7].co.copy()
    mouth.design.data.vertices[7].co.z += 0.01
    mouth.design.data.update()
    assert reason(mouth) == "The mesh of Entwurf was changed."
    mouth.design.data.vertices[7].co = before
    mouth.design.data.update()
    assert reason(mouth) == ""


def test_the_map_is_laid_over_the_crown_and_goes_without_a_trace(mouth: SimpleNamespace) -> None:
    """Amber where thinner than required; what lies on the crown is hidden meanwhile."""
    look_at_design(mouth)
    for obj in mouth.objects:
        obj.hide_set(False)
    assert call(mouth, "show_walls") == {"FINISHED"}
    colours = mouth.part("standalone_core.report.fit.colours")
    data = mouth.design.data.color_attributes["Cuspwise Colours"].data
    shown = np.empty(4 * len(data), dtype=np.float32)
    data.foreach_get("color_srgb", shown)
    rgb = np.rint(255 * shown.reshape(-1, 4)[:, :3])
    amber = [int(colours.BEYOND_HEX[k : k + 2], 16) for k in (1, 3, 5)]
    spare = attribute(mouth, "spare")
    np.testing.assert_array_equal((rgb == amber).all(axis=1), spare < -1e-6)
    assert (spare < -1e-6).any()
    assert [o.name for o in mouth.objects if not o.hide_get()] == ["Design"]
    mouth.scan.cuspwise.result = "{}"
    with pytest.raises(RuntimeError, match="A map of the crown's fit is shown"):
        call(mouth, "read_value")
    assert call(mouth, "remove_colour_map") == {"FINISHED"}
    assert "Cuspwise Colours" not in mouth.design.data.color_attributes
    assert not any(o.hide_get() for o in mouth.objects)


def test_the_legend_says_what_is_asked_for(mouth: SimpleNamespace) -> None:
    look_at_design(mouth)
    call(mouth, "show_walls")
    maps = mouth.part("addon.fit.crown_maps")
    legend, heads, swatches = maps.legend_of(mouth.scene, mouth.design)
    assert heads == ("Wall thickness, mm",)
    assert legend.tolerance_text == "Required: axial 0.5, occlusal 1"
    assert swatches[0][1] == "Thinner than required"
    assert maps.note(mouth.scene, mouth.design) == ""
    mouth.teeth.least_axial_mm = 0.7
    assert maps.note(mouth.scene, mouth.design) == "Out of date: check walls again"
    places = maps.shown_map(mouth.scene).places(mouth.design)
    rings = mouth.part("addon.fit.place_rings").rings_of(mouth.design, places, mouth.scene)
    assert len(rings) == 5
    away = [(corner - rings[0][0][0]).length for corner in rings[0][0]]
    assert 0.4 < max(away) <= 0.62  # across a ring of 0.3 mm


def test_the_sidebar_reads_them(mouth: SimpleNamespace) -> None:
    look_at_design(mouth)
    said = " ".join(drawn(mouth))
    assert "The walls are thinner than required" in said
    for line in kept(mouth)["lines"]:
        assert line in said
    assert "for a licensed professional to judge" in said
    for row in kept(mouth)["places"]:
        assert row["where"] in said


def test_what_cannot_be_measured_says_what_to_do(mouth: SimpleNamespace) -> None:
    """A solid tooth has no intaglio; a slip of a thousand is doubted; nothing is changed."""
    mouth.settings.design = mouth.objects["Mesial"]
    mouth.teeth.neighbours.clear()
    look_at_design(mouth)
    with pytest.raises(RuntimeError, match=r"no intaglio.*paint its intaglio"):
        call(mouth, "check_walls")
    mouth.settings.design = mouth.design
    before = mouth.design.cuspwise.teeth.walls
    mouth.teeth.least_axial_mm = 500.0
    with pytest.raises(RuntimeError, match=r"Did you mean 0\.5"):
        call(mouth, "check_walls")
    assert mouth.design.cuspwise.teeth.walls == before


def test_a_copy_keeps_its_walls(mouth: SimpleNamespace) -> None:
    """Measured anew, the crown leaves those of a copy that shares its mesh alone."""
    copy = mouth.design.copy()
    mouth.scene.collection.objects.link(copy)
    part = mouth.part("addon.fit.walls").WALLS
    assert part.values(copy) is not None
    part.forget(mouth.design)
    assert part.of(mouth.design) is None
    assert part.values(copy) is not None
    part.forget(copy)
    assert not [a.name for a in mouth.design.data.attributes if a.name.startswith("wall_mm")]
