"""The crowns of a study on their dies: as a single fit, kept, taken up again, refused."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.causes.settings import CausesSettings
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.demo.neighbours import demo_antagonist, demo_neighbours
from cuspwise.standalone_core.demo.seated_scan import seated_scan
from cuspwise.standalone_core.errors import CuspwiseError, FileError, MeshError
from cuspwise.standalone_core.fit.check_fit import check_fit
from cuspwise.standalone_core.fit.inputs import FitFiles
from cuspwise.standalone_core.fit.judged import fit_headline
from cuspwise.standalone_core.fit.result import FitResult
from cuspwise.standalone_core.fit.settings import FitSettings
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.progress import Progress, Steps
from cuspwise.standalone_core.study.fit_plan import FitPlan
from cuspwise.standalone_core.study.measuring import all_fits, all_scans
from cuspwise.standalone_core.study.measuring.crown_fit import CrownFit
from cuspwise.standalone_core.study.measuring.executors import executor_of
from cuspwise.standalone_core.study.measuring.fit_bench import FitBench
from cuspwise.standalone_core.study.measuring.fit_job import FitJob
from cuspwise.standalone_core.study.measuring.fit_values import fit_values
from cuspwise.standalone_core.study.measuring.kept_fit import save_refusal
from cuspwise.standalone_core.study.measuring.result_store import ResultStore
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.study.measuring.run import run_study, run_study_steps
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from made.crowns import demo_crown
from made.small_studies import EDGE_MM, small_die, write_small_study

CHECK = CheckSettings(spacing_mm=EDGE_MM, causes=CausesSettings(find_causes=False))
SAME_UM = 1e-6
"""What is left between a crown in a study and by itself: rounding, for the pose is the same."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = write_small_study(tmp_path_factory.mktemp("study"), {"a": 2, "b": 1}).parent
    write_mesh(folder / "die.stl", small_die().mesh)
    return folder


def plan_of(folder: Path, check: CheckSettings = CHECK, **fit: object) -> StudyPlan:
    groups = tuple(
        GroupPlan(name, name, tuple(sorted((folder / name).glob("*.stl")))) for name in "ab"
    )
    seating = FitPlan(**{"die": folder / "die.stl", **fit})  # type: ignore[arg-type]
    return StudyPlan(None, "Test", "?", folder / "design.stl", groups, check, fit=seating)


def with_files(plan: StudyPlan, group: str, **files: tuple[Path, ...]) -> StudyPlan:
    """The plan with dies or seated scans of a group's crowns."""
    groups = (replace(g, **files) if g.name == group else g for g in plan.groups)
    return replace(plan, groups=tuple(groups))


@pytest.fixture(scope="module")
def whole(folder: Path) -> StudyRun:
    """All scans measured, and one crown of each group seated."""
    return run_study(plan_of(folder, crowns=("a/0",)), folder / "out")


def fits_of(run: StudyRun) -> Mapping[str, str]:
    """All that a run says of fit, by crown; equal text, equal bytes."""
    return {c.name: f"{c.fit} {_arrays(c.fit)!r}" for c in run.crowns if c.fit is not None}


def _arrays(fit: CrownFit) -> list[bytes]:
    margin = () if fit.margin is None else vars(fit.margin).values()
    return [array.tobytes() for array in (fit.T_die_crown, *margin) if array is not None]


def a_mesh(file: Path) -> Path:
    """Write a mesh that nothing is seated on, other ones to other files."""
    corners = np.vstack([np.zeros(3), np.eye(3)]) * (5.0 + len(file.name) + len(file.parts))
    file.parent.mkdir(exist_ok=True)
    faces = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    return write_mesh(file, TriangleMesh(corners + ord(file.stem[-1]), faces, file.name))


Noted = list[FitJob]


@pytest.fixture
def seated(monkeypatch: pytest.MonkeyPatch) -> Noted:
    """Notes the crowns that are to be seated, and refuses each, which takes no time."""
    jobs: Noted = []

    def refuse(job: FitJob, bench: FitBench) -> Steps[None]:
        jobs.append(job)
        yield Progress("Refusing the crown", 0.0)
        problem = MeshError("Not now.", subject="test", remedy="Later.")
        save_refusal(ResultStore(job.scan.study.folder), job, problem)

    monkeypatch.setattr(all_fits, "seat_and_keep_steps", refuse)
    return jobs


