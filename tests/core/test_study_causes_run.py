"""Causes in a study's run: keys of groups, what is kept, workers, predictions, files."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Mapping
from dataclasses import fields as attributes_of
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.causes.design_fields import CauseFields, Fields
from cuspwise.standalone_core.causes.find import fields_by_cause
from cuspwise.standalone_core.causes.settings import CausesSettings, ProductionFacts
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.errors import CuspwiseError
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.progress import run as run_steps
from cuspwise.standalone_core.report.study.output import write_study
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.file.inputs import read_study
from cuspwise.standalone_core.study.file.new_text import NewGroup, NewStudy, study_text
from cuspwise.standalone_core.study.measuring import all_causes
from cuspwise.standalone_core.study.measuring.cause_predictions import predicted_verdicts
from cuspwise.standalone_core.study.measuring.crown_causes import CausesJob
from cuspwise.standalone_core.study.measuring.crowns import judged
from cuspwise.standalone_core.study.measuring.executors import executor_of
from cuspwise.standalone_core.study.measuring.kept_fields import (
    fields_key,
    kept_fields_steps,
    load_fields,
)
from cuspwise.standalone_core.study.measuring.result_store import ResultStore
from cuspwise.standalone_core.study.measuring.results import StudyRun
from cuspwise.standalone_core.study.measuring.run import run_study
from cuspwise.standalone_core.study.measuring.scan_job import (
    ScanJob,
    StudyDependencies,
    load_deviations,
)
from cuspwise.standalone_core.study.plan import StudyPlan
from made import caused_groups, study_runs
from made.caused import Flaws, first_order
from made.crowns import demo_crown
from made.small_studies import EDGE_MM, STUDY, write_small_study

NAN = float("nan")
PRODUCTION = """\
way = "printed"
build_direction = [0, 0, 2]
enlargement = 1.245
enlargement_along_build = 1.25
bur_radius_mm = 0.5
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), {"a": 3, "b": 1}, STUDY)


@pytest.fixture(scope="module")
def plan(file: Path) -> StudyPlan:
    return read_study(file).plan


@pytest.fixture(scope="module")
def whole(file: Path, plan: StudyPlan) -> StudyRun:
    return run_study(plan, file.parent / "out")


def with_facts(plan: StudyPlan, group: str, facts: ProductionFacts) -> StudyPlan:
    groups = [replace(g, production=facts) if g.name == group else g for g in plan.groups]
    return replace(plan, groups=tuple(groups))


def with_causes(plan: StudyPlan, **changed: object) -> StudyPlan:
    causes = replace(CausesSettings(), **changed)  # type: ignore[arg-type]
    return replace(plan, check=replace(plan.check, causes=causes))


def causes_of(run: StudyRun) -> Mapping[str, object]:
    """All that a run says of causes, but for arrays."""
    found = analyse_study(run)
    return {
        "crowns": [repr(crown.causes) for crown in run.crowns],
        "cells": [crown.causes.cells.tobytes() for crown in run.crowns if crown.causes],
        "groups": repr(found.causes),
    }


def test_a_groups_table_tells_of_its_production(file: Path) -> None:
    text = STUDY.replace('scans = ["a/*.stl"]\n', f'scans = ["a/*.stl"]\n{PRODUCTION}')
    told = file.with_name("told.toml")
    told.write_text(text, encoding="utf-8")
    groups = {group.name: group.production for group in read_study(told).plan.groups}
    assert groups["a"] == ProductionFacts(
        way="printed",
        build_direction=(0.0, 0.0, 2.0),
        enlargement=1.245,
        enlargement_along_build=1.25,
        bur_radius_mm=0.5,
    )
    assert groups["b"] == ProductionFacts()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('way = "cast"', 'Give "unknown", "milled" or "printed"'),
        ("enlargement = 0", "Give a number above 0"),
        ("build_direction = [0, 0, 0]", "build_direction"),
        ("bur_radius_mm = 300", "force = true"),
        ("bur_radius = 0.3", "bur_radius_mm"),
    ],
)
def test_what_cannot_be_meant_is_said_with_its_place(file: Path, line: str, words: str) -> None:
    wrong = file.with_name("wrong.toml")
    wrong.write_text(
        STUDY.replace('scans = ["a/*.stl"]\n', f'scans = ["a/*.stl"]\n{line}\n'), encoding="utf-8"
    )
    with pytest.raises(CuspwiseError) as problem:
        read_study(wrong)
    told = " ".join(str(problem.value).split())
    assert "groups.a" in told
    assert words in told


