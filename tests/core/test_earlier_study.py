"""The whole way: a study, the same a while later, and the second against the first."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Sequence
from pathlib import Path

import cuspwise
import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.errors import StudyError
from made.small_studies import NO_CAUSES, STUDY, write_small_study, written
from scipy import stats

DOCUMENT = "study_results/study.json"
FIRST = {"a": 3, "b": 3}
SECOND = {"b": 3, "a": 4}
"""The same ways in another order, so that every scan has noise of its own."""


def call(*arguments: object) -> Result:
    options = ("--workers", 1, "--no-pictures")
    return CliRunner().invoke(main, [str(part) for part in ("study", *arguments, *options)])


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A first study that has run, and a second one, which has one of its crowns again."""
    home = tmp_path_factory.mktemp("years")
    first = write_small_study(home / "first", FIRST)
    write_small_study(home / "second", SECOND)
    shutil.copy(home / "first/a/0.stl", home / "second/a/0.stl")
    result = call(first)
    assert result.exit_code == 0, result.output
    return home


@pytest.fixture(scope="module")
def result(home: Path) -> Result:
    return call(home / "second", "--earlier", home / "first" / DOCUMENT)


def values(file: Path, group: str, leave_out: Sequence[str] = ()) -> list[float]:
    """The mean absolute deviations of the margin as a study's own table has them."""
    with file.open(encoding="utf-8-sig", newline="") as stream:
        return [
            float(row["value"])
            for row in csv.DictReader(stream)
            if (row["group"], row["area"], row["measure"]) == (group, "margin", "mean_abs_um")
            and row["direction"] == "design_to_scan"
            and row["crown"] not in leave_out
        ]


def test_a_study_is_set_beside_an_earlier_one(home: Path, result: Result) -> None:
    assert result.exit_code == 0, result.output
    text = " ".join(result.output.split())
    assert "Against the earlier study 'Small' (exploratory, not adjusted): a, margin" in text
    assert "In both studies, and counted in the earlier one alone: a/0." in text
    out = home / "second/study_results"
    with (out / "tables/earlier_study.csv").open(encoding="utf-8-sig", newline="") as stream:
        table = {(row["group"], row["area"]): row for row in csv.DictReader(stream)}
    assert table.keys() == {(group, area) for group in "ab" for area in ("whole", "margin")}
    for group, left_out in (("a", ["a/0"]), ("b", [])):
        before = values(home / "first/study_results/tables/trueness.csv", group)
        now = values(out / "tables/trueness.csv", group, left_out)
        test = stats.ttest_ind(now, before, equal_var=False)
        row = table[group, "margin"]
        assert (row["n_earlier"], row["n_now"]) == ("3", "3")
        assert float(row["p_unadjusted"]) == pytest.approx(test.pvalue, rel=1e-6)
        interval = test.confidence_interval(0.95)
        assert float(row["difference_low"]) == pytest.approx(interval.low, rel=1e-6)
        assert float(row["difference_high"]) == pytest.approx(interval.high, rel=1e-6)


def test_the_same_scan_of_both_has_the_same_numbers(home: Path, result: Result) -> None:
    document = json.loads((home / "second" / DOCUMENT).read_text(encoding="utf-8"))
    found = document["analysis"]["earlier"]
    assert found["shared"] == ["a/0"]
    assert found["file"] == f"../first/{DOCUMENT}"
    assert any("the same numbers earlier and now" in note for note in found["notes"])
    assert document["plan"]["earlier"] == "../first/study_results/study.json"


def test_the_study_file_may_name_it(home: Path, result: Result) -> None:
    """With the same results as the option has, byte for byte."""
    expected = written(home / "second/study_results")
    shutil.copytree(home / "second", home / "third")
    line = f'earlier = "../first/{DOCUMENT}"\n'
    (home / "third/study.toml").write_text(line + STUDY + NO_CAUSES, encoding="utf-8")
    again = call(home / "third")
    assert again.exit_code == 0, again.output
    found = written(home / "third/study_results")
    assert "tables/earlier_study.csv" in found
    assert found == expected


def test_from_python_it_is_the_same(home: Path, result: Result, tmp_path: Path) -> None:
    inputs = cuspwise.read_study(home / "second")
    assert inputs.earlier is None
    inputs = inputs.with_earlier(home / "first" / DOCUMENT)
    shutil.copytree(home / "second/study_results", tmp_path / "out")
    run = cuspwise.run_study(inputs, tmp_path / "out")
    found = cuspwise.analyse_study(run).earlier
    assert found is not None
    assert found == cuspwise.against_earlier(run, inputs.earlier)
    document = json.loads((home / "second" / DOCUMENT).read_text(encoding="utf-8"))
    told = document["analysis"]["earlier"]["rows"]
    assert [row.test.difference for row in found.rows] == [row["difference"] for row in told]


def test_its_own_document_is_no_earlier_study(home: Path) -> None:
    before = (home / "first" / DOCUMENT).read_bytes()
    told = call(home / "first", "--earlier", home / "first" / DOCUMENT)
    assert told.exit_code == 1
    assert "It is the file that this study itself writes" in told.output
    assert "(--out)" in told.output
    assert (home / "first" / DOCUMENT).read_bytes() == before
    inputs = cuspwise.read_study(home / "first").with_earlier(home / "first/study_results")
    with pytest.raises(StudyError, match="itself writes"):
        cuspwise.run_study(inputs, home / "first/study_results")


@pytest.mark.parametrize("by_option", [True, False])
def test_a_bad_earlier_study_is_told_before_anything_is_measured(
    home: Path, tmp_path: Path, by_option: bool
) -> None:
    folder = tmp_path / "study"
    shutil.copytree(home / "second", folder, ignore=shutil.ignore_patterns("study_results"))
    (folder / "study.json").write_text('{"schema": 3, "plan": {}, "crowns": 0}', encoding="utf-8")
    if by_option:
        told = call(folder, "--earlier", folder / "study.json")
    else:
        text = 'earlier = "study.json"\n' + STUDY
        (folder / "study.toml").write_text(text, encoding="utf-8")
        told = call(folder)
    assert told.exit_code == 1
    assert "study.json: It was written by an earlier version of Cuspwise" in told.output
    assert "Traceback" not in told.output
    assert not (folder / "study_results").exists()


def test_an_earlier_study_that_is_not_there_is_a_mistake_of_the_file(
    home: Path, result: Result, tmp_path: Path
) -> None:
    shutil.copytree(home / "second", tmp_path / "study")
    file = tmp_path / "study/study.toml"
    file.write_text('earlier = "stduy_results/study.json"\n' + STUDY, encoding="utf-8")
    with pytest.raises(cuspwise.StudyFileError) as caught:
        cuspwise.read_study(file)
    (line,) = caught.value.lines
    assert line.startswith('study.toml:1: earlier: There is no file "stduy_results/study.json".')
    assert "Did you mean study_results?" in line


def test_other_settings_are_a_reason_and_no_error(home: Path, tmp_path: Path) -> None:
    shutil.copytree(home / "second", tmp_path / "study")
    file = tmp_path / "study/study.toml"
    assert STUDY.endswith("[measuring]\nspacing_mm = 0.4\n")
    file.write_text(STUDY + "weighted = false\n" + NO_CAUSES, encoding="utf-8")
    told = call(file, "--earlier", home / "first" / DOCUMENT)
    assert told.exit_code == 0, told.output
    words = " ".join(told.output.split())
    assert "Not compared with the earlier study 'Small'" in words
    assert "(weighted): true earlier, false now." in words
