"""Causes in Blender: those of the core, kept, shown on the design, out of date in time."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

FACTS = {"way": "printed", "build_direction": (0.0, 0.0, 1.0), "enlargement": 1.245}
SCALE = 1.003


def opened(path: Path, extension: SimpleNamespace) -> SimpleNamespace:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(path))
    scene, objects = bpy.context.scene, bpy.data.objects
    return SimpleNamespace(
        bpy=bpy,
        part=extension.part,
        scene=scene,
        settings=scene.cuspwise,
        design=objects["Design"],
        scan=objects["Scan"],
    )


@pytest.fixture(scope="module")
def scaled_crown(extension: SimpleNamespace, surfaces: SimpleNamespace) -> SimpleNamespace:
    """The demo's design, and a crown 0.3 % too large, somewhere else."""
    crown = extension.part("standalone_core.demo.crown").demo_crown(0.4)
    errors = extension.part("standalone_core.demo.production_errors")
    made = extension.part("standalone_core.demo.production").produce(
        crown,
        errors.ProductionErrors(scale=(SCALE,) * 3),
        edge_mm=0.4,
        rng=np.random.default_rng(3),
    )
    return SimpleNamespace(design=surfaces.design, scan=made.mesh)


@pytest.fixture(scope="module")
def explained_file(
    extension: SimpleNamespace,
    scaled_crown: SimpleNamespace,
    tmp_path_factory: pytest.TempPathFactory,
) -> Path:
    """A saved file in which that crown was checked and its causes were found."""
    import bpy

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    extension.set_up(scaled_crown)
    say(bpy.context.scene.cuspwise.causes.production)
    assert bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    assert bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    path = tmp_path_factory.mktemp("explained") / "erklärt.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


@pytest.fixture
def explained(explained_file: Path, extension: SimpleNamespace) -> SimpleNamespace:
    """That crown, opened anew from its file."""
    return opened(explained_file, extension)


def say(production: Any) -> None:
    for name, value in FACTS.items():
        setattr(production, name, value)


def causes(case: SimpleNamespace, scan: Any = None) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((scan or case.scan).cuspwise.causes)
    return found


def stated(kept: dict[str, Any]) -> list[str]:
    return [row["cause"] for row in kept["causes"] if row["stated"]]


def reason(case: SimpleNamespace, scan: Any = None) -> str:
    case.bpy.context.view_layer.update()
    store = case.part("addon.causes.causes_store")
    return str(store.why_out_of_date(scan or case.scan, case.scene))


def attribute(case: SimpleNamespace, key: str) -> np.ndarray:
    name = f"cause_mm {case.scan.cuspwise.causes_id} {key}"
    values: np.ndarray = case.part("addon.blender.bridge").read_attribute(case.design.data, name)
    return values


