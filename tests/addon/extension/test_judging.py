"""Results judged anew give what a fresh check gives, from both directions, without measuring."""

from __future__ import annotations

import json
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

# Places and weights are kept in single precision; deviations and heights in full.
REL = 2e-6
JUDGED = ("measures", "verdicts", "patches", "unmatched", "warnings", "margin_profile")


def fresh(case: SimpleNamespace) -> dict[str, Any]:
    """What a check gives that is made with the scene's choices of now, as the result keeps it."""
    inputs, store = case.part("addon.check.inputs"), case.part("addon.check.store")
    choices = case.part("addon.check.scene_choices")
    design = inputs.read_design(case.bpy.context)
    before = np.array(store.result_of(case.scan)["made_with"]["scan_before"])
    scan = inputs.read_scan(case.bpy.context, case.scan, design.frame, before)
    steps = inputs.check_input_steps(design, scan, choices.choices_of(case.settings))
    result = case.part("standalone_core.progress").run(steps)
    document = case.part("standalone_core.report.check.document").check_document(result)
    found: dict[str, Any] = case.part("addon.areas.support_marks").without_marks(document)
    return found


def assert_same(found: Any, wanted: Any, where: str) -> None:
    """Words and counts alike, numbers but for rounding."""
    if isinstance(wanted, dict):
        assert found.keys() == wanted.keys(), where
        for name in wanted:
            assert_same(found[name], wanted[name], f"{where}.{name}")
    elif isinstance(wanted, list):
        assert len(found) == len(wanted), where
        for number, pair in enumerate(zip(found, wanted, strict=True)):
            assert_same(*pair, f"{where}[{number}]")
    elif isinstance(wanted, float):
        assert found == pytest.approx(wanted, rel=REL, abs=REL, nan_ok=True), where
    else:
        assert found == wanted, where


CHOICES: list[dict[str, float]] = [
    {"tolerance_whole_um": 8.0, "tolerance_occlusal_um": 60.0, "tolerance_margin_um": 0.0},
    {"tolerance_whole_um": 3.0, "tolerance_margin_um": 120.0, "scanner_um": 2.5},
    {"max_unmatched_um": 900.0, "max_unmatched_mm2": 9.0},
    {"max_unmatched_um": 20.0, "max_unmatched_mm2": 0.0, "scanner_um": 9.0},
]


@pytest.mark.parametrize("choices", CHOICES)
def test_other_choices_give_what_a_fresh_check_gives(
    spoilt: SimpleNamespace, choices: dict[str, float]
) -> None:
    store = spoilt.part("addon.check.store")
    before, number = store.result_of(spoilt.scan)["check"], spoilt.scan.cuspwise.result_id
    for name, value in choices.items():
        setattr(spoilt.settings, name, value)
    kept, wanted = store.result_of(spoilt.scan), fresh(spoilt)
    assert spoilt.scan.cuspwise.result_id == number
    reasons = [[row["reason"] for row in part["verdicts"]] for part in (kept["check"], before)]
    assert reasons[0] != reasons[1]
    for name in (*JUDGED, "settings"):
        assert_same(kept["check"][name], wanted[name], name)
    assert {row["direction"] for row in wanted["measures"]} == {"design_to_scan", "scan_to_design"}
    assert wanted["unmatched"]
    assert kept["patch_limit_um"] == spoilt.settings.tolerance_whole_um


def test_unmatched_surface_decides_and_a_caveat_stands_by(spoilt: SimpleNamespace) -> None:
    store = spoilt.part("addon.check.store")
    found = {row.area: row for row in store.verdicts_of(store.result_of(spoilt.scan))}
    assert found["margin"].verdict == "outside"
    assert 100.0 < found["margin"].unmatched_um < 450.0
    assert "was not given" in found["margin"].caveat
    spoilt.settings.scanner_um = 1.5
    found = {row.area: row for row in store.verdicts_of(store.result_of(spoilt.scan))}
    assert found["margin"].scanner_um == 1.5
    assert not found["margin"].caveat
    assert math.isnan(found["axial"].tolerance_um)


