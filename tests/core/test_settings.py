"""Every setting refuses the same values in Python, in a study file and on the command line."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import reduce
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.allowed import Flag, Names, NotAllowed
from cuspwise.standalone_core.causes.settings import ProductionFacts
from cuspwise.standalone_core.cli.check import check
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.cli.setting_options import OLD_OPTIONS, option_name
from cuspwise.standalone_core.cli.settings import CHECK_KEYS, CHECK_TABLES
from cuspwise.standalone_core.deviation.settings import MarginProfileSettings
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.setting import (
    ImplausibleError,
    Setting,
    all_settings,
    changed,
    declared_in,
)
from cuspwise.standalone_core.study.aim import Aim, Spread
from cuspwise.standalone_core.study.file.fit_sections import FORCE_FIT
from cuspwise.standalone_core.study.file.keys import NOT_SET, Key
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.new_text import toml_text
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.file.study_sections import SETTINGS
from cuspwise.standalone_core.study.plan import StudyPlan
from made.setting_values import slips, usual, wrong_values

ROOT = Path(__file__).resolve().parents[2]
AREA = "margin"
FREE_NAMES = {"fit_equivalence_um": "marginal_gap_um"}
"""What a table with names of the user's choice is tried with, where that is no area."""

KEYS = [
    pytest.param(section.name, key, id=f"{section.name}.{key.name}")
    for section in SETTINGS
    for key in (*section.keys, *([section.free] if section.free else []))
    if key.setting is not None
]
DOUBTED = [one for one in KEYS if one.values[1].setting.plausible is not None]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("settings")
    for name in ("design.stl", "a.stl", "die.stl"):
        (made / name).write_bytes(name.encode())
    return made


def told_in_python(table: str, key: Key, value: Any) -> SettingError:
    """What a dataclass of settings says of a value."""
    given = {name_of(table, key): value} if is_free(key) else value
    with pytest.raises(SettingError) as caught:
        changed(NOT_SET, {key.target: given})
    return caught.value


def told_in_a_file(folder: Path, table: str, key: Key, value: Any) -> tuple[str, ...]:
    """What a study file that sets a value is told, line by line."""
    with pytest.raises(StudyFileError) as caught:
        read_plan(study_file(folder, table, key, value))
    return caught.value.lines


def study_file(folder: Path, table: str, key: Key, value: Any, top: str = "") -> Path:
    name = name_of(table, key)
    lines = [top, 'design = "design.stl"', "[groups.a]", 'scans = ["a.stl"]', f"[{table}]"]
    lines += [f"{name} = {toml_text(value)}", *die_for(table), ""]
    path = folder / "study.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def die_for(table: str) -> list[str]:
    """The lines that name a die, without which no setting of fit can be used."""
    head = [] if table == "fit" else ["[fit]"]
    return [*head, 'die = "die.stl"'] if table.startswith("fit") else []


def name_of(table: str, key: Key) -> str:
    return FREE_NAMES.get(table, AREA) if is_free(key) else key.name


def told_by_the_command(*options: str) -> str:
    """What ``check`` says of options; none of them lets it come to read its files."""
    result = CliRunner().invoke(main, ["check", "none.stl", "none.stl", *options])
    assert result.exit_code == 1, result.output
    return result.output


def options_of(table: str, key: Key, value: Any) -> Iterator[list[str]]:
    """All ways in which the command line can set a value."""
    text = ",".join(map(str, value)) if isinstance(value, list) else str(value)
    if table == "tolerances_um":
        yield ["--tolerance", f"{AREA}={text}"]
    elif table == "scanner_um":
        yield ["--scanner", f"{AREA}={text}"]
        yield ["--scanner", text]
    elif table in {section.name for section in CHECK_TABLES}:
        yield ["--set", f"{table}.{key.name}={text}"]
        if key in CHECK_KEYS and not isinstance(key.setting.allowed, Flag):
            yield [f"{option_name(key.setting)}={text}"]


def is_free(key: Key) -> bool:
    return any(key is section.free for section in SETTINGS)


# What is not allowed