@pytest.fixture
def no_scan(monkeypatch: pytest.MonkeyPatch) -> None:
    """No scan may be measured."""

    def never(*_: object) -> None:
        raise AssertionError("a scan was measured")

    monkeypatch.setattr(all_scans, "measure_and_keep_steps", never)


# Values ---------------------------------------------------------------------------------------


def assert_same(found: CrownFit | None, single: FitResult) -> None:
    """A crown's fit in a study says what its fit by itself does."""
    assert found is not None
    wanted = fit_values(single)
    assert [(v.area, v.measure) for v in found.values] == [(v.area, v.measure) for v in wanted]
    np.testing.assert_allclose(
        [v.value for v in found.values], [v.value for v in wanted], rtol=0, atol=SAME_UM
    )
    assert found.headline == fit_headline(single)
    assert found.stop == (single.seat.stop if single.seat else "")
    assert found.missing == single.missing
    assert found.margin is not None
    assert single.margin is not None
    measured = single.margin.measured
    np.testing.assert_allclose(
        found.margin.gap_um[measured], single.margin.gap_um[measured], rtol=1e-6, atol=SAME_UM
    )
    assert np.isnan(found.margin.gap_um[~measured]).all()


def test_a_crown_fits_as_it_does_by_itself(whole: StudyRun, folder: Path) -> None:
    """Its areas are found in the scan's own frame and the design's pose is not sought again, so
    that the numbers are those of ``cuspwise fit`` on the same files."""
    crown = whole.crowns[0]
    files = FitFiles(crown.path, folder / "die.stl", design=folder / "design.stl")
    single = check_fit(files, FitSettings(spacing_mm=EDGE_MM))
    assert_same(crown.fit, single)
    assert crown.fit is not None
    assert crown.fit.T_die_crown is not None
    assert single.T_die_crown is not None
    pose = crown.fit.T_die_crown @ crown.superimposition.T_design_scan
    np.testing.assert_allclose(pose, single.T_die_crown, atol=1e-9)
    assert not crown.fit.by_triple_scan
    assert crown.fit.die == (folder / "die.stl").resolve()
    assert any(text.startswith("Marginal gap: ") for text in crown.fit.sentences)
    assert whole.crowns[1].fit is None
    assert whole.not_fitted == ()


# What is kept ---------------------------------------------------------------------------------


def test_a_second_run_seats_none_and_says_the_same(
    whole: StudyRun, folder: Path, seated: Noted, no_scan: None
) -> None:
    again = run_study(whole.plan, folder / "out")
    assert seated == []
    assert fits_of(again) == fits_of(whole)
    assert again.reused == 3 + 1 + 1  # scans, a fit, a pair
    kept = list((folder / "out" / "kept").glob("fit-*"))
    assert [entry.stat().st_size < 20_000 for entry in kept] == [True]


def test_another_die_seats_anew_and_measures_no_scan(
    whole: StudyRun, folder: Path, seated: Noted, no_scan: None
) -> None:
    found = run_study(plan_of(folder, die=a_mesh(folder / "other.stl")), folder / "out")
    assert [job.scan.name for job in seated] == ["a/0", "1", "b/0"]
    assert [(row.crown, row.group) for row in found.not_fitted] == [
        ("a/0", "a"),
        ("1", "a"),
        ("b/0", "b"),
    ]
    assert {(row.reason, row.remedy) for row in found.not_fitted} == {("Not now.", "Later.")}
    assert all(crown.fit is None for crown in found.crowns)


# What is seated on what -----------------------------------------------------------------------


