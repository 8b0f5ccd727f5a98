"""What study files say of dies and fit: what reaches the plan, and mistakes with their lines."""

from __future__ import annotations

import json
import pickle
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.fit.settings import FitSettings
from cuspwise.standalone_core.setting import changed
from cuspwise.standalone_core.study.cannot_show import cannot_show
from cuspwise.standalone_core.study.file.inputs import StudyInputs
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.fit_plan import USUAL_FIT_MEASURES, FitPlan
from cuspwise.standalone_core.study.plan_document import plan_document
from made.study_file_mistakes import cases
from made.study_fit_mistakes import CASES

Write = Callable[[str], Path]

GROUPS = """\
design = "design.stl"
[groups.milled]
scans = ["milled/*.stl"]
[groups.printed]
scans = ["printed/*.stl"]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    names = ["design.stl", "die.stl", "tooth_35.stl", "tooth_37.stl", "seated.stl", "line.csv"]
    names += [f"milled/crown_{number}.stl" for number in (1, 2, 10)]
    names += [f"printed/crown_{number}.stl" for number in (1, 3, 4)]
    names += [f"dies/die_{number}.stl" for number in (1, 2, 3, 10)]
    names += [f"seated/s_{number}.stl" for number in (1, 2, 10)]
    for name in [*names, "printed/notes.txt"]:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    return tmp_path


@pytest.fixture
def write(folder: Path) -> Write:
    def write(text: str) -> Path:
        (folder / "study.toml").write_text(text, encoding="utf-8")
        return folder / "study.toml"

    return write


def mistakes(path: Path) -> tuple[str, ...]:
    with pytest.raises(StudyFileError) as caught:
        read_plan(path)
    return caught.value.lines


# What a study file sets


def test_nothing_is_seated_where_no_die_is_named(write: Write):
    empty = "[fit]\n[fit_seat]\n[fit_gap]\n[fit_equivalence_um]\n"  # as in a new file
    assert read_plan(write(GROUPS)).fit is None
    assert read_plan(write(GROUPS + empty)).fit is None


def test_every_key_of_a_fit_reaches_the_plan(write: Write, folder: Path):
    plan = read_plan(
        write(
            GROUPS
            + """\