@pytest.mark.parametrize(("table", "key"), KEYS)
def test_a_value_that_is_not_allowed_is_refused_alike_on_every_way(
    folder: Path, table: str, key: Key
):
    values = wrong_values(key.setting.allowed)
    assert values
    for value in values:
        error = told_in_python(table, key, value)
        name = name_of(table, key)
        assert error.subject == (f"{key.name} of {name}" if is_free(key) else key.name)
        assert error.reason
        assert error.remedy
        said = f"{error.reason} {error.remedy}"
        if isinstance(value, str) and is_free(key) and table == "tolerances_um":
            said = 'It is "wide". Give a number of µm above 0, or "none".'  # it takes a word too
        lines = told_in_a_file(folder, table, key, value)
        assert f"study.toml:6: {table}.{name}: {said}" in lines
        assert len(lines) == 1 or isinstance(key.setting.allowed, Names)


@pytest.mark.parametrize(("table", "key"), KEYS)
def test_the_command_line_refuses_what_python_refuses(table: str, key: Key):
    kind = key.setting.allowed
    for value in wrong_values(kind):
        typed = not isinstance(value, (bool, list)) and not (isinstance(value, str) and value == "")
        if not typed or isinstance(kind, Names):
            continue  # lists and truth values are typed as texts, which have tests of their own
        for options in options_of(table, key, value):
            said = told_by_the_command(*options)
            error = told_in_python(table, key, value)
            assert said.startswith("Error: --")
            if isinstance(value, (int, float)) == key_takes_numbers(key):
                assert error.reason in said
            assert "Traceback" not in said


def key_takes_numbers(key: Key) -> bool:
    return key.setting.number is not None


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--spacing", "9999"], "--spacing: 9999 is not allowed. Give a number from 0.01 to 5."),
        (["--spacing", "1e-6"], "--spacing: 1e-06 is not allowed."),
        (["--set", "upward_share=7"], "--set upward_share: 7 is not allowed."),
        (["--set", "occlusal_slope_deg=500"], "Give a number above 0 and up to 90."),
        (["--set", "max_iterations=2.5"], "2.5 is not a whole number."),
        (["--design-unit", "furlong"], '--design-unit: It is "furlong". Give "auto", "mm",'),
        (["--set", "min_coverage=0.8"], "Write verdicts.min_coverage or support_marks.min_"),
        (["--set", "fosa_gap_mm=0.1"], "Did you mean fossa_gap_mm?"),
        (["--set", "fossa_gap_mm"], "Give a name and a value"),
        (["--set", "fossa_gap_mm=0,03"], "0,03 has a decimal comma. Write 0.03."),
        (["--search", "0,5"], "--search: 0,5 has a decimal comma. Write 0.5."),
        (["--tolerance", "margin=12,5"], "12,5 has a decimal comma. Write 12.5."),
        (["--scanner", "1,5"], "1,5 has a decimal comma. Write 1.5."),
        (["--mesial", "1,0"], 'It is "1,0", not a direction.'),
        (["--fit-areas", "margin,margin"], '"margin" is in the list twice.'),
        (["--build-direction", "up"], '--build-direction: It is "up", not a direction.'),
        (["--build-direction", "0,0,0"], "--build-direction: "),
        (["--enlargement", "0"], "--enlargement: 0 is not allowed."),
        (["--enlargement-along-build", "1,25"], "1,25 has a decimal comma. Write 1.25."),
        (["--bur-radius", "-0.3"], "--bur-radius: -0.3 is not allowed."),
        (["--bur-radius", "300"], "--bur-radius: 300 mm is hardly meant"),
        (["--way", "forged"], '--way: It is "forged". Give "unknown", "milled" or "printed"'),
        (["--set", "causes.scanner_scale_permille=99"], "99 is not allowed."),
        (["--set", "look_for_rivals=maybe"], 'It is "maybe". Give true or false.'),
    ],
)
def test_nonsense_on_the_command_line_is_told_with_its_remedy(options: list[str], words: str):
    assert words in told_by_the_command(*options)


# What is hardly meant


