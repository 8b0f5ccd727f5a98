"""Causes in Blender are those of the core, and shown on the design."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from caused import FACTS, at_points, attribute, causes, drawn, reason, stated


def test_polls_say_what_comes_first(empty: SimpleNamespace, crown: SimpleNamespace) -> None:
    del empty
    ops = crown.bpy.ops.cuspwise
    for name in ("find_causes", "show_cause_map", "accept_found_mark", "dismiss_found_mark"):
        with pytest.raises(RuntimeError, match="Check the scan first"):
            getattr(ops, name)()
    assert "Check Crown comes first." in " ".join(drawn(crown))


def test_what_is_found_is_what_the_core_finds(
    explained: SimpleNamespace, scaled_crown: SimpleNamespace
) -> None:
    """From what is kept in the file, as from a check of the same meshes outside Blender."""
    part, kept = explained.part, causes(explained)
    settings = part("standalone_core.check_settings").CheckSettings(
        spacing_mm=explained.settings.spacing_mm,
        production=part("standalone_core.causes.settings").ProductionFacts(**FACTS),
    )
    check = part("standalone_core.check").check_meshes
    result = check(scaled_crown.design, scaled_crown.scan, settings)
    expected = part("standalone_core.explain").explain(result)
    rows = [row for row in kept["causes"] if row["stated"]]
    assert stated(kept) == [cause.cause for cause in expected.stated]
    assert rows[0]["family"] == "scale"
    for row, cause in zip(rows, expected.stated, strict=True):  # Blender's single precision
        for name in ("estimate", "low", "high", "rms_um"):
            assert row[name] == pytest.approx(getattr(cause, name), abs=0.02), name
    assert kept["maps"] == [*expected.fields_mm, "all", "left"]
    for key, made in expected.fields_mm.items():
        assert np.abs(at_points(explained, key) - made).max() < 1e-4
    assert np.nanmax(np.abs(at_points(explained, "left") - expected.left_mm)) < 1e-4
    assert list(kept["correction"]) == [one.axis for one in expected.corrections]
    for one in expected.corrections:
        for name in ("factor_used", "factor_next", "low", "high"):
            found = kept["correction"][one.axis][name]
            assert found == pytest.approx(getattr(one, name), abs=3e-5), name


def test_a_bur_in_micrometres_is_refused(explained: SimpleNamespace) -> None:
    before = explained.scan.cuspwise.causes
    explained.settings.causes.production.bur_radius_mm = 300.0
    with pytest.raises(RuntimeError, match=r"Bur Radius.*0\.3"):
        explained.bpy.ops.cuspwise.find_causes()
    assert explained.scan.cuspwise.causes == before


def test_an_out_of_date_result_is_not_explained(explained: SimpleNamespace) -> None:
    explained.scan.location.x += 0.01
    explained.bpy.context.view_layer.update()
    assert reason(explained) == "Scan or design was moved."
    with pytest.raises(RuntimeError, match="Check again first"):
        explained.bpy.ops.cuspwise.find_causes()


def test_maps_are_attributes_and_colours_derive_from_them(explained: SimpleNamespace) -> None:
    case, ops = explained, explained.bpy.ops.cuspwise
    colours = case.part("standalone_core.report.drawing.deviation_colours").deviation_colours
    limit_um = case.settings.shown_limit_um
    count = len(case.design.data.vertices)
    maps = causes(case)["maps"]
    for key in maps:
        assert np.allclose(attribute(case, key), at_points(case, key)[:count], equal_nan=True)
        assert ops.show_cause_map(key=key) == {"FINISHED"}
        assert case.settings.shown_limit_um == limit_um  # that of the deviations: maps compare
        assert (case.design.hide_get(), case.scan.hide_get()) == (False, True)
        expected = colours(attribute(case, key), limit_um / 1e3).astype(int)
        assert np.abs(shown_colours(case.design) - expected).max() <= 1
    single = sum(attribute(case, key) for key in maps if key not in ("all", "left"))
    assert np.allclose(attribute(case, "all"), single, atol=1e-6)
    with pytest.raises(RuntimeError, match="no map of layer_steps"):
        ops.show_cause_map(key="layer_steps")


def shown_colours(obj: Any) -> np.ndarray:
    data = obj.data.color_attributes["Cuspwise Colours"].data
    flat = np.empty(4 * len(data), dtype=np.float32)
    data.foreach_get("color_srgb", flat)
    return np.rint(255 * flat.reshape(-1, 4)[:, :3]).astype(int)


def test_the_legend_says_what_is_shown(explained: SimpleNamespace) -> None:
    case, cause_map = explained, explained.part("addon.causes.cause_map")
    words = case.part("standalone_core.causes.words").cause_words
    row = causes(case)["causes"][0]
    case.bpy.ops.cuspwise.show_cause_map(key=row["cause"])
    made_by = words(row["cause"], row["family"])
    assert " ".join(cause_map.heads(case.scene, case.scan)) == f"Deviation, µm, made by {made_by}"
    case.bpy.ops.cuspwise.show_cause_map(key="left")
    assert cause_map.heads(case.scene, case.scan)[0] == "Deviation left, µm"
    assert "Map of what is left" in drawn(case)


def test_the_deviations_come_back(explained: SimpleNamespace) -> None:
    case, ops = explained, explained.bpy.ops.cuspwise
    before = shown_colours(case.scan)
    ops.show_cause_map(key="left")
    assert not case.scan.cuspwise.coloured
    with pytest.raises(RuntimeError, match="press Show Colour Map first"):
        ops.read_value()
    assert ops.show_colour_map() == {"FINISHED"}
    assert (case.design.hide_get(), case.scan.hide_get()) == (True, False)
    assert (shown_colours(case.scan) == before).all()
    ops.show_cause_map(key="left")
    assert ops.remove_colour_map() == {"FINISHED"}
    assert (case.design.hide_get(), case.scan.hide_get()) == (False, False)
    assert not case.design.cuspwise.coloured


def test_another_scan_shows_its_own(explained: SimpleNamespace) -> None:
    """A scan without causes shows its deviations; back at the first one its map is there."""
    case = explained
    other = case.scan.copy()
    other.data = case.scan.data.copy()
    case.scene.collection.objects.link(other)
    other.cuspwise.causes = ""
    case.settings.scans.add().scan = other
    case.bpy.ops.cuspwise.show_cause_map(key="left")
    case.settings.scan_index = 1
    assert other.cuspwise.coloured
    assert not other.hide_get()
    case.settings.scan_index = 0
    assert case.design.cuspwise.coloured
    assert case.scan.hide_get()
    assert other.hide_get()


def test_the_panel_says_it_in_words(explained: SimpleNamespace) -> None:
    case, kept = explained, causes(explained)
    lines = case.part("addon.causes.cause_lines")
    caution = case.part("standalone_core.causes.words").CAUTION
    said = " ".join(drawn(case))
    for text in (*kept["sentences"], *kept["notes"]):
        assert text in said
    assert said.count(caution) == 1
    row = kept["causes"][0]
    assert lines.size_line(row) in said
    assert f"{lines.micrometres(row['rms_um'])} µm RMS" in said
    factor = next(iter(kept["correction"].values()))
    assert f"1.2450 → {factor['factor_next']:.4f}" in said
    assert "Looked for and not shown by these data: " in said
    assert "a prediction, nothing measured" in said
    assert "Out of date" not in said