def test_every_crown_has_the_die_and_the_seated_scan_of_its_place(
    whole: StudyRun, folder: Path, seated: Noted
) -> None:
    own = tuple(a_mesh(folder / f"dies/{k}.stl") for k in range(2))
    scans = tuple(a_mesh(folder / f"seated/{k}.stl") for k in range(2))
    line = folder / "line.csv"
    line.write_text("x,y,z\n0,0,0\n", encoding="utf-8")
    plan = with_files(plan_of(folder, finish_line=line), "a", dies=own, seated=scans)
    run_study(plan, folder / "out")
    jobs = {job.scan.name: job for job in seated}
    assert [jobs[name].die.path.name for name in ("a/0", "1", "b/0")] == [
        "0.stl",
        "1.stl",
        "die.stl",
    ]
    assert [jobs[name].own_die for name in ("a/0", "1", "b/0")] == [True, True, False]
    assert [job.seated.path for job in seated if job.seated] == [path.resolve() for path in scans]
    # The finish line is that of the one die.
    assert [job.scan.name for job in seated if job.finish_line] == ["b/0"]


def test_the_one_die_is_looked_at_before_anything_is_measured(folder: Path, tmp_path: Path) -> None:
    broken = tmp_path / "die.stl"
    broken.write_text("no mesh", encoding="utf-8")
    for fit, words in (
        ({"die": broken}, "die.stl"),
        ({"neighbours": (tmp_path / "gone.stl",)}, "gone.stl"),
        ({"finish_line": broken}, "die.stl"),
        ({"crowns": ("a/0", "x")}, "no crown called 'x'"),
    ):
        with pytest.raises(CuspwiseError, match=words):
            run_study(plan_of(folder, **fit), tmp_path / "out")
    assert list((tmp_path / "out" / "kept").iterdir()) == []


def test_a_crowns_own_file_that_cannot_be_used_leaves_the_others(
    whole: StudyRun, folder: Path, tmp_path: Path
) -> None:
    broken, gone = tmp_path / "die.stl", tmp_path / "gone.stl"
    broken.write_text("no mesh", encoding="utf-8")
    plan = with_files(plan_of(folder), "a", dies=(broken, gone))
    found = run_study(replace(plan, fit=FitPlan(crowns=("a/0", "1", "b/0"))), folder / "out")
    assert [row.crown for row in found.not_fitted] == ["a/0", "1", "b/0"]
    assert all(row.reason and row.remedy for row in found.not_fitted)
    assert found.not_fitted[2].reason == "No die is given for it."
    assert len(found.crowns) == 3


@pytest.mark.parametrize("whose", ["own", "other"])
def test_only_a_crowns_own_file_is_its_own_fault(
    whole: StudyRun, folder: Path, monkeypatch: pytest.MonkeyPatch, whose: str
) -> None:
    """A full disk, or the one die that was there a moment ago, ends the study."""

    def fail(job: FitJob, bench: FitBench) -> Steps[None]:
        yield Progress("Failing", 0.0)
        subject = job.die.path if whose == "own" else "disk"
        raise FileError("It cannot be used.", subject=subject, remedy="Help it.")

    monkeypatch.setattr(all_fits, "seat_and_keep_steps", fail)
    own = a_mesh(folder / "own.stl")
    plan = with_files(plan_of(folder, die=None, crowns=("b/0",)), "b", dies=(own,))
    if whose == "own":
        assert run_study(plan, folder / "out").not_fitted[0].reason == "It cannot be used."
    else:
        with pytest.raises(FileError, match="Help it"):
            run_study(plan, folder / "out")


def test_a_study_that_was_stopped_goes_on(
    whole: StudyRun, folder: Path, seated: Noted, no_scan: None
) -> None:
    die = a_mesh(folder / "later.stl")
    steps = run_study_steps(plan_of(folder, die=die), folder / "out")
    labels = []
    while len(seated) < 2:
        labels.append(next(steps).label)
    steps.close()
    assert "Fit of crown 1 of 3, a/0: Refusing the crown" in labels
    run_study(plan_of(folder, die=die), folder / "out")
    assert [job.scan.name for job in seated] == ["a/0", "1", "1", "b/0"]


# Slow -----------------------------------------------------------------------------------------


@pytest.mark.slow
def test_workers_seat_the_same(folder: Path) -> None:
    alone = run_study(plan_of(folder), folder / "alone")
    with executor_of(2) as executor:
        found = run_study(plan_of(folder), folder / "two", executor=executor)
    assert len(fits_of(alone)) == 3
    assert fits_of(found) == fits_of(alone)


