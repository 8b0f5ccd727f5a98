"""Causes on the command line: after the verdict, never in its way, and by a command of their own.

The check itself is made up here, so that no case computes one; :mod:`test_causes_find` and the
slow case below see the real one.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core import check as check_module
from cuspwise.standalone_core import explain as explain_module
from cuspwise.standalone_core.causes.document import CAUSE_COLUMNS
from cuspwise.standalone_core.causes.words import CAUTION
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.errors import SettingError
from made.check_causes import SCALE, make_causes
from made.check_results import make_result

VERDICT = "Outside tolerance: occlusal"
CHECK_FILES = {
    *("check.html", "check.json", "measures.csv", "patches.csv", "README.csv"),
    *("deviation_design.ply", "deviation_scan.ply"),
}


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def made() -> CheckResult:
    return make_result()


@pytest.fixture
def asked(made: CheckResult, monkeypatch: pytest.MonkeyPatch) -> list[CheckResult]:
    """The checks that the command ran, each with the settings it was given."""
    found: list[CheckResult] = []

    def check_steps(design: Path, scan: Path, settings: object):
        yield from ()
        found.append(replace(made, settings=settings))
        return found[-1]

    def explain_steps(result: CheckResult, index: object = None):
        yield from ()
        return make_causes(result)

    monkeypatch.setattr(check_module, "check_steps", check_steps)
    monkeypatch.setattr(explain_module, "explain_steps", explain_steps)
    return found


@pytest.fixture
def stop(monkeypatch: pytest.MonkeyPatch) -> Callable[[BaseException], None]:
    """Let the search for causes end with an exception."""

    def stop_with(problem: BaseException) -> None:
        def explain_steps(result: CheckResult, index: object = None):
            yield from ()
            raise problem

        monkeypatch.setattr(explain_module, "explain_steps", explain_steps)

    return stop_with


def test_check_tells_and_writes_why_after_the_verdict(asked: list, tmp_path: Path) -> None:
    result = call("check", "a.stl", "b.stl", "--out", tmp_path, "--no-pictures")
    assert result.exit_code == 0, result.output
    told = " ".join(result.output.split())
    places = [told.index(said) for said in (VERDICT, "Why", SCALE.sentence, "Written to")]
    assert places == sorted(places)
    assert {file.name for file in tmp_path.iterdir()} == CHECK_FILES | {"causes.csv"}
    document = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert document["causes"][0]["cause"] == SCALE.cause
    assert document["seconds"]["causes"] >= 0.0


def test_json_of_a_check_holds_the_causes(asked: list, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = call("check", "a.stl", "b.stl", "--json")
    document = json.loads(result.stdout, parse_constant=pytest.fail)
    assert [cause["cause"] for cause in document["causes"]][:1] == [SCALE.cause]
    assert document["correction"]["along"]["factor_next"] == 1.24
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("option", [["--no-causes"], ["--set", "find_causes=false"]])
def test_no_causes_looks_for_none(asked: list, stop, tmp_path: Path, option: list[str]) -> None:
    stop(AssertionError("causes were looked for"))
    result = call("check", "a.stl", "b.stl", "--out", tmp_path, "--no-pictures", *option)
    assert result.exit_code == 0, result.output
    assert "Why" not in result.output
    assert {file.name for file in tmp_path.iterdir()} == CHECK_FILES


@pytest.mark.parametrize(
    ("problem", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "Stopped looking for causes."),
        (SettingError("It went wrong.", subject="way", remedy="Mend it."), 1, "It went wrong."),
    ],
)
def test_nothing_of_the_check_is_lost_without_its_causes(
    asked: list, stop, tmp_path: Path, problem: BaseException, code: int, said: str
) -> None:
    stop(problem)
    result = call("check", "a.stl", "b.stl", "--out", tmp_path, "--no-pictures")
    assert result.exit_code == code
    told = " ".join(result.output.split())
    assert told.index(VERDICT) < told.index(said.split(".", maxsplit=1)[0])
    assert "The check is whole without them and goes on." in told
    assert "Deviation per area" in told
    assert "Written to" in told
    assert {file.name for file in tmp_path.iterdir()} == CHECK_FILES
    document = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    assert document["causes"] is None
    assert document["measures"]


def test_an_interrupt_during_causes_still_prints_the_json(asked: list, stop) -> None:
    stop(KeyboardInterrupt())
    result = call("check", "a.stl", "b.stl", "--json")
    assert result.exit_code == 130
    document = json.loads(result.stdout, parse_constant=pytest.fail)
    assert document["verdicts"]
    assert document["causes"] is None


def test_causes_prints_sentences_first(asked: list, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = call("causes", "a.stl", "b.stl")
    assert result.exit_code == 0, result.output
    told = " ".join(result.output.split())
    parts = (SCALE.sentence, "95 % interval", "What could not", "1.2450 → 1.2400", CAUTION)
    places = [told.rindex(said) for said in parts]
    assert places == sorted(places)
    assert told.startswith(f"Why it deviates {SCALE.sentence}")
    assert not list(tmp_path.iterdir())


def test_causes_as_json_is_one_document_and_nothing_else(asked: list) -> None:
    result = call("causes", "a.stl", "b.stl", "--json")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout, parse_constant=pytest.fail)
    assert list(document)[:2] == ["causes", "correction"]
    assert [list(cause) for cause in document["causes"]] == [list(CAUSE_COLUMNS)] * 4
    assert set(document["correction"]) == {"along"}
    assert {"factor_used", "factor_next", "low", "high"} <= set(document["correction"]["along"])
    assert result.stderr == ""


@pytest.mark.parametrize("command", ["check", "causes"])
def test_facts_of_production_reach_the_settings(asked: list, command: str) -> None:
    facts = ["--build-direction", "0,0.6,-0.8", "--enlargement", "1.245", "--bur-radius", "0.3"]
    facts += ["--enlargement-along-build", "1.26", "--way", "printed", "--spacing", "0.2"]
    scale = ["--set", "causes.scanner_scale_permille=0.1", "--set", "least_um=2"]
    result = call(command, "a.stl", "b.stl", "--json", *facts, *scale)
    assert result.exit_code == 0, result.output
    (made,) = asked
    production, causes = made.settings.production, made.settings.causes
    assert production.build_axis == pytest.approx((0.0, 0.6, -0.8))
    assert (production.enlargement, production.enlargement_along_build) == (1.245, 1.26)
    assert (production.bur_radius_mm, production.way) == (0.3, "printed")
    assert (causes.scanner_scale_permille, causes.least_um) == (0.1, 2.0)
    assert made.settings.spacing_mm == 0.2


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--way", "forged"], '--way: It is "forged".'),
        (["--build-direction", "up"], '--build-direction: It is "up", not a direction.'),
        (["--enlargement", "none"], "--enlargement: "),
        (["--bur-radius", "500"], "--bur-radius: 500 mm is hardly meant"),
        (["--set", "scanner_scale=1"], "Did you mean scanner_scale_permille?"),
        (["--start", "landmarks"], "--landmarks FILE"),
    ],
)
def test_nonsense_is_told_before_anything_is_read(options: list[str], said: str) -> None:
    result = call("causes", "none.stl", "none.stl", *options)
    assert result.exit_code == 1
    assert result.output.startswith("Error: ")
    assert said in result.output


def test_causes_of_no_file_are_refused() -> None:
    result = call("causes", "none.stl", "none.stl", "--json")
    assert (result.exit_code, result.stdout) == (1, "")
    assert "none.stl" in result.stderr


def test_help_names_the_facts_of_production() -> None:
    for command in ("check", "causes"):
        told = call(command, "--help").output
        for option in ("--build-direction X,Y,Z", "--enlargement NUMBER", "--bur-radius MM"):
            assert option in told
        assert "--way [unknown|milled|printed]" in told
    assert "--no-causes" in call("check", "--help").output
    assert "--no-causes" not in call("causes", "--help").output
