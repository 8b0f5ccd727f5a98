"""The demo study: invented, the same on every run, with known truths that a study recovers."""

from __future__ import annotations

import csv
import io
import json
from functools import cache, partial
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core import explain as explain_module
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.causes.find import no_causes
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo import scenario
from cuspwise.standalone_core.demo.crown import DIRECTIONS
from cuspwise.standalone_core.demo.scenario import ENLARGEMENT, demo_case_steps
from cuspwise.standalone_core.demo.study_files import (
    SPACING_MM,
    TEXT,
    StudyFiles,
    scores_text,
    write_study_case_steps,
)
from cuspwise.standalone_core.demo.study_groups import GROUPS
from cuspwise.standalone_core.demo.study_scenario import (
    CROWNS,
    OPERATOR_SCALES,
    REPEATED,
    SPOILED,
    TRIALS,
    StudyCase,
    study_case,
)
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.file.inputs import read_study
from cuspwise.standalone_core.study.measuring.executors import executor_of
from cuspwise.standalone_core.study.measuring.run import run_study
from oracle.study_truth import TrueTrueness, group_means, true_trueness

COARSE_MM = 0.3


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> StudyFiles:
    return run(write_study_case_steps(tmp_path_factory.mktemp("demo"), edge_mm=COARSE_MM))


@pytest.fixture(scope="module")
def case() -> StudyCase:
    return study_case()


@pytest.fixture(scope="module")
def coarse_case() -> StudyCase:
    return study_case(COARSE_MM)


@pytest.mark.slow
def test_it_is_a_whole_study(files: StudyFiles) -> None:
    inputs = read_study(files.study)
    assert [group.name for group in inputs.plan.groups] == [group.name for group in GROUPS]
    assert [len(group.scans) for group in inputs.plan.groups] == [CROWNS] * len(GROUPS)
    assert not inputs.notes
    assert inputs.repeats is not None
    assert len(inputs.repeats.rows) == TRIALS * len(OPERATOR_SCALES)
    assert {row.crown for row in inputs.repeats.rows} == {REPEATED}
    assert inputs.scores is not None
    assert len(inputs.scores.examiners) == 2
    assert len(inputs.scores.rows) == 2 * CROWNS * len(GROUPS)
    assert "invented" in files.text
    assert files.text == TEXT


@pytest.mark.slow
def test_the_same_bytes_on_every_run(files: StudyFiles, tmp_path: Path) -> None:
    again = run(write_study_case_steps(tmp_path, edge_mm=COARSE_MM))
    first = files.study.parent
    names = [file.relative_to(first) for file in first.rglob("*") if file.is_file()]
    assert len(names) == 1 + len(files.scans) + TRIALS * len(OPERATOR_SCALES) + 6
    for name in names:
        assert (again.study.parent / name).read_bytes() == (first / name).read_bytes(), name


def test_examiners_reject_the_spoiled_crown_both(coarse_case: StudyCase) -> None:
    rows = csv.DictReader(io.StringIO(scores_text(coarse_case), newline=""))
    rows = [row for row in rows if row["crown"] == SPOILED]
    assert len(rows) == 2
    assert all(int(row["gap"]) == int(row["seating"]) == 2 for row in rows)


@pytest.mark.slow  # 24 crowns and all their pairs
def test_the_study_finds_what_was_made(files: StudyFiles, tmp_path: Path) -> None:
    """The spoiled crown alone is odd; the tilted way fails at the margin; examiners agree."""
    inputs = read_study(files.study)
    with executor_of(2) as executor:
        found = run_study(inputs, tmp_path, executor=executor)
    assert not found.left_out
    assert len(found.pairs) == len(GROUPS) * CROWNS * (CROWNS - 1) // 2
    analysis = analyse_study(found)
    assert [crown.crown for crown in analysis.odd_crowns if crown.odd] == [SPOILED]
    assert analysis.without_odd is not None
    meets = {
        (row.group, row.area): row.meets
        for row in analysis.findings.tolerances
        if row.tolerance_um > 0
    }
    assert meets["milled", "margin"] is True
    assert meets["tilted", "margin"] is False
    margin = next(
        row for row in analysis.findings.primary if (row.first, row.second) == ("milled", "tilted")
    )
    assert margin.outcome == "different"
    assert analysis.examiners is not None
    assert analysis.scanner


