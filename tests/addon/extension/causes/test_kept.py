"""Causes stay with their scan and are called out of date in time."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from caused import attribute, causes, drawn, reason


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
    own = f"cause_mm {copy.cuspwise.causes_id}"
    assert any(a.name.startswith(own) for a in explained.design.data.attributes)
    explained.part("addon.causes.causes_store").forget(copy, explained.design)
    assert not any(a.name.startswith(own) for a in explained.design.data.attributes)
    assert np.isfinite(attribute(explained, "left")).any()


def test_undo_brings_back_what_was_found_before(explained: SimpleNamespace) -> None:
    """Finding them changes neither verdict nor result."""
    bpy = explained.bpy
    before, result = causes(explained), explained.scan.cuspwise.result
    bpy.ops.ed.undo_push(message="before")
    explained.settings.causes.production.way = "milled"
    assert bpy.ops.cuspwise.find_causes() == {"FINISHED"}
    assert causes(explained)["production"]["way"] == "milled"
    assert explained.scan.cuspwise.result == result
    assert explained.scan.cuspwise.state == "CURRENT"
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
    before = causes(explained)
    assert reason(explained) == ""
    change(explained)
    assert words in reason(explained)
    assert "Find causes again." in " ".join(drawn(explained))
    assert causes(explained) == before  # still to be read


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