def test_a_missing_margin_is_judged_by_the_scenes_limit(spoilt: SimpleNamespace) -> None:
    """0.8 mm of the kept profile lie 0.5 mm too low: outside, until a longer run is allowed."""
    store, bridge = spoilt.part("addon.check.store"), spoilt.part("addon.blender.bridge")
    mesh, settings = spoilt.scan.cuspwise.result_points, spoilt.settings
    for name, value in (("deviation_um", -500.0), ("counted", 1.0)):
        values = bridge.read_array(mesh, f"margin {name}")
        values[:8] = value
        bridge.write_array(mesh, f"margin {name}", values, np.float64)
    profile = store.profile_of(spoilt.scan)
    assert profile.summary.missing_mm == pytest.approx(0.8, abs=0.01)
    kept = store.result_of(spoilt.scan)
    plain = spoilt.part("standalone_core.report.check.document").plain
    kept["check"]["margin_profile"] |= plain(profile.summary)
    spoilt.scan.cuspwise.result = json.dumps(kept)
    settings.tolerance_margin_um = 150.0
    settings.max_unmatched_um, settings.max_unmatched_mm2 = 900.0, 90.0

    def margin() -> Any:
        found = store.verdicts_of(store.result_of(spoilt.scan))
        return next(row for row in found if row.area == "margin")

    assert margin().verdict == "outside"
    assert "short or broken along 0.8 of" in margin().reason
    settings.max_missing_mm = 1.0
    assert margin().verdict == "within"
    settings.max_missing_mm = 0.5
    assert margin().verdict == "outside"


def test_a_support_marked_afterwards_takes_its_surface_to_itself(
    spoilt: SimpleNamespace, spoilt_surfaces: SimpleNamespace
) -> None:
    """The post is unmatched surface until a support is marked there, and again without it."""
    store = spoilt.part("addon.check.store")

    def highest() -> float:
        pieces = store.result_of(spoilt.scan)["check"]["unmatched"]
        return max((piece["height_um"] for piece in pieces), default=0.0)

    before = store.result_of(spoilt.scan)["check"]
    assert highest() > 450.0
    place = spoilt_surfaces.post
    done = spoilt.bpy.ops.cuspwise.mark_support(location=place.tolist(), radius_mm=1.4)
    assert done == {"FINISHED"}
    assert 100.0 < highest() < 450.0
    wanted = fresh(spoilt)
    for name in JUDGED:
        assert_same(store.result_of(spoilt.scan)["check"][name], wanted[name], name)
    spoilt.settings.tolerance_whole_um = 9.0
    assert highest() < 450.0
    spoilt.settings.tolerance_whole_um = 25.0
    assert spoilt.bpy.ops.cuspwise.remove_mark() == {"FINISHED"}
    for name in JUDGED:
        assert_same(store.result_of(spoilt.scan)["check"][name], before[name], name)


def test_the_design_as_its_own_scan_is_not_decidable(
    crown: SimpleNamespace, surfaces: SimpleNamespace, extension: SimpleNamespace
) -> None:
    copy = extension.add_object("Copy", surfaces.design)
    copy.location = (3.0, -2.0, 1.0)
    crown.settings.scans[0].scan = copy
    crown.bpy.context.view_layer.update()
    assert crown.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    same = extension.part("standalone_core.deviation.verdict").SAME_SURFACE
    store = extension.part("addon.check.store")
    for whole_um in (25.0, 1.0):
        crown.settings.tolerance_whole_um = whole_um
        kept = store.result_of(copy)
        found = {row.area: row for row in store.verdicts_of(kept)}
        assert found["whole"].verdict == found["margin"].verdict == "not_decidable"
        assert found["whole"].reason == same
        assert same in kept["check"]["warnings"]


