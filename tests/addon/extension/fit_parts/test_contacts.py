"""Contacts in Blender: of a crown shifted by a known way, kept, shown, and out of date."""

from __future__ import annotations

import json
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from calls import call
from caused import drawn


def rows(case: SimpleNamespace, crown: Any = None) -> dict[str, dict[str, Any]]:
    """What is kept of the first contact with each tooth."""
    found: dict[str, dict[str, Any]] = {}
    for row in json.loads((crown or case.scan).cuspwise.teeth.contacts)["rows"]:
        found.setdefault(row["tooth"], row)
    return found


def reason(case: SimpleNamespace) -> str:
    case.bpy.context.view_layer.update()
    return str(case.part("addon.fit.contacts").why_out_of_date(case.scan, case.scene))


def only_mesial(case: SimpleNamespace) -> None:
    """Take the other teeth off the lists."""
    case.teeth.antagonist = None
    number = [item.tooth.name for item in case.teeth.neighbours].index("Distal")
    assert call(case, "remove_neighbour", number=number) == {"FINISHED"}


def test_a_shifted_crown_is_lighter_on_one_side_and_tighter_on_the_other(
    mouth: SimpleNamespace,
) -> None:
    """By 35 µm along the common normal, which a neighbour's outermost place has by construction."""
    found = rows(mouth)
    assert found["Mesial"]["change_um"] == pytest.approx(35.0, abs=1.0)
    assert found["Distal"]["change_um"] == pytest.approx(-35.0, abs=1.0)
    words = f"{round(found['Mesial']['change_um'])} µm lighter than designed"
    assert found["Mesial"]["sentence"] == f"Mesial contact {words}."
    assert found["Distal"]["side"] == "distal"  # told from the mesial neighbour
    assert found["Antagonist"]["kind"] == "occlusal"


