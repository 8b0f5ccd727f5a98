"""What is said of each group's production goes into the study, and makes it out of date."""

from __future__ import annotations

import tomllib
from types import SimpleNamespace

import pytest
from calls import call
from studies import out_of_date


def test_each_groups_facts_are_in_the_study_file(listed: SimpleNamespace) -> None:
    """What is not known is left out; the core reads the rest as it was said."""
    causes = listed.settings.causes
    milled = causes.productions["milled"]
    milled.way, milled.enlargement, milled.bur_radius_mm = "milled", 1.245, 0.5
    causes.productions["printed – tilted"].build_direction = (0.0, 0.6, 0.8)
    causes.scanner_is_known, causes.scanner_scale_permille = True, -0.2
    run = listed.part("standalone_core.progress").run
    read = run(listed.part("addon.study.export").read_steps(listed.bpy.context))
    text = listed.part("addon.study.file").study_file_text(
        read.title, read.groups, read.choices, with_areas=False
    )
    written = tomllib.loads(text)
    groups = {group["title"]: group for group in written["groups"].values()}
    for group in groups.values():
        del group["scans"]
    assert groups["Milled"] == {
        "title": "Milled",
        "way": "milled",
        "enlargement": 1.245,
        "bur_radius_mm": 0.5,
    }
    tilted = {"title": "Printed – tilted", "build_direction": [0.0, 0.6, 0.8]}
    assert groups["Printed – tilted"] == tilted
    assert written["causes"] == {
        "scanner_scale_permille": -0.2,
        "scanner_scale_uncertainty_permille": 0.0,
    }
    folder = read.folder
    folder.mkdir()
    (folder / "design.ply").touch()
    (folder / "study.toml").write_text(text, encoding="utf-8")
    for group in read.groups:
        for scan in group.scans:
            (folder / scan).parent.mkdir(parents=True, exist_ok=True)
            (folder / scan).touch()
    plan = listed.part("standalone_core.study.file.read").read_plan(folder / "study.toml")
    facts = {group.title: group.production for group in plan.groups}
    assert facts["Milled"].bur_radius_mm == 0.5
    assert facts["Printed – tilted"].build_axis == pytest.approx((0.0, 0.6, 0.8))
    assert plan.check.causes.scanner_scale_permille == -0.2


def test_a_bur_in_micrometres_is_refused(listed: SimpleNamespace) -> None:
    listed.settings.causes.productions["milled"].bur_radius_mm = 500.0
    with pytest.raises(RuntimeError, match=r"Bur Radius.*0\.5"):
        call(listed, "run_study")
    assert not listed.folder.exists()


def test_other_facts_make_the_study_out_of_date(studied: SimpleNamespace) -> None:
    assert out_of_date(studied) == ""
    studied.scene.cuspwise.causes.productions["milled"].way = "milled"
    assert out_of_date(studied).endswith("facts of the production.")
    studied.scene.cuspwise.causes.productions["milled"].way = "unknown"
    assert out_of_date(studied) == ""