@pytest.mark.parametrize(("table", "key"), DOUBTED)
def test_a_slip_of_a_thousand_is_told_with_the_number_that_was_meant(
    folder: Path, table: str, key: Key
):
    meant = f"Did you mean {usual(key.setting):g}"
    for value in slips(key.setting):
        assert meant in told_in_python(table, key, value).remedy
        (line,) = told_in_a_file(folder, table, key, value)
        assert meant in line
        for options in options_of(table, key, value):
            assert meant in told_by_the_command(*options)


@pytest.mark.parametrize(("table", "key"), DOUBTED)
def test_force_takes_what_is_hardly_meant(folder: Path, table: str, key: Key):
    """Only what is not allowed at all, or breaks a rule with another setting, is still refused."""
    taken = 0
    for value in slips(key.setting):
        name = name_of(table, key)
        given = {name: value} if is_free(key) else value
        path = study_file(folder, table, key, value, top="force = true")
        refusal = None
        try:
            plan = changed(NOT_SET, {key.target: given, "check.force": True, FORCE_FIT: True})
        except SettingError as error:
            refusal = error
        if refusal is not None:
            assert not key.setting.number.holds(value) or refusal.subject in RULED
            continue
        taken += 1
        read = read_plan(path)
        target = [*key.target.split("."), *([name] if is_free(key) else [])]
        assert part_of(read, target) == part_of(plan, target) == value
    assert taken or key.name == "spacing_mm"


RULED = {"doubt_mm", "wrong_part_mm", "fossa_gap_mm", "contact_depth_mm", "contact_radius_mm"} | {
    "fossa_ball_radius_mm"
}


def part_of(plan: StudyPlan, target: list[str]) -> Any:
    def step(owner: Any, name: str) -> Any:
        return owner[name] if hasattr(owner, "keys") else getattr(owner, name)

    return reduce(step, target, plan)


def test_each_way_names_its_own_switch(folder: Path):
    key = next(key for section in SETTINGS for key in section.keys if key.name == "search_mm")
    assert "force=True takes it as it is." in told_in_python("measuring", key, 1000.0).remedy
    (line,) = told_in_a_file(folder, "measuring", key, 1000.0)
    assert line.endswith("force = true above the first table takes it as it is.")
    said = told_by_the_command("--search", "1000")
    assert "--search: 1000 mm is hardly meant: 0.02 to 50 mm is plausible." in said
    assert "Did you mean 1, which is 1000 µm? --force takes it as it is." in said
    forced = CliRunner().invoke(main, ["check", "no.stl", "no.stl", "--search", "1000", "--force"])
    assert "no.stl" in forced.output  # it came to read its files


def test_a_nought_switches_off_and_is_always_meant():
    for kind in (MarginProfileSettings, Aim, Spread):
        for setting in declared_in(kind).values():
            assert setting.implausible(0) is None
    assert changed(NOT_SET, {"check.tolerances.max_unmatched_um": 0}) != NOT_SET


# Rules between settings


@pytest.mark.parametrize(
    ("table", "line", "told"),
    [
        (
            "superimposition",
            "doubt_mm = 0.3",
            "0.3 is above wrong_part_mm, which is 0.18",
        ),
        ("superimposition", "size_tolerance = 0.2", "0.2 is above other_size, which is 0.1"),
        ("areas", "fossa_gap_mm = 0.9\nfossa_ball_radius_mm = 0.5", "which is 0.5"),
        ("areas", "contact_radius_mm = 0.1\ncontact_depth_mm = 0.2", "which is 0.1"),
        ("areas", "outward_share = 0.2", "rim_outward_share: 0.25 is above outward_share"),
        ("examiners", 'gap = ["a", "b"]\nacceptable = 2', "2 is not a score of gap"),
    ],
)
def test_settings_that_contradict_each_other_are_refused(
    folder: Path, table: str, line: str, told: str
):
    lines = ['design = "design.stl"', "[groups.a]", 'scans = ["a.stl"]', f"[{table}]", line, ""]
    path = folder / "study.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(StudyFileError) as caught:
        read_plan(path)
    (found,) = caught.value.lines
    assert told in found
    assert re.match(r"study\.toml:[456]: ", found)


# One declaration


