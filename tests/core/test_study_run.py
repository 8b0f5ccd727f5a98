"""A whole study's run: results, resuming, bad scans, other executors."""

from __future__ import annotations

import json
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from cuspwise.standalone_core.causes.settings import CausesSettings
from cuspwise.standalone_core.check import CheckSettings, check
from cuspwise.standalone_core.errors import CuspwiseError, StudyError
from cuspwise.standalone_core.records import plain
from cuspwise.standalone_core.study.file.inputs import StudyInputs
from cuspwise.standalone_core.study.file.repeated_scans import RepeatEntry, RepeatScans
from cuspwise.standalone_core.study.measuring.executors import executor_of
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.study.measuring.run import run_study
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from made.small_studies import write_small_study

SETTINGS = CheckSettings(spacing_mm=0.4, causes=CausesSettings(find_causes=False))
GROUPS = {"a": 3, "b": 3}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), GROUPS).parent


def plan_of(folder: Path, **changes: object) -> StudyPlan:
    groups = tuple(
        GroupPlan(name, name, tuple(sorted((folder / name).glob("*.stl")))) for name in GROUPS
    )
    plan = StudyPlan(None, "Test", "?", folder / "design.stl", groups, SETTINGS)
    return replace(plan, **changes)  # type: ignore[arg-type]


def numbers(run: StudyRun) -> str:
    """All tables of a run as text: equal text, equal bytes."""
    rows = {
        "crowns": [[c.name, c.sha256, plain(c.measures), c.warnings] for c in run.crowns],
        "pairs": [plain(asdict(pair)) for pair in run.pairs],
        "maps": [plain(asdict(value)) for value in run.maps.values()],
        "differences": [plain(asdict(value)) for value in run.differences],
        "parts": [plain(asdict(value)) for value in run.parts],
        "left_out": [[row.name, row.reason, row.remedy] for row in run.left_out],
    }
    return json.dumps(rows)


@pytest.fixture(scope="module")
def whole(folder: Path) -> StudyRun:
    return run_study(plan_of(folder), folder / "out")


def test_crowns_equal_single_checks(whole: StudyRun, folder: Path) -> None:
    assert [crown.name for crown in whole.crowns] == [f"{g}/{k}" for g in "ab" for k in range(3)]
    for crown in whole.crowns[::4]:
        single = check(folder / "design.stl", crown.path, SETTINGS)
        assert plain(crown.measures) == plain(single.measures)
        assert [v.verdict for v in crown.verdicts] == [v.verdict for v in single.verdicts]


def test_every_pair_once(whole: StudyRun) -> None:
    pairs = {(pair.group, pair.first, pair.second) for pair in whole.pairs}
    assert len(whole.pairs) == len(pairs) == 6
    assert all(first < second and first[0] == second[0] == g for g, first, second in pairs)
    assert all(pair.superimposed and not pair.reason for pair in whole.pairs)
    assert whole.reused == 0
    assert [(row.first, row.second) for row in whole.differences] == [("a", "b")]


def test_a_second_run_measures_nothing(whole: StudyRun, folder: Path) -> None:
    before = {file: file.stat().st_mtime_ns for file in (folder / "out" / "kept").iterdir()}
    again = run_study(plan_of(folder), folder / "out")
    assert numbers(again) == numbers(whole)
    assert again.reused == 12
    assert before == {f: f.stat().st_mtime_ns for f in (folder / "out" / "kept").iterdir()}


def test_another_tolerance_measures_no_scan_anew(whole: StudyRun, folder: Path) -> None:
    scans = set((folder / "out" / "kept").glob("scan-*"))
    tolerances = SETTINGS.tolerances.changed({"whole": 3.0})
    changed = replace(SETTINGS, tolerances=tolerances)
    again = run_study(plan_of(folder, check=changed), folder / "out")
    assert set((folder / "out" / "kept").glob("scan-*")) == scans
    assert again.crowns[0].measures_of("whole").tolerance_um == 3.0
    assert (
        again.crowns[0].measures_of("whole").rms_um == whole.crowns[0].measures_of("whole").rms_um
    )


@pytest.mark.slow
def test_other_weights_leave_no_old_number(whole: StudyRun, folder: Path) -> None:
    """Pairs hold measures of areas too; what was kept with the weights is not taken for theirs."""
    plan = plan_of(folder, check=replace(SETTINGS, weighted=False))
    again = run_study(plan, folder / "out")
    assert again.reused == 0
    assert numbers(again) == numbers(run_study(plan, folder / "unweighted"))
    assert numbers(again) != numbers(whole)
    for pair, before in zip(again.pairs, whole.pairs, strict=True):
        assert {row.weighted for row in pair.superimposed} == {False}
        assert pair.superimposed[0].rms_um != before.superimposed[0].rms_um


def test_other_processes_give_the_same_bytes(whole: StudyRun, folder: Path) -> None:
    with executor_of(2) as executor:
        assert isinstance(executor, Executor)
        assert numbers(run_study(plan_of(folder), folder / "two", executor=executor)) == numbers(
            whole
        )


