"""What is found is kept, shown on crown and die, and called out of date in time."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call
from caused import drawn
from seats import fit, gap_mm, graft, reason, world

HOME = np.eye(4)


def test_the_slider_runs_the_crown_down_along_its_path(seated: SimpleNamespace) -> None:
    kept, data = fit(seated), seated.design.cuspwise.fit
    seat, axis = np.array(kept["fit"]["T_die_crown"]), np.array(kept["axis"])
    assert np.allclose(world(seated.design), seat, atol=1e-6)
    for height in (2.5, 0.0, 0.125):
        data.height_mm = height
        assert np.allclose(world(seated.design)[:3, 3], seat[:3, 3] + height * axis, atol=1e-6)
        assert np.allclose(world(seated.design)[:3, :3], seat[:3, :3], atol=1e-6)
        assert reason(seated) == ""
    assert "cuspwise.back_to_design" in drawn(seated)
    assert call(seated, "back_to_design") == {"FINISHED"}
    assert "cuspwise.put_on_die" in drawn(seated)
    assert np.array_equal(world(seated.design), HOME)
    assert reason(seated) == ""
    assert call(seated, "put_on_die") == {"FINISHED"}
    assert np.allclose(world(seated.design)[:3, 3], seat[:3, 3] + 0.125 * axis, atol=1e-6)


def test_deviations_stay_what_they_are_meanwhile(
    checked: SimpleNamespace, seated_file: SimpleNamespace, extension: SimpleNamespace
) -> None:
    """A measured scan is run down, and superimposed and measured again from its die."""
    case = checked
    die = extension.add_object("Die", _slab(case))
    before = world(case.scan)
    graft(case, case.scan, seated_file.kept, die)
    place = case.scan.matrix_world @ case.scan.data.vertices[7].co
    assert call(case, "pick_landmarks", on="SCAN", location=place) == {"FINISHED"}
    (mark,) = case.scan.children
    case.bpy.context.view_layer.update()
    marked = case.part("addon.blender.frames").matrix_of(mark)
    case.scan.cuspwise.fit.height_mm = 3.0
    case.bpy.context.view_layer.update()
    assert np.linalg.norm(world(mark)[:3, 3] - marked[:3, 3]) > 2.0
    assert np.allclose(case.part("addon.blender.frames").matrix_of(mark), marked, atol=1e-5)
    assert np.abs(world(case.scan) - before).max() > 2.0
    assert case.scan.cuspwise.state == "CURRENT"
    assert case.part("addon.check.store").refresh(case.scan, case.scene)
    case.scan.cuspwise.fit.height_mm = 0.0
    case.bpy.context.view_layer.update()
    assert case.scan.cuspwise.state == "CURRENT"
    assert call(case, "back_to_design") == {"FINISHED"}
    assert np.allclose(world(case.scan), before, atol=1e-6)
    assert case.scan.cuspwise.state == "CURRENT"
    assert call(case, "put_on_die") == {"FINISHED"}
    case.settings.start = "in_place"
    assert call(case, "superimpose") == {"FINISHED"}  # from where it lies otherwise
    assert not case.scan.cuspwise.fit.is_on_die
    assert np.allclose(world(case.scan), before, atol=1e-3)


def _slab(case: SimpleNamespace) -> Any:
    """Anything that can be a die."""
    mesh = case.part("standalone_core.mesh.triangle_mesh").TriangleMesh
    return mesh(np.array([[0, 0, 0], [5, 0, 0], [0, 5, 0]], dtype=float), np.array([[0, 1, 2]]))


def test_the_map_is_an_attribute_and_colours_derive_from_it(seated: SimpleNamespace) -> None:
    case = seated
    colours = case.part("standalone_core.report.fit.colours")
    gap = case.part("standalone_core.fit.gap.result").GapMap
    assert call(case, "show_fit_map", key="gap") == {"FINISHED"}
    limit = fit(case)["limits_um"]["gap"]
    assert limit >= 50.0
    assert (case.design.hide_get(), case.die.hide_get()) == (False, True)
    data = case.design.data.color_attributes["Cuspwise Colours"].data
    flat = np.empty(4 * len(data), dtype=np.float32)
    data.foreach_get("color_srgb", flat)
    shown = np.rint(255 * flat.reshape(-1, 4)[:, :3]).astype(int)
    expected = colours.gap_coloured(gap(1e3 * gap_mm(case).astype(float), ()), limit).colours
    assert np.abs(shown - expected.astype(int)).max() <= 1
    legend, heads, swatches = case.part("addon.fit.gap_map").legend_of(case.scene, case.design)
    assert heads[0] == "Gap inside, µm"
    assert [words for _colour, words in swatches] == ["overlap"]
    assert legend.ticks[0].text == "0"
    assert legend.ticks[-1].position * limit == pytest.approx(float(legend.ticks[-1].text))
    with pytest.raises(RuntimeError, match="no such map"):
        call(case, "show_fit_map", key="relief")
    assert call(case, "remove_colour_map") == {"FINISHED"}
    assert (case.design.hide_get(), case.die.hide_get()) == (False, False)
    assert not case.design.cuspwise.coloured
    assert case.fit.map_key == ""


def test_the_deviations_come_back(
    checked: SimpleNamespace, seated_file: SimpleNamespace, extension: SimpleNamespace
) -> None:
    case = checked
    graft(case, case.scan, seated_file.kept, extension.add_object("Die", _slab(case)))
    bridge = case.part("addon.blender.bridge")
    gap = np.full(len(case.scan.data.vertices), 0.06)
    bridge.write_attribute(case.scan.data, "gap_mm grafted", "FLOAT", gap)
    map_of = case.part("addon.drawing.colour_map")
    assert call(case, "show_fit_map", key="gap") == {"FINISHED"}
    assert not map_of.shows_deviations(case.scene)
    assert case.design.hide_get()
    with pytest.raises(RuntimeError, match="press Show Colour Map first"):
        call(case, "read_value")
    assert call(case, "show_colour_map") == {"FINISHED"}
    assert map_of.shows_deviations(case.scene)
    assert not case.scan.hide_get()
    assert not case.bpy.data.objects["Die"].hide_get()


def test_spots_lie_on_the_crown_and_are_gone_to(seated: SimpleNamespace) -> None:
    case, kept = seated, fit(seated)
    spots = kept["fit"]["seat"]["contact_spots"]
    assert len(spots) >= 3
    assert sum(row["share"] for row in spots) == pytest.approx(1.0, abs=1e-4)
    for number, row in enumerate(spots):
        assert call(case, "frame_fit_place", kind="SPOT", number=number) == {"FINISHED"}
        assert np.allclose(case.scene.cursor.location, row["place_mm"], atol=1e-4)
    rings = case.part("addon.fit.spots_overlay").rings_of(case.design, case.scene)
    for ring, place in zip(rings, kept["spots_own"], strict=True):
        away = np.linalg.norm(ring - np.array(place), axis=1)
        assert away.max() < 0.31  # the surface's facets
        assert away.max() > 0.25
    with pytest.raises(RuntimeError, match="no such place"):
        call(case, "frame_fit_place", kind="SPOT", number=len(spots))
    assert call(case, "frame_fit_place", kind="WIDEST") == {"FINISHED"}
    margin = case.part("addon.fit.kept_margin").margin_of(case.design.cuspwise.fit.margin)
    place = margin.finish_mm[np.nanargmax(margin.gap_um)]
    assert np.allclose(case.scene.cursor.location, place, atol=1e-4)


def test_the_polar_plot_is_saved(seated: SimpleNamespace, tmp_path: Path) -> None:
    path = tmp_path / "Rand ü.svg"
    assert call(seated, "save_polar_plot", filepath=str(path)) == {"FINISHED"}
    text = path.read_text(encoding="utf-8")
    assert text.startswith("<svg")
    for words in ("mesial", "distolingual", "limit 120 µm", "Marginal gap of Design"):
        assert words in text
    with pytest.raises(RuntimeError, match="folder"):
        call(seated, "save_polar_plot", filepath=str(tmp_path / "none" / "a.svg"))


# Kept ----------------------------------------------------------------------------------------


def test_reloaded_and_renamed_it_is_the_same(seated: SimpleNamespace, tmp_path: Path) -> None:
    case, before = seated, fit(seated)
    place = world(case.design)
    case.design.name, case.die.name = "Krone Nr. 3", "Stumpf – größer"
    path = tmp_path / "kept.blend"
    case.bpy.ops.wm.save_as_mainfile(filepath=str(path))
    case.bpy.ops.wm.open_mainfile(filepath=str(path))
    case.scene = case.bpy.context.scene
    case.design = case.bpy.data.objects["Krone Nr. 3"]
    assert fit(case) == before
    assert reason(case) == ""
    assert np.array_equal(world(case.design), place)
    assert np.isfinite(gap_mm(case)).any()
    assert call(case, "back_to_design") == {"FINISHED"}
    assert np.array_equal(world(case.design), HOME)


def test_a_copy_keeps_it_and_the_original_too(seated: SimpleNamespace) -> None:
    copy = seated.design.copy()
    copy.data = seated.design.data.copy()
    seated.scene.collection.objects.link(copy)
    store = seated.part("addon.fit.fit_store")
    store.forget(copy)
    assert store.fit_of(copy) is None
    assert np.isfinite(gap_mm(seated)).any()
    store.forget(seated.design)
    assert not [a for a in seated.design.data.attributes if a.name.startswith("gap_mm")]


def test_undo_brings_back_what_was_kept(seated: SimpleNamespace) -> None:
    bpy, before = seated.bpy, fit(seated)
    bpy.ops.ed.undo_push(message="before")
    seated.design.cuspwise.fit.height_mm = 4.0
    seated.part("addon.fit.fit_store").forget(seated.design)
    bpy.ops.ed.undo_push(message="forgotten")
    bpy.ops.ed.undo()
    again = bpy.data.objects["Design"]
    seated.scene = bpy.context.scene
    assert fit(seated, again) == before
    assert reason(seated, again) == ""
    assert again.cuspwise.fit.height_mm == 0.0
    assert np.allclose(world(again), np.array(before["fit"]["T_die_crown"]), atol=1e-6)


# Out of date ---------------------------------------------------------------------------------


def _move_die(case: SimpleNamespace) -> None:
    case.die.location.x += 0.01


def _edit_die(case: SimpleNamespace) -> None:
    case.die.data.vertices[0].co.x += 0.01
    case.die.data.update()
    case.die.update_tag()


def _edit_crown(case: SimpleNamespace) -> None:
    case.design.data.vertices[0].co.x += 0.01
    case.design.data.update()
    case.design.update_tag()


def _scale_both(case: SimpleNamespace) -> None:
    for obj in (case.design, case.die):
        obj.scale *= 1.1


def _limit(case: SimpleNamespace) -> None:
    case.fit.marginal_limit_um = 100.0


def _draw_line(case: SimpleNamespace) -> None:
    call(case, "draw_finish_line", location=(0.0, 0.0, 0.0))


def _other_die(case: SimpleNamespace) -> None:
    other = case.die.copy()
    case.scene.collection.objects.link(other)
    case.fit.die = other


def _no_die(case: SimpleNamespace) -> None:
    case.bpy.data.objects.remove(case.die)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_move_die, "Design or die was moved"),
        (_edit_die, "mesh of its die was changed"),
        (_edit_crown, "mesh of its crown was changed"),
        (_scale_both, "size of crown or design"),
        (_limit, "chosen for it was changed"),
        (_draw_line, "finish line was changed"),
        (_other_die, "Another die"),
        (_no_die, "Its die is not in this scene"),
    ],
)
def test_changes_make_it_out_of_date(seated: SimpleNamespace, change: Any, words: str) -> None:
    before = fit(seated)
    assert call(seated, "back_to_design") == {"FINISHED"}
    assert reason(seated) == ""
    change(seated)
    assert words in reason(seated)
    assert "Seat it again." in " ".join(drawn(seated))
    assert fit(seated) == before  # still to be read


def test_what_moves_together_stays_up_to_date(seated: SimpleNamespace) -> None:
    assert call(seated, "back_to_design") == {"FINISHED"}
    for obj in (seated.design, seated.die):
        obj.location = (5.0, 6.0, -3.0)
    assert reason(seated) == ""
    assert call(seated, "put_on_die") == {"FINISHED"}
    kept = np.array(fit(seated)["fit"]["T_die_crown"])
    lies = np.linalg.inv(world(seated.die)) @ world(seated.design)
    assert np.allclose(lies, kept, atol=2e-6)


# Refused -------------------------------------------------------------------------------------


def test_the_die_is_another_object(unseated: SimpleNamespace) -> None:
    unseated.fit.die = unseated.design
    with pytest.raises(RuntimeError, match=r"Design: It is both the crown and the die"):
        call(unseated, "seat_crown")
    unseated.fit.die, unseated.fit.seated = unseated.die, unseated.design
    with pytest.raises(RuntimeError, match="Choose another object under Seated Scan"):
        call(unseated, "seat_crown")


def test_a_limit_in_millimetres_is_refused(unseated: SimpleNamespace) -> None:
    unseated.fit.marginal_limit_um = 0.12
    with pytest.raises(RuntimeError, match=r"Did you mean 120.*Take Unusual Numbers"):
        call(unseated, "seat_crown")


def test_what_is_held_says_so(seated: SimpleNamespace) -> None:
    """A crown that a constraint holds is not run down, and the panel says why."""
    assert call(seated, "back_to_design") == {"FINISHED"}
    holding = seated.design.constraints.new("LIMIT_LOCATION")
    holding.use_max_z, holding.max_z = True, 0.0
    seated.bpy.context.view_layer.update()
    seated.design.cuspwise.fit.height_mm = 2.0
    assert "Clear its constraints" in seated.design.cuspwise.fit.problem
    assert not seated.design.cuspwise.fit.is_on_die
    with pytest.raises(RuntimeError, match="Clear its constraints"):
        call(seated, "put_on_die")
    assert np.allclose(world(seated.design), HOME, atol=1e-6)


def test_no_die_that_matches_is_said_in_words(
    unseated: SimpleNamespace, extension: SimpleNamespace
) -> None:
    unseated.fit.die = extension.add_object("Slab", _slab(unseated))
    unseated.fit.lies_on_die = False
    with pytest.raises(RuntimeError) as caught:
        call(unseated, "seat_crown")
    said = str(caught.value)
    assert "Slab: It does not match Design" in said
    assert "file" not in said
    assert not unseated.design.cuspwise.fit.text


# The finish line -----------------------------------------------------------------------------


def test_the_margin_line_is_carried_over(unseated: SimpleNamespace) -> None:
    case = unseated
    with pytest.raises(RuntimeError, match="Press Find Areas"):
        call(case, "carry_over_margin_line")
    assert call(case, "find_areas") == {"FINISHED"}
    assert call(case, "carry_over_margin_line") == {"FINISHED"}
    line = case.die.cuspwise.finish_line
    assert (line.type, line.parent) == ("CURVE", case.die)
    assert line.data.splines[0].use_cyclic_u
    for point in list(line.data.splines[0].points)[::20]:
        found, near, *_ = case.die.closest_point_on_mesh(point.co.xyz)
        assert found
        assert (near - point.co.xyz).length < 1e-5
    assert "edit it as any curve" in " ".join(drawn(case))
    line.data.splines[0].points[0].co.x += 0.1  # edited, it is read as it is
    read = case.part("addon.fit.finish_line").read(case.die)
    assert read[0] == pytest.approx(np.array(line.data.splines[0].points[0].co)[:3])
    assert call(case, "remove_finish_line") == {"FINISHED"}
    assert case.part("addon.fit.finish_line").there(case.die) is None
    case.fit.lies_on_die = False
    with pytest.raises(RuntimeError, match="must lie on the die as designed"):
        call(case, "carry_over_margin_line")


def test_the_design_lies_on_its_die_where_both_are_together(
    unseated: SimpleNamespace, extension: SimpleNamespace, pair: SimpleNamespace
) -> None:
    assert unseated.fit.lies_on_die
    away = extension.add_object("Away", pair.die)
    away.location.x = 40.0
    unseated.bpy.context.view_layer.update()
    unseated.fit.die = away
    assert not unseated.fit.lies_on_die
    near = extension.add_object("Near", pair.design)
    near.location.x = 41.0
    unseated.bpy.context.view_layer.update()
    unseated.settings.design = near  # whichever is chosen last
    assert unseated.fit.lies_on_die
    unseated.settings.design = unseated.design
    assert not unseated.fit.lies_on_die
    assert "None: the margin is not measured." in " ".join(drawn(unseated))


def test_clicks_on_the_die_are_taken_back(unseated: SimpleNamespace) -> None:
    """Esc leaves the line that was there before, or none."""
    case, line = unseated, unseated.part("addon.fit.finish_line")
    kind = case.part("addon.operators.finish_line").DrawFinishLine
    operator = type("DrawFinishLine", (), {n: getattr(kind, n) for n in ("picked", "take_back")})()
    for before in (0, 3):
        operator._die, operator._before = case.die, line.read(case.die)
        for vertex in list(case.die.data.vertices)[: 20 * before + 81 : 20]:
            world = case.die.matrix_world @ vertex.co
            operator.picked(case.bpy.context, SimpleNamespace(obj=case.die, world=world))
        assert len(line.read(case.die)) > before
        operator.take_back()
        left = line.read(case.die)
        assert (0 if left is None else len(left)) == before
        for vertex in list(case.die.data.vertices)[:3]:
            assert call(case, "draw_finish_line", location=vertex.co) == {"FINISHED"}
    assert np.allclose(line.read(case.die)[:3], left)