[fit]
die = "die.stl"
in_design_frame = false
finish_line = "line.csv"
neighbours = ["tooth_*.stl"]
antagonist = "seated.stl"
die_unit = "inch"
crowns = ["crown_2", "printed/crown_1"]
measures = ["marginal_gap_um", "least_wall_um"]
[fit_seat]
contact = "hard"
[fit_gap]
marginal_limit_um = 100
cement_space_um = 60
[fit_walls]
places = 3
[fit_contacts]
tight_um = 40
[fit_triple_scan]
reach_mm = 0.1
[fit_equivalence_um]
marginal_gap_um = 15
"""
        )
    )
    made = {
        "die_unit": "inch",
        "seat.contact": "hard",
        "gap.marginal_limit_um": 100.0,
        "gap.cement_space_um": 60.0,
        "walls.places": 3,
        "contacts.tight_um": 40.0,
        "triple_scan.reach_mm": 0.1,
    }
    assert plan.fit == FitPlan(
        die=folder / "die.stl",
        in_design_frame=False,
        finish_line=folder / "line.csv",
        neighbours=(folder / "tooth_35.stl", folder / "tooth_37.stl"),
        antagonist=folder / "seated.stl",
        crowns=("crown_2", "printed/crown_1"),
        measures=("marginal_gap_um", "least_wall_um"),
        equivalence_um={"marginal_gap_um": 15.0},
        settings=changed(FitSettings(), made),
    )
    names = plan.crown_names()
    assert [names[scan] for scan in plan.scans if plan.fit.seats(names[scan])] == [
        "crown_2",
        "printed/crown_1",
    ]
    assert pickle.loads(pickle.dumps(plan)) == plan


def test_a_die_alone_is_enough(write: Write, folder: Path):
    fit = read_plan(write(f'{GROUPS}[fit]\ndie = "die.stl"\n')).fit
    assert fit == FitPlan(die=folder / "die.stl")
    assert fit.measures == USUAL_FIT_MEASURES


def test_dies_of_groups_are_paired_with_scans_by_number(write: Write, folder: Path):
    """Named dies mean that their crowns are to be seated: no table is needed."""
    plan = read_plan(
        write(
            'design = "design.stl"\n[groups.milled]\nscans = "milled/*.stl"\n'
            'dies = ["dies/die_1.stl", "dies/die_2.stl", "dies/die_10.stl"]\nseated = "seated/*"\n'
            '[groups.printed]\nscans = "printed/*.stl"\ndies = "die.stl"\n'
        )
    )
    milled, printed = plan.groups
    assert plan.fit == FitPlan()
    assert [die.name for die in milled.dies] == ["die_1.stl", "die_2.stl", "die_10.stl"]
    assert [scan.name for scan in milled.seated] == ["s_1.stl", "s_2.stl", "s_10.stl"]
    assert printed.dies == (folder / "die.stl",) * 3
    assert plan.notes == cannot_show(plan)
    assert pickle.loads(pickle.dumps(plan)) == plan
    document = plan_document(plan)
    assert document["groups"][0]["dies"][2] == "dies/die_10.stl"
    assert document["fit"]["settings"]["gap"]["marginal_limit_um"] == 120.0
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_files_whose_numbers_differ_from_their_crowns_are_noted(write: Write):
    text = GROUPS.replace('d/*.stl"]\n[', 'd/*.stl"]\ndies = "dies/*[123].stl"\n[')
    plan = read_plan(write(f'{text}[fit]\ndie = "die.stl"\n'))
    note, *others = plan.notes
    assert tuple(others) == cannot_show(plan)
    assert note == (
        "Group milled: files are paired in their order, so that the die of crown_10.stl is "
        "die_3.stl."
    )


def test_groups_without_a_crown_to_be_seated_need_no_die(write: Write):
    text = GROUPS.replace('d/*.stl"]\n[', 'd/*.stl"]\ndies = "die.stl"\n[')
    plan = read_plan(write(f'{text}[fit]\ncrowns = ["crown_2"]\n'))
    assert not plan.groups[1].dies
    assert len(mistakes(write(f'{text}[fit]\ncrowns = ["crown_2", "crown_3"]\n'))) == 1


def test_what_is_hardly_meant_is_taken_with_force(write: Write):
    text = f'force = true\n{GROUPS}[fit]\ndie = "die.stl"\n[fit_gap]\nmarginal_limit_um = 0.12\n'
    plan = read_plan(write(text))
    assert plan.fit.settings.gap.marginal_limit_um == 0.12
    assert plan.fit.settings.force


# Mistakes


@pytest.mark.parametrize(("text", "expected"), list(cases(CASES)))
def test_a_mistake_is_told_with_its_line_and_remedy(write: Write, text: str, expected: str):
    found = mistakes(write(GROUPS + text))
    start = "study.toml:" if expected[0].isdigit() else "study.toml: "
    assert f"{start}{expected}" in found
    assert len(found) == 1 or "rms_um" in text


def test_a_limit_of_no_measure_is_refused_in_python_too():
    with pytest.raises(SettingError, match="no fit measure called margin"):
        FitPlan(equivalence_um={"margin": 10.0})


# Leaving the fit out


def test_a_study_without_its_fit_is_the_same_study(write: Write):
    plan = read_plan(write(f'{GROUPS}[fit]\ndie = "die.stl"\n'))
    left_out = StudyInputs(plan).without_fit().plan
    assert left_out == replace(plan, fit=None)
    assert StudyInputs(left_out).without_fit().plan == left_out


def test_a_study_made_for_a_fit_cannot_do_without(write: Write):
    primary = '[analysis]\nprimary_measure = "marginal_gap_um"\n[fit]\ndie = "die.stl"\n'
    plan = read_plan(write(GROUPS + primary))
    with pytest.raises(SettingError, match="one of fit: marginal_gap_um") as caught:
        StudyInputs(plan).without_fit()
    assert caught.value.subject == "no_fit"
    result = CliRunner().invoke(main, ["study", str(plan.path), "--no-fit"])
    assert result.exit_code == 1
    assert "Error: --no-fit: The study's primary comparison is one of fit" in result.output