@pytest.mark.slow
def test_any_executor_will_do(whole: StudyRun, folder: Path) -> None:
    with ThreadPoolExecutor(1) as executor:
        found = run_study(plan_of(folder), folder / "thread", executor=executor)
    assert numbers(found) == numbers(whole)


DIE_AFTER_THE_FIRST_SCAN = """
import os, pathlib, time
while not list(pathlib.Path({kept!r}).glob("scan-*.npz")):
    time.sleep(0.02)
os._exit(1)
"""


def test_a_dead_worker_is_told_and_the_next_run_goes_on(whole: StudyRun, folder: Path) -> None:
    with executor_of(2) as executor:
        assert executor is not None
        # As text: a worker need not be able to import this file.
        kept = str(folder / "dead" / "kept")
        executor.submit(exec, DIE_AFTER_THE_FIRST_SCAN.format(kept=kept))
        with pytest.raises(StudyError, match="goes on where it stopped"):
            run_study(plan_of(folder), folder / "dead", executor=executor)
    assert numbers(run_study(plan_of(folder), folder / "dead")) == numbers(whole)


def test_bad_scans_are_left_out(whole: StudyRun, folder: Path, tmp_path: Path) -> None:
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"solid nothing")
    gone = tmp_path / "gone.stl"
    other = tmp_path / "box.off"
    other.write_text(_box())
    plan = plan_of(folder)
    first = replace(plan.groups[0], scans=(*plan.groups[0].scans, broken, gone, other))
    found = run_study(replace(plan, groups=(first, plan.groups[1])), folder / "out")
    assert {row.name for row in found.left_out} == {"broken", "gone", "box"}
    assert all(row.reason and row.remedy and row.group == "a" for row in found.left_out)
    assert [crown.name for crown in found.crowns] == [f"{g}/{k}" for g in "ab" for k in range(3)]
    assert found.reused == 12


def _box() -> str:
    corners = [f"{8 * x} {2 * y} {11 * z}" for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    quads = ["0 1 3 2", "4 6 7 5", "0 4 5 1", "2 3 7 6", "0 2 6 4", "1 5 7 3"]
    faces = [f"3 {a} {b} {c}" for a, b, c, d in (q.split() for q in quads)]
    faces += [f"3 {a} {c} {d}" for a, b, c, d in (q.split() for q in quads)]
    return "\n".join(["OFF", f"8 {len(faces)} 0", *corners, *faces, ""])


def test_one_crown_and_no_crown_per_group(folder: Path, tmp_path: Path) -> None:
    plan = plan_of(folder)
    one = GroupPlan("one", "one", plan.groups[0].scans[:1])
    none = GroupPlan("none", "none", (tmp_path / "gone.stl",))
    found = run_study(replace(plan, groups=(one, none)), folder / "out")
    assert not found.pairs
    assert not found.differences
    assert list(found.maps) == ["one"]
    assert any("one crown" in text for text in found.warnings)
    assert any("no scan could be used" in text for text in found.warnings)


def test_identical_crowns_do_not_vary(folder: Path, tmp_path: Path) -> None:
    scan = plan_of(folder).groups[0].scans[0]
    copies = []
    for k in range(2):
        copies.append(tmp_path / f"{k}.stl")
        copies[-1].write_bytes(scan.read_bytes())
    group = GroupPlan("same", "same", tuple(copies))
    found = run_study(replace(plan_of(folder), groups=(group,)), folder / "out")
    assert found.pairs[0].superimposed[0].max_um < 1e-6
    assert found.parts[0].random_um == 0.0
    assert any("same content" in text for text in found.warnings)


def test_repeated_scans_are_measured(folder: Path) -> None:
    scans = plan_of(folder).groups[0].scans
    rows = RepeatEntry(scans[0], "0", "x", 1), RepeatEntry(scans[1], "0", "y", 1)
    repeats = RepeatScans(folder / "repeats.csv", rows)
    found = run_study(StudyInputs(plan_of(folder), repeats=repeats), folder / "out")
    assert [(row.crown, row.operator) for row in found.repeats] == [("0", "x"), ("0", "y")]
    assert plain(found.repeats[0].scan.measures) == plain(found.crowns[0].measures)


def test_results_that_cannot_be_kept_stop_the_study(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("not a folder")
    with pytest.raises(CuspwiseError, match="cannot be made"):
        run_study(plan_of(folder), file)


def test_groups_and_scans_may_be_called_as_repeated_scans_are(
    whole: StudyRun, folder: Path, tmp_path: Path
) -> None:
    scan = plan_of(folder).groups[0].scans[0]
    named = tmp_path / "repeat 1.stl"
    named.write_bytes(scan.read_bytes())
    group = GroupPlan("repeats", "Repeats", (named, plan_of(folder).groups[0].scans[1]))
    plan = plan_of(folder, groups=(group,))
    repeats = RepeatScans(folder / "repeats.csv", (RepeatEntry(scan, "0", "x", 1),))
    found = run_study(StudyInputs(plan, repeats=repeats), folder / "out")
    assert [crown.name for crown in found.crowns] == ["repeat 1", "1"]
    assert found.maps["repeats"].n == 2
    assert len(found.pairs) == 1
    assert len(found.repeats) == 1