def test_the_map_is_the_signed_gap_near_the_teeth(mouth: SimpleNamespace) -> None:
    """Against the distances that Blender itself finds, in single precision."""
    values = mouth.part("addon.fit.contacts").CONTACTS.values(mouth.scan)
    near = np.flatnonzero(np.isfinite(values))
    assert 0 < len(near) < 0.5 * len(values)
    teeth = [mouth.objects[name] for name in ("Mesial", "Distal", "Antagonist")]
    for k in near[:: max(1, len(near) // 40)]:
        at = mouth.scan.data.vertices[k].co
        away = min((tooth.closest_point_on_mesh(at)[1] - at).length for tooth in teeth)
        assert abs(values[k]) == pytest.approx(away, abs=2e-5)


def test_what_is_moved_edited_or_named_otherwise_puts_them_out_of_date(
    mouth: SimpleNamespace,
) -> None:
    mesial = mouth.objects["Mesial"]
    assert reason(mouth) == ""
    mesial.name = "Zahn 35"
    assert reason(mouth) == ""
    mesial.location.x += 0.01
    assert reason(mouth).startswith("Zahn 35 was moved")
    mesial.location.x -= 0.01
    assert reason(mouth) == ""
    mouth.teeth.open_um = 15.0
    assert reason(mouth) == "What is asked for was changed."
    mouth.teeth.open_um = 10.0
    mouth.teeth.neighbours[0].side = "distal"
    assert reason(mouth).startswith("Other teeth")
    mouth.teeth.neighbours[0].side = "mesial"
    mouth.teeth.neighbours[1].side = "unknown"
    mesial.data.vertices[3].co.z += 0.01
    mesial.data.update()
    assert "mesh of Zahn 35 was changed" in reason(mouth)
    assert "Out of date" in " ".join(drawn(mouth))


def test_everything_moved_together_changes_nothing(mouth: SimpleNamespace) -> None:
    for obj in mouth.objects:
        obj.location = (100.0, -40.0, 12.0)
    assert reason(mouth) == ""


def test_the_contacts_are_those_of_where_the_crown_lies_now(mouth: SimpleNamespace) -> None:
    """The scan moved back by hand: it touches as designed; nothing else was moved."""
    only_mesial(mouth)
    places = {o.name: o.matrix_world.copy() for o in mouth.objects}
    motion = mouth.part("standalone_core.demo.crown").DIRECTIONS.mesial * 0.035
    mouth.scan.location = motion.tolist()
    mouth.bpy.context.view_layer.update()
    places["Scan"] = mouth.scan.matrix_world.copy()
    assert call(mouth, "check_contacts") == {"FINISHED"}
    assert rows(mouth)["Mesial"]["sentence"] == "Mesial contact as designed."
    assert {o.name: o.matrix_world.copy() for o in mouth.objects} == places


def test_the_map_hides_the_teeth_and_brings_them_back(mouth: SimpleNamespace) -> None:
    for obj in mouth.objects:
        obj.hide_set(False)
    assert call(mouth, "show_contacts") == {"FINISHED"}
    assert [o.name for o in mouth.objects if not o.hide_get()] == ["Scan"]
    maps = mouth.part("addon.fit.crown_maps")
    legend, _heads, _swatches = maps.legend_of(mouth.scene, mouth.scan)
    words = [tick.text for tick in legend.ticks]
    assert words[0].endswith("gap or more")
    assert "touching" in words
    assert words[-1].endswith("overlap or more")
    assert legend.unmeasured_text == "Nothing near"
    call(mouth, "remove_colour_map")
    assert not any(o.hide_get() for o in mouth.objects)


def test_a_click_goes_to_a_contact(mouth: SimpleNamespace) -> None:
    if mouth.settings.show_colours:
        call(mouth, "remove_colour_map")
    for obj in mouth.objects:
        obj.hide_set(False)
    assert call(mouth, "frame_contact", number=0) == {"FINISHED"}
    first = json.loads(mouth.scan.cuspwise.teeth.contacts)["rows"][0]
    assert np.array(mouth.scene.cursor.location) == pytest.approx(first["local"], abs=1e-5)
    # The other teeth would stand before it.
    assert [o.name for o in mouth.objects if not o.hide_get()] == ["Scan"]
    assert mouth.settings.place.obj == mouth.scan
    assert call(mouth, "leave_place") == {"FINISHED"}
    assert not any(o.hide_get() for o in mouth.objects)
    with pytest.raises(RuntimeError, match="has no place"):
        call(mouth, "frame_contact", number=40)


def test_the_sidebar_reads_every_contact(mouth: SimpleNamespace) -> None:
    said = " ".join(drawn(mouth))
    for row in rows(mouth).values():
        assert row["sentence"] in said
    assert "Mesial (proximal): open, " in said
    assert "Designed: " in said
    assert "overlap" in said


def test_a_tooth_elsewhere_is_told_in_words_that_serve_here(
    mouth: SimpleNamespace, capfd: pytest.CaptureFixture[str]
) -> None:
    only_mesial(mouth)
    mouth.bpy.context.scene.cuspwise.fit.crown = "DESIGN"
    mouth.objects["Mesial"].location.z += 40.0
    mouth.bpy.context.view_layer.update()
    assert call(mouth, "check_contacts") == {"FINISHED"}
    (warning,) = json.loads(mouth.design.cuspwise.teeth.contacts)["warnings"]
    assert "no neighbour of it, or it does not stand where it belongs. Move it" in warning
    assert "xport" not in warning
    assert warning in capfd.readouterr().out
    assert warning in " ".join(drawn(mouth))


def test_it_asks_for_teeth_that_are_not_the_crown(mouth: SimpleNamespace) -> None:
    mouth.teeth.antagonist = mouth.scan
    with pytest.raises(RuntimeError, match="It is the crown itself"):
        call(mouth, "check_contacts")
    mouth.teeth.antagonist = None
    only_mesial(mouth)
    assert call(mouth, "remove_neighbour", number=0) == {"FINISHED"}
    with pytest.raises(RuntimeError, match="Choose neighbours or the antagonist first"):
        call(mouth, "check_contacts")
    mouth.bpy.ops.object.select_all(action="DESELECT")
    mouth.scan.select_set(True)
    with pytest.raises(RuntimeError, match="neither design, scan, nor listed"):
        call(mouth, "add_neighbours")


def test_circles_stay_while_the_map_is_out_of_date(mouth: SimpleNamespace) -> None:
    """In words that say so; the colours stay too."""
    rings = mouth.part("addon.fit.place_rings")
    assert call(mouth, "show_contacts") == {"FINISHED"}
    screens = (area for screen in mouth.bpy.data.screens for area in screen.areas)
    space = next(area.spaces.active for area in screens if area.type == "VIEW_3D")
    space.overlay.show_overlays = True
    mouth.bpy.context.view_layer.update()
    context = SimpleNamespace(scene=mouth.scene, space_data=space)
    _crown, before = rings.ringed(context)
    assert before
    assert not any("out of date" in place.words for place in before)
    mouth.scan.location.x += 0.01
    mouth.bpy.context.view_layer.update()
    _crown, after = rings.ringed(context)
    assert [place.local for place in after] == [place.local for place in before]
    assert all(place.words.endswith(", out of date") for place in after)
    assert len(rings.rings_of(mouth.scan, after, mouth.scene)) == len(before)
