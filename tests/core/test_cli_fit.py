"""The commands ``fit`` and ``walls`` as a user meets them."""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.allowed import Flag, Names
from cuspwise.standalone_core.cli.fit import fit, walls
from cuspwise.standalone_core.cli.fit_settings import (
    FIT_OPTIONS,
    FIT_TABLES,
    WALL_OPTIONS,
    fit_settings,
    wall_settings,
)
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.cli.setting_options import option_name
from cuspwise.standalone_core.demo.die import demo_die
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.fit import check_fit
from cuspwise.standalone_core.fit.inputs import FitFiles
from cuspwise.standalone_core.fit.result import FitResult
from cuspwise.standalone_core.fit.settings import FitSettings
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.progress import Progress, Steps
from cuspwise.standalone_core.setting import all_settings, changed, declared_in
from cuspwise.standalone_core.study.file.keys import Key
from made import fit_results as made
from made.crowns import demo_crown
from made.setting_values import slips, usual, wrong_values

KEYS = [
    pytest.param(section.name, key, id=f"{section.name}.{key.name}")
    for section in FIT_TABLES
    for key in section.keys
]
NONE_GIVEN = {
    **{param.name: None for command in (fit, walls) for param in command.params},
    **{"set": (), "force": False, "hard": False},
}


def said_by(command: str, *options: str) -> str:
    """What a command says of options; none of them lets it come to read its files."""
    files = ["none.stl", "none.stl"][: 2 if command == "fit" else 1]
    result = CliRunner().invoke(main, [command, *files, *options])
    assert result.exit_code == 1, result.output
    return result.output


# Settings


def test_every_setting_of_a_fit_can_be_set():
    """Walked from the dataclass: one that is added there is missing here until it has a key."""

    def targets(kind: Any, owner: str) -> set[str]:
        found = {f"{owner}{name}" for name in declared_in(type(kind))}
        for one in fields(kind):
            value = getattr(kind, one.name)
            if is_dataclass(value):
                found |= targets(value, f"{owner}{one.name}.")
        return found

    settings = FitSettings()
    keys = {key.target for section in FIT_TABLES for key in section.keys}
    assert keys | {"force"} == targets(settings, "")  # an option alone, as of a check
    assert len(keys) + 1 == len(list(all_settings(settings)))


@pytest.mark.parametrize(("table", "key"), KEYS)
def test_a_value_that_is_not_allowed_is_refused_alike_in_python_and_by_set(table: str, key: Key):
    for value in wrong_values(key.setting.allowed):
        with pytest.raises(SettingError) as in_python:
            changed(FitSettings(), {key.target: value})
        assert in_python.value.subject == key.name
        typed = isinstance(value, (int, float, str)) and not isinstance(value, bool) and value != ""
        if not typed or isinstance(key.setting.allowed, (Names, Flag)):
            continue
        with pytest.raises(SettingError) as by_set:
            fit_settings({**NONE_GIVEN, "set": (f"{table}.{key.name}={value}",)})
        assert by_set.value.subject == f"--set {table}.{key.name}"
        if key.setting.number is not None and not isinstance(value, str):
            assert by_set.value.reason == in_python.value.reason


DOUBTED = [
    one for one in KEYS if one.values[1].setting.plausible is not None and one.values[0] != "areas"
]
"""Those of areas are tested with a check's."""


@pytest.mark.parametrize(("table", "key"), DOUBTED)
def test_a_slip_of_a_thousand_is_told_and_taken_by_force(table: str, key: Key):
    if key.setting.default is None:
        return  # those are tested by their options below
    for value in slips(key.setting):
        given = {**NONE_GIVEN, "set": (f"{table}.{key.name}={value:g}",)}
        if key.setting.number.holds(value):
            with pytest.raises(SettingError, match=f"Did you mean {usual(key.setting):g}"):
                fit_settings(given)
    beyond = 2.0 * key.setting.plausible[1]
    if key.setting.number.holds(beyond):
        forced = {**NONE_GIVEN, "set": (f"{table}.{key.name}={beyond:g}",), "force": True}
        held: Any = fit_settings(forced)
        for part in key.target.split("."):
            held = getattr(held, part)
        assert held == beyond


def test_options_are_called_like_their_settings_and_set_them():
    for key in (*FIT_OPTIONS, *WALL_OPTIONS):
        option = option_name(key.setting).removeprefix("--").replace("-", "_")
        assert key.name.startswith(option)
        assert key.name.removeprefix(option) in ("", "_mm", "_um", "_direction")
    given = {
        **NONE_GIVEN,
        **{"insertion": "0,0,1", "mesial_direction": "1,0,0", "buccal_direction": "0,1,0"},
        **{"cement_space_um": "60", "hard": True, "die_unit": "mm"},
        "set": ("walls.places=9", "gap.places=720", "tight_um=40"),
    }
    settings = fit_settings(given)
    assert settings.areas.mesial_direction == (1.0, 0.0, 0.0)
    assert settings.gap.cement_space_um == 60.0
    assert (settings.seat.contact, settings.die_unit) == ("hard", "mm")
    assert (settings.walls.places, settings.gap.places, settings.contacts.tight_um) == (9, 720, 40)
    alone = wall_settings({**NONE_GIVEN, "set": ("least_axial_mm=0.7",)})
    assert alone.walls.least_axial_mm == 0.7


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--cement-space", "0.05"], "Did you mean 50, which is 0.05 mm? --force takes it"),
        (["--cement-space", "60,5"], "--cement-space: 60,5 has a decimal comma. Write 60.5."),
        (["--insertion", "0,0,0"], "--insertion: "),
        (["--mesial", "left"], '--mesial: It is "left", not a direction.'),
        (["--set", "places=5"], "Write gap.places or walls.places."),
        (["--set", "patch_m=1"], "Did you mean patch_mm?"),
        (["--hard", "--set", "contact=patches"], "--hard: It contradicts '--set contact=patches'."),
    ],
)
def test_nonsense_is_told_with_its_remedy(options: list[str], words: str):
    said = said_by("fit", *options)
    assert words in said
    assert "Traceback" not in said


