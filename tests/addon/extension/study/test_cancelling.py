"""A study that is cancelled, and steps that need no Blender."""

from __future__ import annotations

import sys
from types import SimpleNamespace
from typing import Any

import pytest
from calls import call
from studies import kept


def test_cancelling_keeps_finished_scans_and_changes_nothing(listed: SimpleNamespace) -> None:
    """The job's own steps, given up once two scans are measured."""
    study = listed.part("addon.operators.study")
    reading = listed.part("addon.study.export").read_steps(listed.bpy.context)
    read = listed.part("standalone_core.progress").run(reading)
    steps = study._study_steps(read)
    done = listed.folder / "study_results" / "kept"
    while len(list(done.glob("scan-*"))) < 2:
        next(steps)
    steps.close()
    assert kept(listed) is None
    assert "kept in the folder" in study.RunStudy.after_cancel
    assert listed.settings.scans[0].scan.cuspwise.study_entry == ""
    assert not (listed.folder / "study_results" / "report.html").exists()
    first = {file: file.stat().st_mtime_ns for file in done.glob("scan-*")}
    assert call(listed, "run_study") == {"FINISHED"}
    assert len(list(done.glob("scan-*"))) == 4
    assert all(file.stat().st_mtime_ns == when for file, when in first.items())


class Forbidden:
    """Stands for Blender's module while steps are taken that have no business with it."""

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(f"The steps of a study asked Blender for {name}.")


def test_the_steps_need_no_blender(
    listed: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They run to their end in a thread, though the file that was read is closed by then."""
    group = listed.settings.design.vertex_groups.new(name="Area: mine")
    group.add(list(range(60)), 1.0, "REPLACE")
    run, bpy = listed.part("standalone_core.progress").run, listed.bpy
    reading = listed.part("addon.study.export").read_steps(bpy.context)
    steps = listed.part("addon.operators.study")._study_steps(run(reading))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with monkeypatch.context() as patch:
        for name, module in list(sys.modules.items()):
            if ".cuspwise.addon" in name and hasattr(module, "bpy"):
                patch.setattr(module, "bpy", Forbidden())
        worker = listed.part("addon.blender.worker").Worker(steps)
        worker.wait(120.0)
    assert len(worker.result().run.crowns) == 4
    assert "mine" in worker.result().run.area_set.areas
