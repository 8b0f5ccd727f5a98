"""New study files: from folders of scans, with every setting as a remark that can be used."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.errors import CuspwiseError
from cuspwise.standalone_core.study.file.keys import Key
from cuspwise.standalone_core.study.file.new import new_study
from cuspwise.standalone_core.study.file.new_text import START_EQUIVALENCE_UM, toml_key, toml_text
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.file.study_sections import SETTINGS
from cuspwise.standalone_core.study.fit_plan import FitPlan
from cuspwise.standalone_core.study.plan import StudyPlan


def make(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode())
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    scans = [f"{way}/crown_{number}.stl" for way in ("milled", "printed") for number in range(3)]
    return make(tmp_path / "my_study", "Design 36.stl", *scans)


def names_of(plan: StudyPlan) -> dict[str, list[str]]:
    return {
        group.name: [scan.relative_to(plan.folder).as_posix() for scan in group.scans]
        for group in plan.groups
    }


def test_subfolders_become_groups(folder: Path):
    written = new_study(folder)
    assert written.path == folder / "study.toml"
    assert written.left_out == ()
    assert written.plan.title == "My study"
    assert written.plan.design == folder / "Design 36.stl"
    assert names_of(written.plan) == {
        "milled": [f"milled/crown_{number}.stl" for number in range(3)],
        "printed": [f"printed/crown_{number}.stl" for number in range(3)],
    }
    assert 'scans = ["milled/*.stl"]' in written.path.read_text()


def test_a_new_file_sets_nothing_but_the_margin_of_equivalence(folder: Path):
    plan = new_study(folder).plan
    usual = StudyPlan(None, "", "", plan.design, plan.groups)
    assert plan.check == usual.check
    assert (plan.areas, plan.measures, plan.scores) == (usual.areas, usual.measures, usual.scores)
    assert dict(plan.analysis.equivalence_um) == {"default": START_EQUIVALENCE_UM}
    assert not any(group.facts for group in plan.groups)


FIT_FILES = ("die.stl", "finish_line.csv", "neighbour_1.stl", "antagonist.stl")


def keys() -> list[tuple[str, Key]]:
    return [(section.name, key) for section in SETTINGS for key in section.keys]


@pytest.mark.parametrize(("table", "key"), keys(), ids=lambda part: getattr(part, "name", part))
def test_every_setting_can_be_used_by_deleting_its_sign(folder: Path, table: str, key: Key):
    """Each one alone reads back without a mistake, and as its default if it has one."""
    path = new_study(folder).path
    lines = path.read_text(encoding="utf-8").splitlines()
    start = lines.index(f"[{table}]")
    (place,) = (
        number
        for number, line in enumerate(lines)
        if line.startswith(f"#{key.name} = ")
        and number > start
        and _table_of(lines, number) == table
    )
    assert lines[place - 1].startswith("# ")
    for name in ("areas.json", "landmarks.csv", "examiners.csv", "repeats.csv", *FIT_FILES):
        (folder / name).write_text('{"format": "cuspwise areas"}')
    if table.startswith("fit") and key.name != "die":
        die = lines.index('#die = "die.stl"')
        lines[die] = lines[die][1:]
        path.write_text("\n".join(lines), encoding="utf-8")
    before = read_plan(path)
    end = lines.index("#]", place) if lines[place].endswith("[") else place
    lines[place : end + 1] = [line[1:] for line in lines[place : end + 1]]
    given = tomllib.loads("\n".join(lines))[table][key.name]
    path.write_text("\n".join(lines), encoding="utf-8")
    if key.name in ("landmarks", "start"):
        return  # only together
    after = read_plan(path)
    if key.default is not None:
        assert given == (list(key.default) if isinstance(key.default, tuple) else key.default)
        assert after == before
    else:
        assert after != before


def _table_of(lines: list[str], number: int) -> str:
    heads = [line for line in lines[:number] if line.startswith("[")]
    return heads[-1].strip("[]")


def test_every_line_fits_a_terminal_and_remarks_stay_remarks(folder: Path):
    for line in new_study(folder).path.read_text(encoding="utf-8").splitlines():
        assert len(line) <= 100
        assert not line.endswith(" ")


def test_scans_in_the_folder_itself_are_one_group(tmp_path: Path):
    make(tmp_path, "design.ply", "crown_1.stl", "crown_2.stl", "crown_10.STL", "notes.txt")
    plan = new_study(tmp_path).plan
    assert names_of(plan) == {"crowns": ["crown_1.stl", "crown_2.stl", "crown_10.STL"]}
    assert len(plan.notes) == 1


def test_a_pattern_that_would_match_the_design_is_not_used(tmp_path: Path):
    make(tmp_path, "design.stl", "crown_1.stl", "crown_2.stl")
    text = new_study(tmp_path).path.read_text()
    assert 'scans = ["crown_1.stl", "crown_2.stl"]' in text


def test_the_design_may_be_named_or_be_in_a_folder_of_its_own(tmp_path: Path):
    make(tmp_path, "design/tooth.stl", "design_old.stl", "a/1.stl", "b/2.stl")
    plan = new_study(tmp_path, design=tmp_path / "design" / "tooth.stl").plan
    assert plan.design == tmp_path / "design" / "tooth.stl"
    assert list(names_of(plan)) == ["a", "b"]


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("a/1.stl",), "No mesh file in it has a name that starts with design."),
        (("design.stl", "a/design_b.stl"), "2 files could be the design"),
        (("design.stl", "a/notes.txt"), "There are no scans in it."),
    ],
)
def test_what_cannot_be_told_is_asked_for(tmp_path: Path, names: tuple[str, ...], words: str):
    make(tmp_path, *names)
    with pytest.raises(CuspwiseError, match=words):
        new_study(tmp_path)
    assert not (tmp_path / "study.toml").exists()


def test_a_file_that_is_there_is_kept_unless_forced(folder: Path):
    (folder / "study.toml").write_text("mine")
    with pytest.raises(CuspwiseError, match="replace it") as caught:
        new_study(folder)
    assert caught.value.arguments == ("out", "force")
    assert "--" not in str(caught.value)
    assert (folder / "study.toml").read_text() == "mine"
    assert new_study(folder, force=True).plan.groups


def test_paths_start_from_the_study_files_folder(folder: Path, tmp_path: Path):
    (tmp_path / "elsewhere").mkdir()
    written = new_study(folder, out=tmp_path / "elsewhere" / "mine.toml")
    assert 'design = "../my_study/Design 36.stl"' in written.path.read_text()
    assert written.plan.design.samefile(folder / "Design 36.stl")


def test_folders_of_results_and_left_over_scans_are_no_groups(folder: Path):
    make(folder, "milled_check/check.json", "milled_check/deviation_scan.ply")
    make(folder, "study/study.json", "study/maps/milled.ply", ".hidden/1.stl", "spare.stl")
    written = new_study(folder)
    assert list(names_of(written.plan)) == ["milled", "printed"]
    assert written.left_out == (folder / "spare.stl",)


def test_names_that_are_hard_to_write_read_back(tmp_path: Path):
    odd = 'tilted [45°] "é" #1 *'
    make(
        tmp_path,
        "design ü.stl",
        f"{odd}/c [1].stl",
        f"{odd}/c [2].stl",
        "a.b/1.ply",
        "repeats/1.stl",
    )
    plan = new_study(tmp_path).plan
    assert [group.title for group in plan.groups] == ["A.b", "Repeats", odd.capitalize()]
    assert [len(group.scans) for group in plan.groups] == [1, 1, 2]
    assert plan.groups[1].name == "repeats_2"


def test_tables_in_the_folder_are_found_by_their_columns(folder: Path):
    (folder / "fit.csv").write_text("crown;examiner;gap\nx;A;0\n")
    (folder / "again.csv").write_text(
        "file,crown,operator,trial\nrescans/1.stl,c,A,1\nrescans/2.stl,c,A,2\n"
    )
    make(folder, "rescans/1.stl", "rescans/2.stl")
    plan = new_study(folder).plan
    assert plan.examiners == folder / "fit.csv"
    assert plan.repeats == folder / "again.csv"
    assert list(names_of(plan)) == ["milled", "printed"]


def test_a_die_and_the_teeth_beside_it_are_found_by_their_names(folder: Path):
    make(folder, "die 36.stl", "neighbour_mesial.stl", "neighbour_distal.stl", "Antagonist.STL")
    written = new_study(folder)
    assert written.plan.fit == FitPlan(
        die=folder / "die 36.stl",
        neighbours=(folder / "neighbour_distal.stl", folder / "neighbour_mesial.stl"),
        antagonist=folder / "Antagonist.STL",
    )
    assert written.left_out == ()
    said = CliRunner().invoke(main, ["new", str(folder), "--force"]).output
    assert "Die, for the fit of all crowns, in the design's frame: " in said


def test_which_of_two_dies_is_meant_is_left_to_the_user(tmp_path: Path):
    make(tmp_path, "design.stl", "a/1.stl", "b/1.stl", "die_1.stl", "die_2.stl", "diego.stl")
    written = new_study(tmp_path)
    assert written.plan.fit is None
    assert [file.name for file in written.left_out] == ["die_1.stl", "die_2.stl", "diego.stl"]


def test_crowns_beside_their_die_are_one_group_without_it(tmp_path: Path):
    make(tmp_path, "design.stl", "crown_1.stl", "crown_2.stl", "die.stl")
    plan = new_study(tmp_path).plan
    assert names_of(plan) == {"crowns": ["crown_1.stl", "crown_2.stl"]}
    assert plan.fit == FitPlan(die=tmp_path / "die.stl")


@pytest.mark.parametrize(
    "value",
    [
        "",
        'a "b" \\ \n\t\x7f é 🦷',
        "C:\\Users",
        1,
        -2.5e-7,
        1e300,
        True,
        [],
        ["a", [1, 2.0]],
        math.inf,
    ],
)
def test_values_survive_being_written(value: object):
    assert tomllib.loads(f"{toml_key('a.b ü')} = {toml_text(value)}") == {"a.b ü": value}


def test_the_command_says_what_it_found(folder: Path):
    result = CliRunner().invoke(main, ["new", str(folder)])
    assert result.exit_code == 0, result.output
    assert "Group milled: 3 crowns" in result.output
    assert (folder / "study.toml").is_file()
    again = CliRunner().invoke(main, ["new", str(folder)])
    assert again.exit_code == 1
    assert "Choose another name, or replace it. (--out, --force)" in again.output