def test_walls_take_no_setting_of_a_seat():
    assert "There is no setting" in said_by("walls", "--set", "patch_mm=0.3")


# Running


@pytest.mark.parametrize("command", ["fit", "walls"])
def test_results_never_replace_what_is_read(command: str, tmp_path: Path):
    crown = tmp_path / "walls.ply"
    crown.write_bytes(b"mine")
    files = [str(crown), str(crown)][: 2 if command == "fit" else 1]
    done = CliRunner().invoke(main, [command, *files, "--out", str(tmp_path)])
    assert done.exit_code == 1
    assert "The results would replace walls.ply, which is read." in done.output
    assert crown.read_bytes() == b"mine"


def test_walls_of_a_design_are_told_and_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    write_mesh(tmp_path / "crown.stl", demo_crown(0.5).mesh)
    options = ["--spacing", "0.5", "--insertion", "0,0,1", "--mesial", "1,0,0"]
    done = CliRunner().invoke(main, ["walls", "crown.stl", *options])
    assert done.exit_code == 0, done.output
    written = {path.name for path in (tmp_path / "crown_walls").iterdir()}
    assert written == {"walls.html", "walls.json", "walls.csv", "README.csv", "walls.ply"}
    document = json.loads((tmp_path / "crown_walls" / "walls.json").read_text(encoding="utf-8"))
    axial, occlusal = document["walls"]["areas"]
    assert f"{axial['least_mm']:.2f} mm" in done.output
    # The prototypes' demo crown: 0.63 mm at least, 1.09 mm at the median, from 1 mm on.
    assert 0.4 < axial["least_mm"] < 0.8
    assert 0.8 < occlusal["p50_mm"] < 1.5


def test_a_fit_without_a_finish_line_is_written_and_ends_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """What is computed is put together by hand here; a slow test computes it."""
    asked: list[tuple[FitFiles, FitSettings]] = []

    def measured(files: FitFiles, settings: FitSettings) -> Steps[FitResult]:
        asked.append((files, settings))
        yield Progress("Seating", 0.5)
        return made.without_finish_line()

    monkeypatch.setattr(check_fit, "check_fit_steps", measured)
    monkeypatch.chdir(tmp_path)
    options = ["--neighbours", "36.stl", "--neighbours", "38.stl", "--seated", "both.stl", "--hard"]
    done = CliRunner().invoke(main, ["fit", "a.stl", "die.stl", *options, "--no-pictures"])
    assert done.exit_code == 0, done.output
    assert "Margin: Not measured: give a finish line." in done.output
    assert "Written to a_fit: fit.html, fit.json, fit.csv" in done.output
    ((files, settings),) = asked
    assert files == FitFiles(
        Path("a.stl"),
        Path("die.stl"),
        seated=Path("both.stl"),
        neighbours=(Path("36.stl"), Path("38.stl")),
    )
    assert settings.seat.contact == "hard"
    printed = CliRunner().invoke(main, ["fit", "a.stl", "die.stl", "--json"])
    assert json.loads(printed.stdout)["missing"]["margin"] == "Not measured: give a finish line."
    assert {path.name for path in tmp_path.iterdir()} == {"a_fit"}


@pytest.mark.slow
def test_a_design_is_fitted_on_its_die(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(tmp_path)
    crown = demo_crown(0.4)
    write_mesh(tmp_path / "crown.stl", crown.mesh)
    write_mesh(tmp_path / "die.stl", demo_die(crown, edge_mm=0.4).mesh)
    options = ["--spacing", "0.4", "--mesial", "1,0,0", "--no-pictures"]
    done = CliRunner().invoke(main, ["fit", "crown.stl", "die.stl", *options])
    assert done.exit_code == 0, done.output
    assert "give a finish line" in done.output
    told = json.loads((tmp_path / "crown_fit" / "fit.json").read_text(encoding="utf-8"))
    assert told["seat"]["stop"] == "rests"
    assert told["margin"] is None
    assert told["gap_um"]["whole"]["mean"] > 0.0
    with_design = CliRunner().invoke(
        main, ["fit", "crown.stl", "die.stl", "--design", "crown.stl", *options]
    )
    assert with_design.exit_code == 0, with_design.output
    assert {path.name for path in (tmp_path / "crown_fit").iterdir()} >= {"marginal_gap.csv"}
    told = json.loads((tmp_path / "crown_fit" / "fit.json").read_text(encoding="utf-8"))
    assert len(told["margin"]["sectors"]) == 8