@cache
def truth_of_one(way: str) -> TrueTrueness:
    """What the formulae say of one crown made in a way."""
    made = study_case()
    scan = next(scan for scan in made.scans if scan.crown == f"{way}/02")
    (truth,) = true_trueness(made, [scan])
    return truth


WAYS = [group.name for group in GROUPS]


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_true_trueness_is_recovered(case: StudyCase, way: str) -> None:
    """One crown of each way, within 0.5 µm + 3 % of the truth by formula.

    Not of the fossae, whose found border differs from the true one: their (P90 − P10)/2 comes
    out up to 1.4 µm too large.
    """
    truth = truth_of_one(way)
    areas = AreaSettings(
        mesial_direction=tuple(DIRECTIONS.mesial), insertion=tuple(DIRECTIONS.insertion)
    )
    settings = CheckSettings(areas=areas, spacing_mm=SPACING_MM)
    result = check_meshes(case.design.mesh, case.produced(truth.scan).mesh, settings)
    compared = 0
    for row in truth.measures:
        if row.area == "fossae" or row.area not in result.area_set.areas:
            continue
        for measure in ("mean_abs_um", "rms_um", "half_p90_p10_um"):
            found = getattr(result.measures_of(row.area), measure)
            true = truth.value(row.area, measure)
            assert found == pytest.approx(true, abs=0.5 + 0.03 * true), (row.area, measure)
            compared += 1
    assert compared >= 3 * 6


@pytest.mark.slow  # the truth of three crowns
def test_the_ways_differ_at_the_margin_as_they_were_made() -> None:
    means = group_means([truth_of_one(way) for way in WAYS], "margin", "mean_abs_um")
    assert means["milled"] < means["upright"] < means["tilted"]


def test_the_repeated_scans_vary_as_they_were_made(coarse_case: StudyCase) -> None:
    """The operators differ by the scale that was given to them, the trials by chance."""
    repeats = coarse_case.repeats
    scales = {
        operator: np.mean([s.errors.scale[0] for s in repeats if s.operator == operator])
        for operator in ("1", "2")
    }
    assert scales["2"] - scales["1"] == pytest.approx(OPERATOR_SCALES[1] - 1.0, abs=2e-4)
    assert len({scan.seed for scan in repeats}) == len(repeats)


def test_the_demo_of_checks_is_quick_and_complete(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def explain_steps(result: CheckResult, index: object = None):
        yield from ()
        why = "the slow twin does"
        count = len(result.evaluation.points)
        return no_causes(count, result.settings.production, result.settings.causes, why)

    monkeypatch.setattr(explain_module, "explain_steps", explain_steps)
    monkeypatch.setattr(scenario, "demo_case_steps", partial(demo_case_steps, COARSE_MM))
    result = CliRunner().invoke(
        main, ["demo", "--checks", "--no-pictures", "--out", str(tmp_path / "demo")]
    )
    assert result.exit_code == 0, result.output
    assert {path.name for path in (tmp_path / "demo").iterdir()} >= {
        "design.stl",
        "printed_check",
        "milled_check",
    }


@pytest.mark.slow
def test_the_demo_of_checks_tells_its_causes(tmp_path: Path) -> None:
    """What was put into the two crowns is what is told of them, and the factor that mends one."""
    result = CliRunner().invoke(
        main, ["demo", "--checks", "--no-pictures", "--out", str(tmp_path / "demo")]
    )
    assert result.exit_code == 0, result.output
    documents = {
        name: json.loads((tmp_path / "demo" / f"{name}_check" / "check.json").read_text("utf-8"))
        for name in ("printed", "milled")
    }
    stated = {
        name: {cause["family"]: cause for cause in document["causes"] if cause["stated"]}
        for name, document in documents.items()
    }
    assert {"scale", "fossae"} <= set(stated["printed"])
    assert stated["printed"]["scale"]["low"] <= -1.2 <= stated["printed"]["scale"]["high"]
    factor = documents["printed"]["correction"]["all"]
    assert factor["low"] <= ENLARGEMENT / 0.9988 <= factor["high"]
    assert "tool" in stated["milled"]
    assert documents["milled"]["correction"] is None