def drawn(case: SimpleNamespace) -> list[str]:
    """Everything that the sidebar says."""
    path = Path(__file__).with_name("test_window_parts.py")
    spec = importlib.util.spec_from_file_location("window_parts", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    notes: list[str] = module.drawn(case)
    return notes


# Found ----------------------------------------------------------------------------------------


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
    part = explained.part
    kept = causes(explained)
    settings = part("standalone_core.check_settings").CheckSettings(
        spacing_mm=0.4,
        production=part("standalone_core.causes.settings").ProductionFacts(**FACTS),
    )
    result = part("standalone_core.check").check_meshes(
        scaled_crown.design, scaled_crown.scan, settings
    )
    expected = part("standalone_core.explain").explain(result)
    assert stated(kept) == [cause.cause for cause in expected.stated] == ["scale"]
    (row,) = (row for row in kept["causes"] if row["stated"])
    (cause,) = expected.stated
    assert row["estimate"] == pytest.approx(cause.estimate, abs=0.02)  # ‰; single precision
    assert row["low"] < 1e3 * (SCALE - 1.0) < row["high"]
    assert row["rms_um"] == pytest.approx(cause.rms_um, abs=0.05)
    assert set(kept["maps"]) == {"scale", "all", "left"}
    there = causes_map(explained, "scale")
    made = expected.fields_mm["scale"]
    assert np.abs(there - made).max() < 1e-4
    assert kept["correction"]["all"]["factor_used"] == 1.245


def causes_map(case: SimpleNamespace, key: str) -> np.ndarray:
    values: np.ndarray = case.part("addon.causes.causes_store").map_of(case.scan, key)[0]
    return values


def test_the_verdict_neither_waits_nor_changes(explained: SimpleNamespace) -> None:
    before = explained.scan.cuspwise.result
    explained.settings.causes.production.way = "milled"
    assert explained.bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    assert explained.scan.cuspwise.result == before
    assert explained.scan.cuspwise.state == "CURRENT"
    assert causes(explained)["production"]["way"] == "milled"


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


# Shown ----------------------------------------------------------------------------------------


def test_maps_are_attributes_and_colours_derive_from_them(explained: SimpleNamespace) -> None:
    case, ops = explained, explained.bpy.ops.cuspwise
    colours = case.part("standalone_core.report.drawing.deviation_colours").deviation_colours
    limit_um = case.settings.shown_limit_um
    count = len(case.design.data.vertices)
    for key in ("scale", "all", "left"):
        assert np.allclose(attribute(case, key), causes_map(case, key)[:count], equal_nan=True)
        assert ops.show_cause_map(key=key) == {"FINISHED"}
        assert case.settings.shown_limit_um == limit_um  # that of the deviations: maps compare
        assert (case.design.hide_get(), case.scan.hide_get()) == (False, True)
        expected = colours(attribute(case, key), limit_um / 1e3).astype(int)
        assert np.abs(shown_colours(case.design) - expected).max() <= 1
    assert np.allclose(attribute(case, "all"), attribute(case, "scale"))
    with pytest.raises(RuntimeError, match="no map of growth"):
        ops.show_cause_map(key="growth")


def shown_colours(obj: Any) -> np.ndarray:
    data = obj.data.color_attributes["Cuspwise Colours"].data
    flat = np.empty(4 * len(data), dtype=np.float32)
    data.foreach_get("color_srgb", flat)
    return np.rint(255 * flat.reshape(-1, 4)[:, :3]).astype(int)


def test_the_legend_says_what_is_shown(explained: SimpleNamespace) -> None:
    case, cause_map = explained, explained.part("addon.causes.cause_map")
    case.bpy.ops.cuspwise.show_cause_map(key="scale")
    assert " ".join(cause_map.heads(case.scene, case.scan)) == (
        "Deviation, µm, made by scale in all directions"
    )
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
    row = next(row for row in kept["causes"] if row["stated"])
    assert lines.size_line(row) in said
    assert f"{lines.micrometres(row['rms_um'])} µm RMS" in said
    factor = kept["correction"]["all"]
    assert f"1.2450 → {factor['factor_next']:.4f}" in said
    assert "Looked for and not shown by these data: " in said
    assert "a prediction, nothing measured" in said
    assert "Out of date" not in said


# Kept -----------------------------------------------------------------------------------------


def test_reloaded_and_renamed_it_is_the_same(explained: SimpleNamespace, tmp_path: Path) -> None:
    case, before = explained, causes(explained)
    case.scan.name, case.design.name = "Krone Nr. 3", "Entwurf – größer"
    case.bpy.ops.cuspwise.show_cause_map(key="left")
    path = tmp_path / "kept.blend"
    case.bpy.ops.wm.save_as_mainfile(filepath=str(path))
    case.bpy.ops.wm.open_mainfile(filepath=str(path))
    case.scene, objects = case.bpy.context.scene, case.bpy.data.objects
    case.scan, case.design = objects["Krone Nr. 3"], objects["Entwurf – größer"]
    assert causes(case) == before
    assert reason(case) == ""
    assert case.scene.cuspwise.causes.map_key == "left"
    assert case.design.cuspwise.coloured
    assert np.isfinite(attribute(case, "left")).any()


def test_a_copy_keeps_them_and_finds_its_own(explained: SimpleNamespace) -> None:
    bpy = explained.bpy
    bpy.ops.object.select_all(action="DESELECT")
    explained.scan.select_set(True)
    bpy.context.view_layer.objects.active = explained.scan
    bpy.ops.object.duplicate()
    copy = bpy.context.active_object
    assert bpy.ops.cuspwise.add_scans() == {"FINISHED"}
    assert reason(explained, copy) == ""
    assert bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    assert copy.cuspwise.causes_id != explained.scan.cuspwise.causes_id
    assert np.isfinite(attribute(explained, "left")).any()
    own = copy.cuspwise.causes_id
    assert bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    left = [a.name for a in explained.design.data.attributes if a.name.startswith("cause_mm")]
    assert not any(own in name for name in left)
    assert len(left) == 6


def test_undo_brings_back_what_was_found_before(explained: SimpleNamespace) -> None:
    bpy = explained.bpy
    before = causes(explained)
    bpy.ops.ed.undo_push(message="before")
    explained.settings.causes.production.way = "milled"
    assert bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    bpy.ops.ed.undo_push(message="Find Causes")
    bpy.ops.ed.undo()
    case = SimpleNamespace(
        **{
            **vars(explained),
            "scene": bpy.context.scene,
            "scan": bpy.data.objects["Scan"],
            "design": bpy.data.objects["Design"],
        }
    )
    assert causes(case) == before
    assert reason(case) == ""
    assert np.isfinite(attribute(case, "left")).any()


def _other_way(case: SimpleNamespace) -> None:
    case.settings.causes.production.way = "unknown"


def _other_factor(case: SimpleNamespace) -> None:
    case.settings.causes.production.enlargement = 1.25


def _scanner(case: SimpleNamespace) -> None:
    case.settings.causes.scanner_is_known = True


def _tolerance(case: SimpleNamespace) -> None:
    case.settings.tolerance_margin_um = 33.0


def _check_again(case: SimpleNamespace) -> None:
    assert case.bpy.ops.cuspwise.check_crown() == {"FINISHED"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_other_way, "said of the production"),
        (_other_factor, "said of the production"),
        (_scanner, "scanner's scale"),
        (_tolerance, "tolerances"),
        (_check_again, "checked again"),
    ],
)
def test_changes_make_them_out_of_date(explained: SimpleNamespace, change: Any, words: str) -> None:
    assert reason(explained) == ""
    change(explained)
    assert words in reason(explained)
    assert "Find causes again." in " ".join(drawn(explained))
    assert stated(causes(explained)) == ["scale"]  # still to be read