def test_reading_says_what_is_unmatched(spoilt: SimpleNamespace) -> None:
    store = spoilt.part("addon.check.store")
    kept = store.result_of(spoilt.scan)
    highest = kept["check"]["unmatched"][0]
    frame = spoilt.part("addon.blender.frames").frame_of(spoilt.design, spoilt.scene)
    world = frame.world_design @ np.append(np.array(highest["peak_mm"]) / frame.scale_mm, 1.0)
    done = spoilt.bpy.ops.cuspwise.read_value(on="SCAN", location=world[:3].tolist())
    assert done == {"FINISHED"}
    (label,) = spoilt.scan.children
    height = f"{highest['height_um'] / 1e3:.2f}"
    assert f"unmatched scan surface, {height} mm high" in label.cuspwise.caption
    # A sound place of the same scan says nothing of it, nor does the design.
    top = max(spoilt.scan.data.vertices, key=lambda vertex: vertex.co.z)
    for on in ("SCAN", "DESIGN"):
        before = {o.name for o in spoilt.bpy.data.objects}
        location = spoilt.scan.matrix_world @ top.co
        assert spoilt.bpy.ops.cuspwise.read_value(on=on, location=location) == {"FINISHED"}
        (label,) = (o for o in spoilt.bpy.data.objects if o.name not in before)
        assert "unmatched" not in label.cuspwise.caption


def test_heights_go_with_their_result(spoilt: SimpleNamespace) -> None:
    data, number = spoilt.scan.data, spoilt.scan.cuspwise.result_id
    assert f"unmatched_mm {number}" in data.attributes
    assert spoilt.bpy.ops.cuspwise.check_crown() == {"FINISHED"}
    found = [name for name in data.attributes.keys() if name.startswith("unmatched_mm")]  # noqa: SIM118
    assert found == [f"unmatched_mm {spoilt.scan.cuspwise.result_id}"]


def test_an_unmatched_patch_is_listed_and_framed_on_the_scan(spoilt: SimpleNamespace) -> None:
    listed = spoilt.scan.cuspwise.patches
    numbers = [k for k, patch in enumerate(listed) if patch.unmatched]
    assert numbers
    patches = spoilt.part("addon.check.store").result_of(spoilt.scan)["check"]["patches"]
    spoilt.settings.shown = "DESIGN"
    for number in numbers:
        assert listed[number].seen_from == "scan"
        spoilt.scan.cuspwise.patch_index = number
        own = spoilt.design.matrix_world.inverted() @ spoilt.scene.cursor.location
        assert np.array(own) == pytest.approx(patches[number]["peak_mm"], abs=1e-4)
        # What only the scan shows cannot be looked at on the design.
        assert spoilt.settings.shown == "SCAN"