def test_a_new_file_lists_the_keys_as_remarks() -> None:
    groups = (NewGroup("a", "A", ("a/*.stl",), 3), NewGroup("b", "B", ("b/*.stl",), 3))
    text = study_text(NewStudy("T", "design.stl", groups))
    for key in ("way", "build_direction", "enlargement", "enlargement_along_build"):
        assert text.count(f"\n#{key} = ") == 2
    assert text.count("\n#bur_radius_mm = 0.5") == 2
    assert text.count("Radius of the finest bur") == 1  # said once


def test_every_crown_has_its_causes_and_groups_of_three_what_they_share(whole: StudyRun) -> None:
    assert all(crown.causes is not None for crown in whole.crowns)
    assert whole.causes is not None
    assert whole.causes.groups["a"].case is not None
    few = whole.causes.groups["b"]
    assert few.case is None
    assert "needs at least 3" in few.reason
    found = analyse_study(whole).causes
    assert found is not None
    assert [row.group for row in found.groups] == ["a", "b"]
    assert "needs at least 3" in found.groups[1].sentences[0]


def test_a_second_run_finds_nothing_anew(
    file: Path, plan: StudyPlan, whole: StudyRun, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise AssertionError("found anew")

    monkeypatch.setattr(all_causes, "find_and_keep_steps", never)
    assert causes_of(run_study(plan, file.parent / "out")) == causes_of(whole)


def test_a_key_stands_for_all_that_causes_depend_on(plan: StudyPlan, whole: StudyRun) -> None:
    study = StudyDependencies(Path("kept"), Path("d"), "0", "areas-0", "", plan.check)
    scan = ScanJob("a/0", "a", Path("s"), "1", study)
    other = replace(scan, study=replace(study, areas="areas-1"))
    causes = replace(plan.check, causes=CausesSettings(probability=0.9))
    judged = replace(plan.check, tolerances=Tolerances(tolerances_um={"whole": 7.0}))
    first = CausesJob(scan, ProductionFacts(), (), NAN, "")
    different = [
        replace(first, scan=other),
        replace(first, scan=replace(scan, study=replace(study, settings=causes))),
        replace(first, facts=ProductionFacts(enlargement=1.25)),
        replace(first, searched=(ProductionFacts(bur_radius_mm=0.4),)),
        replace(first, repeatability_um=2.0),
        replace(first, why_not="the scan is the design's own surface"),
    ]
    assert len({job.key for job in (first, *different)}) == 1 + len(different)
    same = replace(first, scan=replace(scan, study=replace(study, settings=judged)))
    assert same.key == first.key


@pytest.mark.slow
def test_only_what_depends_on_a_change_is_found_anew(
    file: Path, plan: StudyPlan, whole: StudyRun, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = []
    original = all_causes.find_and_keep_steps

    def noted(job: CausesJob, *rest: object) -> object:
        done.append(job.scan.name)
        return original(job, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(all_causes, "find_and_keep_steps", noted)
    tolerances = Tolerances(tolerances_um={"whole": 7.0})
    judged = replace(plan, check=replace(plan.check, tolerances=tolerances))
    run_study(judged, file.parent / "out")
    assert done == []
    run_study(with_facts(plan, "b", ProductionFacts(enlargement=1.3)), file.parent / "out")
    assert done == ["b/0"]
    run_study(with_causes(plan, probability=0.9), file.parent / "out")
    assert done == ["b/0", *(crown.name for crown in whole.crowns)]


@pytest.mark.slow
def test_without_causes_none_are_served_and_with_them_all_are_found(
    file: Path, plan: StudyPlan, whole: StudyRun
) -> None:
    out = file.parent / "later"
    without = run_study(with_causes(plan, find_causes=False), out)
    assert without.causes is None
    assert all(crown.causes is None for crown in without.crowns)
    assert analyse_study(without).causes is None
    assert not list((out / "kept").glob("causes-*"))
    later = run_study(plan, out)
    assert causes_of(later) == causes_of(whole)


def test_little_is_kept_of_each_crown(file: Path, whole: StudyRun) -> None:
    kept = list((file.parent / "out" / "kept").glob("causes-*"))
    assert kept
    assert max(entry.stat().st_size for entry in kept) < 20_000


@pytest.mark.slow
def test_workers_find_the_same(file: Path, plan: StudyPlan, whole: StudyRun) -> None:
    with executor_of(2) as executor:
        found = run_study(plan, file.parent / "two", executor=executor)
    assert causes_of(found) == causes_of(whole)


def test_files_hold_every_cause(file: Path, whole: StudyRun, tmp_path: Path) -> None:
    analysis = analyse_study(whole)
    write_study(whole, analysis, tmp_path, pictures="no")
    document = json.loads((tmp_path / "study.json").read_text(encoding="utf-8"))
    with (tmp_path / "tables" / "causes.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert list(rows[0])[:4] == ["group", "crown", "cause", "family"]
    assert len(rows) == len(document["causes"])
    assert {row["crown"] for row in rows} == {"mean", *(crown.name for crown in whole.crowns)}
    for row, cause in zip(rows, document["causes"], strict=True):
        assert (row["group"], row["crown"]) == (cause["group"], cause["crown"])
        assert (row["cause"], row["family"]) == (cause["cause"], cause["family"])
        if cause["stated"]:
            assert cause["low"] <= cause["estimate"] <= cause["high"]
            assert float(row["estimate"]) == cause["estimate"]
    assert document["correction"] == {"a": None, "b": None}  # no factor is known
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert page.index('id="why"') < page.index('id="studied"')
    assert "restricted maximum likelihood" in (tmp_path / "methods.txt").read_text(encoding="utf-8")


def test_a_crown_without_its_cause_is_judged_by_the_same_rules() -> None:
    """Crowns that are 4 ‰ too large and else perfect keep their tolerances without that."""
    factor = Flaws(ProductionErrors(scale=(1.004,) * 3))
    rng = np.random.default_rng(3)
    made = caused_groups.crowns([factor] * 4, rng, form_um=0.5)
    group = caused_groups.group(made)
    assert group.case is not None
    assert set(fields_by_cause(group.case)) == {"scale"}
    deviation = first_order(caused_groups.design(), factor)
    area_set = group.case.fields.area_set
    weights = area_set.evaluation.weights_mm2
    tolerances = Tolerances(tolerances_um={"whole": 8.0, "margin": 1e-3})
    mean = 1e3 * float(np.average(np.abs(deviation), weights=weights))
    rows = [study_runs.row("whole", mean), study_runs.row("margin", 20.0)]
    crown = study_runs.crown("a", "a0", rows, tolerances)
    settings = CheckSettings(tolerances=tolerances, force=True)
    whole, margin = predicted_verdicts(group.case, crown, deviation, settings)
    assert (whole.without, whole.area) == ("scale", "whole")
    assert whole.mean_abs_um == pytest.approx(mean, rel=1e-12)
    assert mean > 8.0
    assert whole.predicted_um < 0.5
    assert (whole.verdict, whole.predicted) == ("outside", "within")
    assert (margin.verdict, margin.predicted) == ("outside", "outside")
    # Judged from scan to design, where less is seen: the design still must keep the limit too.
    back = [replace(row, direction="scan_to_design", mean_abs_um=2.0) for row in rows]
    both = replace(crown, measures=(*crown.measures, *back))
    settings = replace(settings, direction="scan_to_design")
    whole, _ = predicted_verdicts(group.case, judged(both, settings), deviation, settings)
    assert whole.mean_abs_um == pytest.approx(mean, rel=1e-12)
    assert (whole.verdict, whole.predicted) == ("outside", "within")


def test_kept_fields_are_those_that_were_worked_out(tmp_path: Path) -> None:
    ready, settings = caused_groups.design().ready, CausesSettings()
    searched = (ProductionFacts(way="milled", bur_radius_mm=0.4), ProductionFacts(way="printed"))
    store = ResultStore(tmp_path)
    made = run_steps(kept_fields_steps(store, "areas-0", ready, settings, searched))
    key = fields_key("areas-0", settings, searched)
    kept = load_fields(store, key, ready, settings)
    assert kept is not None
    assert store.path(key).stat().st_size < 6_000_000
    for one in attributes_of(CauseFields):
        if one.name != "fields":
            np.testing.assert_array_equal(getattr(kept, one.name), getattr(made, one.name))
    for one in attributes_of(Fields):
        first, second = getattr(made.fields, one.name), getattr(kept.fields, one.name)
        np.testing.assert_equal(second, first)  # walks mappings, too


@pytest.mark.slow
def test_the_scanners_repeatability_is_the_least_that_is_told(file: Path, tmp_path: Path) -> None:
    """One crown, scanned six times with noise of its own."""
    folder = tmp_path / "study"
    shutil.copytree(file.parent, folder, ignore=shutil.ignore_patterns("out", "later", "two"))
    design, rng = demo_crown(EDGE_MM), np.random.default_rng(21)
    rows = ["file,crown,operator,trial"]
    noise = ScannerNoise(1.0, correlated_um=4.0, correlation_mm=1.5)
    for trial in range(6):
        scan = produce(design, ProductionErrors(noise=noise), edge_mm=EDGE_MM, rng=rng)
        write_mesh(folder / f"again_{trial}.stl", scan.mesh)
        rows.append(f"again_{trial}.stl,x,y,{trial + 1}")
    (folder / "repeats.csv").write_text("\n".join(rows), encoding="utf-8")
    study = folder / "study.toml"
    study.write_text(STUDY + '[repeats]\nfile = "repeats.csv"\n', encoding="utf-8")
    run = run_study(read_study(study), tmp_path / "out")
    assert run.causes is not None
    case = run.causes.groups["a"].case
    assert case is not None
    store, evaluation = ResultStore(tmp_path / "out" / "kept"), run.area_set.evaluation
    scans = [
        load_deviations(store, one.scan.key, evaluation, run.plan.check) for one in run.repeats
    ]
    cells = np.stack([case.fields.measured_means(one.deviation_mm) for one in scans if one])
    assert len(cells) == 6
    known = np.isfinite(cells).all(axis=0)
    variance = cells[:, known].var(axis=0, ddof=1)
    expected = 1e3 * np.sqrt(np.average(variance, weights=case.fields.cell_mm2[known]))
    assert run.causes.repeatability_um == pytest.approx(expected, rel=0.02)
    assert run.causes.least_um == run.causes.repeatability_um
    remaining = [crown.causes.remaining for crown in run.crowns if crown.causes]
    for one in remaining:
        ratio = one.rms_um / run.causes.repeatability_um
        assert one.scanner_ratio == pytest.approx(ratio, rel=1e-9)
    found = analyse_study(run).causes
    assert found is not None
    assert found.repeatability_um == run.causes.repeatability_um
    assert "times the scanner's repeatability" in " ".join(found.groups[0].sentences)