def test_each_group_has_facts_of_its_own(explained: SimpleNamespace) -> None:
    case, production = explained, explained.part("addon.causes.production")
    item = case.settings.scans[0]
    item.group = "  Tilted "
    assert reason(case) == ""  # begins as what was said of it before
    production.production_of(case.scene, case.scan).enlargement = 1.3
    assert "production" in reason(case)
    assert case.settings.causes.production.enlargement == pytest.approx(1.245)
    item.group = "tilted"
    assert production.facts_of(case.scene, case.scan)["enlargement"] == 1.3
    item.group = ""
    assert reason(case) == ""


# Support marks that nobody marked -------------------------------------------------------------


def with_found_marks(case: SimpleNamespace) -> list[np.ndarray]:
    """Two of them on the design's outside, as if they had been found."""
    kept = causes(case)
    count = len(case.design.data.vertices)
    places = [np.array(case.design.data.vertices[k].co) for k in (count // 3, count // 2)]
    kept["marks"] = [
        {
            "place_mm": (place + 0.01).tolist(),
            "height_um": height,
            "kind": kind,
            "likelihood": 0.9,
            "radius_mm": 0.6,
            "answer": "open",
        }
        for place, height, kind in zip(places, (62.0, -48.0), ("stub", "gouge"), strict=True)
    ]
    case.scan.cuspwise.causes = json.dumps(kept)
    return places


def test_found_marks_are_accepted_or_dismissed(explained: SimpleNamespace) -> None:
    case, ops = explained, explained.bpy.ops.cuspwise
    assert not any("likelihood" in text for text in drawn(case))
    places = with_found_marks(case)
    said = drawn(case)
    assert "Stub +62 µm, likelihood 0.90" in said
    assert "Gouge −48 µm, likelihood 0.90" in said
    assert ops.frame_found_place(kind="marks", number=1) == {"FINISHED"}
    assert np.allclose(case.scene.cursor.location, places[1] + 0.01, atol=1e-5)
    assert ops.accept_found_mark(number=0) == {"FINISHED"}
    assert "Area: support: 1" in case.design.vertex_groups
    circle = case.part("addon.areas.support_marks").circles(case.design)["support: 1"]
    assert np.linalg.norm(np.array(circle["centre"]) - places[0]) < 0.02
    assert circle["radius_mm"] == 0.6
    rows = case.part("addon.check.mark_results").rows(case.scan, case.design)
    assert list(rows) == ["support: 1"]  # measured at once
    assert ops.dismiss_found_mark(number=1) == {"FINISHED"}
    assert not any("likelihood" in text for text in drawn(case))
    with pytest.raises(RuntimeError, match="no support mark 1"):
        ops.accept_found_mark(number=0)
    assert len(case.part("addon.areas.support_marks").names(case.design)) == 1


def test_a_milled_crown_had_a_holding_bar(explained: SimpleNamespace) -> None:
    with_found_marks(explained)
    explained.settings.causes.production.way = "milled"
    assert explained.bpy.ops.cuspwise.accept_found_mark(number=1) == {"FINISHED"}
    assert "Area: sprue: 1" in explained.design.vertex_groups


# The build direction --------------------------------------------------------------------------


def test_two_points_tell_the_build_direction(crown: SimpleNamespace) -> None:
    """In the design's own frame: it stays right when the design is turned."""
    from mathutils import Euler, Vector

    ops, facts = crown.bpy.ops.cuspwise, crown.settings.causes.production
    crown.design.rotation_euler = Euler((0.4, -0.7, 1.1))
    crown.bpy.context.view_layer.update()
    own = Vector((0.36, 0.48, -0.8))
    first = Vector((1.0, 2.0, 3.0))
    second = first + 5.0 * (crown.design.matrix_world.to_3x3() @ own)
    assert ops.pick_build_direction(first=first, second=second) == {"FINISHED"}
    assert np.allclose(facts.build_direction, own, atol=1e-6)
    lines = crown.part("addon.drawing.build_arrow").lines_of(crown.bpy.context)
    shaft = np.array(lines[1][1] - lines[1][0])
    there = np.array(crown.design.matrix_world.to_3x3() @ own)
    assert np.allclose(shaft / np.linalg.norm(shaft), there, atol=1e-5)
    with pytest.raises(RuntimeError, match="Both places are the same"):
        ops.pick_build_direction(first=first, second=first)
    assert ops.build_direction_from_axis(axis="NEG_X") == {"FINISHED"}
    assert tuple(facts.build_direction) == (-1.0, 0.0, 0.0)
    crown.settings.causes.show_build_direction = False
    assert crown.part("addon.drawing.build_arrow").lines_of(crown.bpy.context) == []
    assert ops.build_direction_from_axis(axis="NONE") == {"FINISHED"}
    assert crown.part("addon.causes.production").facts_of(crown.scene, crown.scan) == {
        "way": "unknown",
        "build_direction": None,
        "enlargement": None,
        "enlargement_along_build": None,
        "bur_radius_mm": None,
    }


def test_the_view_tells_the_build_direction(crown: SimpleNamespace) -> None:
    """Seen from above, towards the eye."""
    from mathutils import Euler

    bpy = crown.bpy
    screen = bpy.data.screens[0] if not bpy.context.screen else bpy.context.screen
    area = next(a for a in screen.areas if a.type == "VIEW_3D")
    region = next(r for r in area.regions if r.type == "WINDOW")
    turn = Euler((0.0, np.pi / 2, 0.0))
    area.spaces.active.region_3d.view_rotation = turn.to_quaternion()
    with bpy.context.temp_override(screen=screen, area=area, region=region):
        assert bpy.ops.cuspwise.build_direction_from_view() == {"FINISHED"}
    found = crown.settings.causes.production.build_direction
    assert np.allclose(found, (1.0, 0.0, 0.0), atol=1e-6)