def test_judged_meanwhile_it_is_the_same(
    spoilt: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a window a thread judges after the last change; until then the panel says so."""
    store, judging = spoilt.part("addon.check.store"), spoilt.part("addon.check.judging")
    meanwhile = spoilt.part("addon.check.judging_meanwhile")
    choices = spoilt.part("addon.check.scene_choices")
    spoilt.settings.tolerance_whole_um = 6.0
    wanted = spoilt.scan.cuspwise.result
    spoilt.settings.tolerance_whole_um = 25.0
    assert spoilt.scan.cuspwise.result != wanted
    with monkeypatch.context() as patch:
        patch.setattr(meanwhile, "judge", lambda _scene: None)
        spoilt.settings.tolerance_whole_um = 6.0
    kept = store.result_of(spoilt.scan)
    assert judging.is_behind(kept, choices.judging_choices(spoilt.settings))
    looks = 0
    while meanwhile._look() is not None:
        looks += 1
        for under_way in meanwhile._under_way:
            under_way.worker.wait()
    assert looks == 2  # one that starts the thread, one that keeps what it found
    assert spoilt.scan.cuspwise.result == wanted
    kept = store.result_of(spoilt.scan)
    assert not judging.is_behind(kept, choices.judging_choices(spoilt.settings))


# The margin -----------------------------------------------------------------------------------


def test_the_margin_profile_is_kept_and_summed_up_anew(spoilt: SimpleNamespace) -> None:
    """Places, columns and sums as a fresh check has them, by other tolerances too."""
    store = spoilt.part("addon.check.store")
    spoilt.settings.tolerance_margin_um = 6.0
    found = store.profile_of(spoilt.scan)
    inputs, choices = spoilt.part("addon.check.inputs"), spoilt.part("addon.check.scene_choices")
    design = inputs.read_design(spoilt.bpy.context)
    before = np.array(store.result_of(spoilt.scan)["made_with"]["scan_before"])
    scan = inputs.read_scan(spoilt.bpy.context, spoilt.scan, design.frame, before)
    steps = inputs.check_input_steps(design, scan, choices.choices_of(spoilt.settings))
    wanted = spoilt.part("standalone_core.progress").run(steps).margin_profile
    for name in spoilt.part("addon.check.kept_points").PROFILE_ARRAYS:
        assert np.array_equal(getattr(found, name), getattr(wanted, name), equal_nan=True), name
    assert np.array_equal(found.beyond, wanted.beyond)
    assert_same(vars(found.summary), vars(wanted.summary), "summary")
    assert found.summary.flash_um > 100.0
    assert found.directions.words(40.0) == wanted.directions.words(40.0)


def test_the_margin_is_drawn_where_it_lies(spoilt: SimpleNamespace) -> None:
    """By the legend's limit and palette, in the place of the areas and of nothing else."""
    from mathutils import Euler

    overlay, store = spoilt.part("addon.drawing.margin_overlay"), spoilt.part("addon.check.store")
    space = SimpleNamespace(overlay=SimpleNamespace(show_overlays=True))
    context = SimpleNamespace(scene=spoilt.scene, space_data=space)
    assert overlay.shown_scan(context) is None
    spoilt.settings.show_areas = True
    spoilt.settings.show_margin = True
    assert not spoilt.settings.show_areas
    profile = store.profile_of(spoilt.scan)
    line = overlay.line_of(spoilt.scan, spoilt.scene)
    colours = spoilt.part("standalone_core.report.drawing.deviation_colours").deviation_colours
    for limit_um, palette in ((20.0, "standard"), (35.0, "grey")):
        spoilt.settings.limit_is_automatic = False
        spoilt.settings.limit_um, spoilt.settings.palette = limit_um, palette
        line = overlay.line_of(spoilt.scan, spoilt.scene)
        shown = np.where(profile.counted, profile.deviation_um, np.nan)
        wanted = colours(1e-3 * shown, 1e-3 * limit_um, palette)
        assert (line.colours[::2] == wanted).all()
    assert line.beyond.any()
    # In the world it lies on the design's own margin line, wherever that was turned to.
    spoilt.design.rotation_euler = Euler((0.3, 0.2, 0.1))
    spoilt.design.location = (4.0, 5.0, 6.0)
    spoilt.bpy.context.view_layer.update()
    frame = spoilt.part("addon.blender.frames").frame_of(spoilt.design, spoilt.scene)
    places = np.column_stack([profile.points_mm, np.ones(len(profile))])
    world = places @ frame.world_of(np.eye(4)).T
    inverse = spoilt.design.matrix_world.inverted()
    found = [
        spoilt.design.closest_point_on_mesh(inverse @ _vector(place[:3]))[1] for place in world[::9]
    ]
    away = [
        (spoilt.design.matrix_world @ near - _vector(place[:3])).length
        for near, place in zip(found, world[::9], strict=True)
    ]
    assert max(away) < 0.05
    spoilt.settings.show_areas = True
    assert not spoilt.settings.show_margin


def test_the_margin_is_drawn_anew_when_it_was_judged_anew(
    spoilt: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A window draws between a change of the tolerance and what a thread makes of it."""
    overlay, meanwhile = (
        spoilt.part("addon.drawing.margin_overlay"),
        spoilt.part("addon.check.judging_meanwhile"),
    )
    made = lambda look, line: overlay._Batches(look, line=line)  # noqa: E731
    monkeypatch.setattr(overlay, "_made", made)  # batches need a window
    with monkeypatch.context() as patch:
        patch.setattr(meanwhile, "judge", lambda _scene: None)
        spoilt.settings.tolerance_margin_um = 1.0
        between = overlay._batches(spoilt.scan, spoilt.scene).line.beyond
    spoilt.part("addon.check.judging").judge_all(spoilt.scene)
    after = overlay._batches(spoilt.scan, spoilt.scene)
    assert after.line.beyond.sum() > between.sum()
    assert overlay._batches(spoilt.scan, spoilt.scene) is after
    overlay._kept.clear()


def _vector(place: np.ndarray) -> Any:
    from mathutils import Vector

    return Vector(place.tolist())
