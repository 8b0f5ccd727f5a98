"""The colour map shows the core's palette, follows its limits and leaves nothing behind."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest


def colours_of(obj: Any) -> np.ndarray:
    """(n, 3) sRGB 0…255, as the vertices show them."""
    layer = obj.data.color_attributes["Cuspwise Colours"]
    flat = np.empty(4 * len(layer.data), dtype=np.float32)
    layer.data.foreach_get("color_srgb", flat)
    return np.rint(255 * flat.reshape(-1, 4)[:, :3]).astype(int)


def expected(case: SimpleNamespace, obj: Any, limit_um: float) -> np.ndarray:
    colour = case.part("standalone_core.report.drawing.deviation_colours")
    name = f"deviation_mm {case.scan.cuspwise.result_id}"
    values = case.part("addon.blender.bridge").read_attribute(obj.data, name)
    return colour.deviation_colours(values, limit_um / 1e3).astype(int)


@pytest.mark.parametrize("limit_um", [12.5, 50.0, 400.0])
def test_colours_equal_the_palette(checked: SimpleNamespace, limit_um: float) -> None:
    checked.settings.limit_is_automatic = False
    checked.settings.limit_um = limit_um
    for obj in (checked.design, checked.scan):
        assert np.abs(colours_of(obj) - expected(checked, obj, limit_um)).max() <= 1
        assert obj.data.color_attributes.active_color_name == "Cuspwise Colours"
    assert checked.scan.cuspwise.state == "CURRENT"


def test_automatic_limit_is_the_cores(checked: SimpleNamespace) -> None:
    legend = checked.part("standalone_core.report.drawing.legend")
    points = checked.part("addon.check.store").points_of(checked.scan)
    chosen = legend.colour_limit_um(*points, tolerance_um=25.0)
    assert checked.settings.shown_limit_um == chosen
    assert np.abs(colours_of(checked.scan) - expected(checked, checked.scan, chosen)).max() <= 1


def test_legend_says_what_the_core_says(checked: SimpleNamespace) -> None:
    core = checked.part("standalone_core.report.drawing.legend")
    points = checked.part("addon.check.store").points_of(checked.scan)
    checked.settings.limit_is_automatic = False
    checked.settings.limit_um = 20.0
    found = checked.part("addon.drawing.colour_map").legend_of(checked.scene)
    wanted = core.make_legend(*points, limit_um=20.0, tolerance_um=25.0)
    assert found.clipped_text == wanted.clipped_text
    assert found.unmeasured_text == wanted.unmeasured_text
    assert found.ticks == wanted.ticks
    assert found.band is None  # the tolerance lies outside the map


def test_removing_brings_back_materials_and_views(crown: SimpleNamespace) -> None:
    bpy = crown.bpy
    enamel, dentine = (bpy.data.materials.new(name) for name in ("enamel", "dentine"))
    crown.scan.data.materials.append(enamel)
    crown.scan.data.materials.append(None)
    crown.scan.material_slots[1].link = "OBJECT"
    crown.scan.material_slots[1].material = dentine
    crown.scan.data.color_attributes.new("mine", "BYTE_COLOR", "POINT")
    crown.scan.data.color_attributes.active_color_name = "mine"
    crown.scene.view_settings.view_transform = "AgX"
    views = [
        area.spaces.active.shading
        for screen in bpy.data.screens
        for area in screen.areas
        if area.type == "VIEW_3D"
    ]
    assert views
    for shading in views:
        shading.color_type = "OBJECT"
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert {shading.color_type for shading in views} == {"VERTEX"}
    assert crown.scene.view_settings.view_transform == "Standard"
    assert {s.material.name for s in crown.scan.material_slots} == {"Cuspwise Colours"}
    assert bpy.ops.cuspwise.remove_colour_map() == {"FINISHED"}
    assert {shading.color_type for shading in views} == {"OBJECT"}
    assert crown.scene.view_settings.view_transform == "AgX"
    slots = [(slot.link, slot.material) for slot in crown.scan.material_slots]
    assert slots == [("DATA", enamel), ("OBJECT", dentine)]
    assert list(crown.scan.data.materials) == [enamel, None]
    assert crown.scan.data.color_attributes.active_color_name == "mine"
    assert not crown.design.material_slots
    assert "Cuspwise Colours" not in crown.design.data.color_attributes
    assert "Cuspwise Colours" not in bpy.data.materials
    with pytest.raises(RuntimeError, match="No colour map is shown"):
        bpy.ops.cuspwise.remove_colour_map()
    assert bpy.ops.cuspwise.show_colour_map() == {"FINISHED"}
    with pytest.raises(RuntimeError, match="shown already"):
        bpy.ops.cuspwise.show_colour_map()


def test_one_surface_is_looked_at(checked: SimpleNamespace) -> None:
    """Of two surfaces that lie micrometres apart one hides, and comes back."""
    design, scan = checked.design, checked.scan
    assert (design.hide_get(), scan.hide_get()) == (True, False)
    checked.settings.shown = "DESIGN"
    assert (design.hide_get(), scan.hide_get()) == (False, True)
    checked.settings.shown = "BOTH"
    assert (design.hide_get(), scan.hide_get()) == (False, False)
    checked.settings.shown = "SCAN"
    assert checked.bpy.ops.cuspwise.remove_colour_map() == {"FINISHED"}
    assert (design.hide_get(), scan.hide_get()) == (False, False)


def test_colours_follow_the_chosen_scan(checked: SimpleNamespace) -> None:
    other = checked.scan.copy()
    other.data = checked.scan.data.copy()
    checked.scene.collection.objects.link(other)
    item = checked.settings.scans.add()
    item.scan = other
    checked.settings.scan_index = 1
    assert other.cuspwise.coloured
    assert not checked.scan.cuspwise.coloured
    assert not checked.scan.material_slots
    checked.settings.scan_index = 0
    assert checked.scan.cuspwise.coloured
    assert not other.cuspwise.coloured


@pytest.mark.parametrize("deviation_um", [18.0, -37.0, float("nan")])
def test_renders_show_the_palette(
    checked: SimpleNamespace, tmp_path: Path, deviation_um: float
) -> None:
    """One deviation all over: every pixel of the surface has its colour."""
    checked.bpy.context.scene.cuspwise.limit_is_automatic = False
    bridge = checked.part("addon.blender.bridge")
    name = f"deviation_mm {checked.scan.cuspwise.result_id}"
    values = np.full(len(checked.scan.data.vertices), deviation_um / 1e3)
    bridge.write_attribute(checked.scan.data, name, "FLOAT", values)
    checked.settings.limit_um = 50.0
    shown = render(checked, tmp_path / "scan.png")
    colour = checked.part("standalone_core.report.drawing.deviation_colours").deviation_colours(
        values[:1], 0.05
    )
    assert len(shown) > 3000
    assert np.abs(shown - colour.astype(int)).max() <= 1


def render(case: SimpleNamespace, path: Path) -> np.ndarray:
    """Pixels of the scan seen from above, (k, 3), 0…255."""
    bpy, scene = case.bpy, case.scene
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    scene.collection.objects.link(camera)
    camera.data.type, camera.data.ortho_scale = "ORTHO", 14.0
    camera.location = (0.0, 0.0, 60.0)
    scene.camera = camera
    case.design.hide_render = True
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.device = 1, "CPU"
    scene.cycles.use_denoising = False
    scene.cycles.pixel_filter_type, scene.cycles.filter_width = "BOX", 0.01
    scene.render.resolution_x = scene.render.resolution_y = 120
    scene.render.dither_intensity = 0.0
    scene.render.film_transparent = True
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(str(path))
    flat = np.empty(4 * 120 * 120, dtype=np.float32)
    image.pixels.foreach_get(flat)
    pixels = np.rint(255 * flat.reshape(-1, 4)).astype(int)
    return pixels[pixels[:, 3] == 255, :3]


@pytest.mark.parametrize("palette", ["standard", "strong", "grey"])
def test_the_palette_changes_at_once(checked: SimpleNamespace, palette: str) -> None:
    """On the object and on the legend, without measuring anew."""
    before = checked.scan.cuspwise.result_id
    checked.settings.palette = palette
    colour = checked.part("standalone_core.report.drawing.deviation_colours")
    name = f"deviation_mm {before}"
    values = checked.part("addon.blender.bridge").read_attribute(checked.scan.data, name)
    limit_mm = checked.settings.shown_limit_um / 1e3
    shown = np.empty(4 * len(values), dtype=np.float32)
    data = checked.scan.data.color_attributes["Cuspwise Colours"].data
    data.foreach_get("color_srgb", shown)
    found = np.rint(255 * shown.reshape(-1, 4)[:, :3]).astype(int)
    expected = colour.deviation_colours(values, limit_mm, palette).astype(int)
    assert np.abs(found - expected).max() <= 1
    legend = checked.part("addon.drawing.colour_map").legend_of(checked.scene)
    assert legend.stops[0].colour == colour.hex_colour(-1.0, palette)
    assert legend.unmeasured_colour == colour.unmeasured_hex(palette)
    assert checked.scan.cuspwise.result_id == before