@pytest.mark.slow
def test_a_seated_scan_and_teeth_say_what_they_say_by_themselves(
    whole: StudyRun, folder: Path
) -> None:
    """On points finer than the design's facets, with every kind of file, in the study's frame."""
    design = demo_crown(EDGE_MM)
    pose = np.eye(4)
    pose[2, 3] = 0.03
    teeth = demo_neighbours(design, mesial_um=-20.0, distal_um=10.0, edge_mm=EDGE_MM)
    plate = demo_antagonist(design, edge_mm=EDGE_MM)
    neighbours = tuple(
        write_mesh(folder / f"tooth_{k}.stl", tooth.mesh) for k, tooth in enumerate(teeth)
    )
    antagonist = write_mesh(folder / "plate.stl", plate.mesh)
    scan = write_mesh(
        folder / "on_die.stl", seated_scan(design, small_die(), pose, edge_mm=0.24).mesh
    )
    areas = AreaSettings(mesial_direction=(1.0, 0.0, 0.0))
    plan = plan_of(
        folder,
        replace(CHECK, areas=areas, spacing_mm=0.25),
        crowns=("b/0",),
        neighbours=neighbours,
        antagonist=antagonist,
    )
    plan = with_files(plan, "b", seated=(scan,))
    crown = run_study(plan, folder / "teeth").crowns[-1]
    files = FitFiles(
        crown.path,
        folder / "die.stl",
        design=folder / "design.stl",
        seated=scan,
        neighbours=neighbours,
        antagonist=antagonist,
    )
    single = check_fit(files, FitSettings(spacing_mm=0.25, areas=areas))
    assert_same(crown.fit, single)
    assert crown.fit is not None
    assert crown.fit.by_triple_scan
    assert np.isfinite(crown.fit.value("contact_mesial", "contact_gap_um"))
    assert np.isfinite(crown.fit.value("contact_occlusal", "contact_gap_um"))


@pytest.mark.slow
def test_another_tooths_die_is_refused_with_reason_and_remedy_and_not_tried_again(
    whole: StudyRun, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ball = demo_crown(EDGE_MM).mesh
    flat = TriangleMesh(ball.vertices * [1.5, 1.5, 0.05], ball.faces, "flat")
    other = write_mesh(folder / "flat.stl", flat)
    plan = with_files(plan_of(folder, die=None, crowns=("b/0",)), "b", dies=(other,))
    found = run_study(plan, folder / "out")
    assert [row.crown for row in found.not_fitted] == ["b/0"]
    assert "does not match" in found.not_fitted[0].reason
    assert "same tooth" in found.not_fitted[0].remedy
    never: Callable[..., None] = lambda *_: pytest.fail("tried again")  # noqa: E731
    monkeypatch.setattr(all_fits, "seat_and_keep_steps", never)
    assert run_study(plan, folder / "out").not_fitted == found.not_fitted


@pytest.mark.slow
def test_a_die_in_a_frame_of_its_own_is_found_by_the_intaglio(
    whole: StudyRun, folder: Path
) -> None:
    """Then no intended seat is known, and without a finish line no marginal gap."""
    motion = np.array([[0, -1, 0, 20.0], [1, 0, 0, -7.0], [0, 0, 1, 3.0], [0, 0, 0, 1]])
    moved = write_mesh(folder / "moved.stl", small_die().mesh.moved(motion))
    plan = plan_of(folder, die=moved, in_design_frame=False, crowns=("a/0",))
    fit = run_study(plan, folder / "out").crowns[0].fit
    assert fit is not None
    single = check_fit(FitFiles(plan.groups[0].scans[0], moved), FitSettings(spacing_mm=EDGE_MM))
    assert np.isnan(fit.value("whole", "above_intended_um"))
    assert "margin" in fit.missing
    assert single.gap is not None
    for row in single.gap.areas[1:]:
        assert fit.value(row.area, "cement_space_um") == pytest.approx(row.mean_um, abs=SAME_UM)
    # The crown lies on the design about as the die does on its own: the pose is their motion.
    assert fit.T_die_crown is not None
    np.testing.assert_allclose(fit.T_die_crown, motion, atol=0.1)
