"""A study's crown shown as a check shows it: the same to the last digit, nothing measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core import measure
from cuspwise.standalone_core.causes.settings import CausesSettings
from cuspwise.standalone_core.check import CheckSettings, check
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.errors import FileError, StudyError
from cuspwise.standalone_core.progress import run as run_steps
from cuspwise.standalone_core.report.check.document import check_document
from cuspwise.standalone_core.study.measuring.crown_check import crown_check_steps, study_design
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.study.measuring.run import run_study
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from made.small_studies import write_small_study

SETTINGS = CheckSettings(spacing_mm=0.4, causes=CausesSettings(find_causes=False))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), {"a": 2}).parent


@pytest.fixture(scope="module")
def studied(folder: Path) -> StudyRun:
    group = GroupPlan("a", "a", tuple(sorted((folder / "a").glob("*.stl"))))
    plan = StudyPlan(None, "Test", "?", folder / "design.stl", (group,), SETTINGS)
    return run_study(plan, folder / "out")


@pytest.fixture
def unmeasured(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have whoever measures fail."""

    def fail(*_args: object, **_named: object) -> None:
        raise AssertionError("It was measured anew.")

    monkeypatch.setattr(measure, "measure_deviation_steps", fail)
    monkeypatch.setattr(measure, "superimpose_steps", fail)


def shown(studied: StudyRun, folder: Path, number: int) -> CheckResult:
    crown = studied.crowns[number]
    return run_steps(crown_check_steps(studied, study_design(studied), crown, folder / "out"))


def test_a_crown_is_what_a_check_of_it_finds(studied: StudyRun, folder: Path) -> None:
    found, fresh = (
        shown(studied, folder, 1),
        check(folder / "design.stl", studied.crowns[1].path, studied.plan.check),
    )
    documents = [{**check_document(result), "seconds": None} for result in (found, fresh)]
    assert documents[0] == documents[1]
    for kept, measured in zip(found.fields, fresh.fields, strict=True):
        for name in ("points_mm", "deviation_mm", "status", "weights_mm2", "area_point"):
            assert np.array_equal(getattr(kept, name), getattr(measured, name), equal_nan=True)
    back, back_fresh = found.scan_to_design, fresh.scan_to_design
    assert np.array_equal(back.unmatched_mm, back_fresh.unmatched_mm, equal_nan=True)  # type: ignore[arg-type]


@pytest.mark.usefixtures("unmeasured")
def test_nothing_is_measured(studied: StudyRun, folder: Path) -> None:
    found = shown(studied, folder, 0)
    assert (
        found.measures_of("whole").mean_abs_um == studied.crowns[0].measures_of("whole").mean_abs_um
    )
    assert found.verdicts == studied.crowns[0].verdicts


def test_what_is_gone_is_said(studied: StudyRun, folder: Path) -> None:
    ready, crown = study_design(studied), studied.crowns[0]
    with pytest.raises(StudyError, match="cannot be read"):
        run_steps(crown_check_steps(studied, ready, replace(crown, key="gone"), folder / "out"))
    moved = replace(crown, path=folder / "gone.stl")
    with pytest.raises(FileError):
        run_steps(crown_check_steps(studied, ready, moved, folder / "out"))