def test_every_field_of_a_check_is_declared_or_holds_what_is():
    """A number, word or truth value without a declaration would be checked nowhere."""
    undeclared = {
        f"{owner.__name__}.{one.name}"
        for owner in {type(NOT_SET.check), type(NOT_SET.analysis), type(NOT_SET.scores)}
        | {type(value) for value in vars(NOT_SET.check).values() if is_dataclass(value)}
        for one in fields(owner)
        if one.name not in declared_in(owner)
    }
    parts = {"areas", "superimpose", "deviation", "patches", "tolerances", "marks", "mark"}
    parts |= {"causes", "production"}
    assert undeclared == {
        *(f"CheckSettings.{name}" for name in (*parts, "areas_file")),
        "ScoreScale.words",
    }


def test_every_setting_of_a_check_is_in_a_study_file_by_its_own_name():
    of_the_file = {"landmarks_scan_mm", "landmarks_design_mm", "force"}
    of_a_group = set(declared_in(ProductionFacts))
    of_the_scans = {"crown_unit"}  # which is scan_unit in a study
    names = {name for name, _, _ in all_settings(NOT_SET)} - of_the_file - of_a_group - of_the_scans
    keys = {key.values[1].name for key in KEYS}
    assert names == keys
    for one in KEYS:
        assert one.values[1].target.rpartition(".")[2] == one.values[1].name


def test_options_are_called_like_their_settings():
    for key in CHECK_KEYS:
        option = option_name(key.setting).removeprefix("--").replace("-", "_")
        if key.name == "find_causes":
            assert option == "causes"  # --no-find-causes would say it too long
            continue
        assert key.name.startswith(option)
        assert key.name.removeprefix(option) in ("", "_mm", "_um", "_direction")


@pytest.mark.parametrize("old", OLD_OPTIONS)
def test_an_old_option_is_refused_with_its_new_name(old: str):
    said = told_by_the_command(f"{old}" if old in FLAGS else f"{old}=1")
    assert f"Error: {old}: It has another name now. Write {OLD_OPTIONS[old]}." in said
    own = {name for param in check.params for name in (*param.opts, *param.secondary_opts)}
    assert OLD_OPTIONS[old] in own


FLAGS = ("--drop-debris", "--no-fit", "--unweighted")


def test_the_table_in_the_documentation_is_up_to_date():
    made = load(ROOT / "tools" / "write_settings_table.py")
    written = (ROOT / "docs" / "settings.md").read_text(encoding="utf-8")
    assert written == made.settings_table(), "run python tools/write_settings_table.py"


def load(path: Path) -> SimpleNamespace:
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_options_are_made_without_numpy():
    """Numpy reads the number of its threads when it is imported, which the command sets first."""
    code = "import sys, cuspwise.standalone_core.cli.main; print('numpy' in sys.modules)"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "False"


# The declaration itself


def test_a_declaration_knows_its_unit_and_its_label():
    declared = declared_in(MarginProfileSettings)
    assert (declared["edge_limit_um"].unit, declared["edge_limit_um"].stem) == ("µm", "edge_limit")
    assert declared["edge_limit_um"].label == "Edge Limit (µm)"
    assert (declared["min_share"].unit, declared["min_share"].stem) == ("", "min_share")


def test_whole_numbers_stay_whole_and_others_become_floats():
    plan = changed(NOT_SET, {"analysis.seed": 7.0, "check.deviation.search_mm": 2})
    assert isinstance(plan.analysis.seed, int)
    assert isinstance(plan.check.deviation.search_mm, float)


def test_a_setting_refuses_with_a_problem_of_its_own():
    setting = Setting("x_mm", 1.0, declared_in(Spread)["sd_um"].allowed, "", plausible=(0.1, 10.0))
    with pytest.raises(NotAllowed) as caught:
        setting.checked(-1)
    assert (caught.value.reason, caught.value.at) == ("-1 is not allowed.", None)
    assert setting.implausible(0.5) is None
    assert setting.implausible(2000.0).remedy == "Did you mean 2, which is 2000 µm?"
    assert setting.implausible(0.002).remedy == "Did you mean 2?"
    assert setting.implausible(50.0).remedy == "Give 0.1 to 10."
    with pytest.raises(ImplausibleError):
        Aim(difference_um=5000.0)
    assert Aim(difference_um=5000.0, force=True).difference_um == 5000.0
