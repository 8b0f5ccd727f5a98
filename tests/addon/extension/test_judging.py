"""Results judged anew give what a fresh check gives, from both directions, without measuring."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

# Places and weights are kept in single precision; deviations and heights in full.
REL = 2e-6
JUDGED = ("measures", "verdicts", "exceedances", "unmatched", "warnings", "margin_profile")


def fresh(case: SimpleNamespace) -> dict[str, Any]:
    """What a check gives that is made with the scene's choices of now, as the result keeps it."""
    inputs, store = case.part("addon.inputs"), case.part("addon.store")
    design = inputs.read_design(case.bpy.context)
    before = np.array(store.result_of(case.scan)["made_with"]["scan_before"])
    scan = inputs.read_scan(case.bpy.context, case.scan, design.frame, before)
    steps = inputs.check_input_steps(design, scan, inputs.choices_of(case.settings))
    result = case.part("standalone_core.progress").run(steps)
    document = case.part("standalone_core.report.document").check_document(result)
    found: dict[str, Any] = case.part("addon.contacts").without_contacts(document)
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
        assert found == pytest.approx(wanted, rel=REL, abs=REL), where
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
    store = spoilt.part("addon.store")
    before, number = store.result_of(spoilt.scan)["check"], spoilt.scan.cuspwise.result_id
    for name, value in choices.items():
        setattr(spoilt.settings, name, value)
    kept, wanted = store.result_of(spoilt.scan), fresh(spoilt)
    assert spoilt.scan.cuspwise.result_id == number
    assert kept["check"]["verdicts"] != before["verdicts"]
    for name in (*JUDGED, "settings"):
        assert_same(kept["check"][name], wanted[name], name)
    assert {row["direction"] for row in wanted["measures"]} == {"design_to_scan", "scan_to_design"}
    assert wanted["unmatched"]
    assert kept["patch_limit_um"] == spoilt.settings.tolerance_whole_um


def test_unmatched_surface_decides_and_a_caveat_stands_by(spoilt: SimpleNamespace) -> None:
    store = spoilt.part("addon.store")
    found = {row.area: row for row in store.verdicts_of(store.result_of(spoilt.scan))}
    assert found["margin"].verdict == "outside"
    assert 100.0 < found["margin"].unmatched_um < 450.0
    assert "was not given" in found["margin"].caveat
    spoilt.settings.scanner_um = 1.5
    found = {row.area: row for row in store.verdicts_of(store.result_of(spoilt.scan))}
    assert found["margin"].scanner_um == 1.5
    assert not found["margin"].caveat
    assert math.isnan(found["axial"].tolerance_um)


def test_a_support_marked_afterwards_takes_its_surface_to_itself(
    spoilt: SimpleNamespace, spoilt_surfaces: SimpleNamespace
) -> None:
    """The post is unmatched surface until a support is marked there, and again without it."""
    store = spoilt.part("addon.store")

    def highest() -> float:
        pieces = store.result_of(spoilt.scan)["check"]["unmatched"]
        return max((piece["height_um"] for piece in pieces), default=0.0)

    before = store.result_of(spoilt.scan)["check"]
    assert highest() > 450.0
    place = spoilt_surfaces.post
    done = spoilt.bpy.ops.cuspwise.mark_support_contact(location=place.tolist(), radius_mm=1.4)
    assert done == {"FINISHED"}
    assert 100.0 < highest() < 450.0
    wanted = fresh(spoilt)
    for name in JUDGED:
        assert_same(store.result_of(spoilt.scan)["check"][name], wanted[name], name)
    spoilt.settings.tolerance_whole_um = 9.0
    assert highest() < 450.0
    spoilt.settings.tolerance_whole_um = 25.0
    assert spoilt.bpy.ops.cuspwise.remove_contact() == {"FINISHED"}
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
    store = extension.part("addon.store")
    for whole_um in (25.0, 1.0):
        crown.settings.tolerance_whole_um = whole_um
        kept = store.result_of(copy)
        found = {row.area: row for row in store.verdicts_of(kept)}
        assert found["whole"].verdict == found["margin"].verdict == "not_decidable"
        assert found["whole"].reason == same
        assert same in kept["check"]["warnings"]


def test_reading_says_what_is_unmatched(spoilt: SimpleNamespace) -> None:
    store = spoilt.part("addon.store")
    kept = store.result_of(spoilt.scan)
    highest = kept["check"]["unmatched"][0]
    frame = spoilt.part("addon.bridge").frame_of(spoilt.design, spoilt.scene)
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
    patches = spoilt.part("addon.store").result_of(spoilt.scan)["check"]["exceedances"]
    spoilt.settings.shown = "DESIGN"
    for number in numbers:
        assert listed[number].seen_from == "scan"
        spoilt.scan.cuspwise.patch_index = number
        own = spoilt.design.matrix_world.inverted() @ spoilt.scene.cursor.location
        assert np.array(own) == pytest.approx(patches[number]["peak_mm"], abs=1e-4)
        # What only the scan shows cannot be looked at on the design.
        assert spoilt.settings.shown == "SCAN"
