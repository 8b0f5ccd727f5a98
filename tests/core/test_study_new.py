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
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.new import new_study
from cuspwise.standalone_core.study.file.new_text import toml_key, toml_text
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


def test_a_new_file_sets_nothing_and_names_no_equivalence_limit_for_its_user(folder: Path):
    plan = new_study(folder).plan
    usual = StudyPlan(None, "", "", plan.design, plan.groups)
    assert plan.check == usual.check
    assert (plan.areas, plan.measures, plan.scores) == (usual.areas, usual.measures, usual.scores)
    assert dict(plan.analysis.equivalence_um) == {}
    assert "#default = 10.0  # an example: choose your own" in plan.path.read_text()
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
    if table == "crowns":  # in place of the groups' scans
        rows = (f"{way},{way},{way}/crown_0.stl\n" for way in ("milled", "printed"))
        (folder / "crowns.csv").write_text("".join(("crown,group,file\n", *rows)))
    if table.startswith("fit") and key.name != "die":
        die = lines.index('#die = "die.stl"')
        lines[die] = lines[die][1:]
        path.write_text("\n".join(lines), encoding="utf-8")
    before = read_plan(path)
    end = lines.index("#]", place) if lines[place].endswith("[") else place
    lines[place : end + 1] = [line[1:] for line in lines[place : end + 1]]
    given = tomllib.loads("\n".join(lines))[table][key.name]
    if table == "crowns":
        lines = [line.replace("scans = ", "#scans = ") for line in lines]
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


def test_a_list_of_the_crowns_can_be_written_and_is_used(folder: Path):
    written = new_study(folder, list_crowns=True)
    assert written.plan.crowns == folder / "crowns.csv"
    assert (folder / "crowns.csv").read_bytes() == (
        b"crown,group,file,date,machine,material\n"
        + b"".join(
            f"crown_{number},{way},{way}/crown_{number}.stl,,,\n".encode()
            for way in ("milled", "printed")
            for number in range(3)
        )
    )
    usual = new_study(folder, out=folder / "other.toml")
    assert usual.plan.crowns == folder / "crowns.csv"  # found by its columns
    (folder / "crowns.csv").unlink()
    by_folders = new_study(folder, force=True).plan
    assert names_of(written.plan) == names_of(by_folders) == names_of(usual.plan)
    assert written.plan.crown_names() == by_folders.crown_names()
    assert [group.title for group in written.plan.groups] == ["Milled", "Printed"]


def test_a_new_list_tells_hard_names_apart_and_reads_back(tmp_path: Path):
    make(
        tmp_path,
        "design.stl",
        "ofen ü/=1.stl",
        "ofen ü/=1.ply",
        "b/day 1/c;1.stl",
        "b/day 2/c;1.stl",
        "b/day 2/C;1.STL",
        "repeats/1.stl",
    )
    plan = new_study(tmp_path, list_crowns=True).plan
    assert {group.name: group.crowns for group in plan.groups} == {
        "b": ("day 1/c;1.stl", "C;1 2", "c;1 3"),
        "ofen ü": ("=1.ply", "=1.stl"),
        "repeats_2": ("1",),
    }
    assert (tmp_path / "crowns.csv").read_bytes().startswith(b"\xef\xbb\xbfcrown,group,file,")
    assert len(plan.scans) == len({scan.name for scan in plan.scans}) + 1


def test_a_list_in_the_folder_tells_groups_and_what_is_left_out(folder: Path):
    make(folder, "die.stl", "dies/1.stl", "dies/2.stl", "spare.stl")
    (folder / "mine.csv").write_bytes(
        "Crown;Group;File;Die;Härte\nA;one;milled\\crown_0.stl;dies/1.stl;1,5\n"
        "B;one;printed/crown_1.stl;dies/2.stl;1,5\n".encode("cp1252")
    )
    written = new_study(folder)
    (group,) = written.plan.groups
    assert (group.name, group.title, group.crowns) == ("one", "One", ("A", "B"))
    assert [die.name for die in group.dies] == ["1.stl", "2.stl"]
    assert dict(group.facts) == {"Härte": "1,5"}
    left = {file.relative_to(folder).as_posix() for file in written.left_out}
    assert left == {
        "spare.stl",
        *(f"milled/crown_{n}.stl" for n in (1, 2)),
        *(f"printed/crown_{n}.stl" for n in (0, 2)),
    }


def test_mistakes_of_a_list_in_the_folder_are_told_before_a_file_is_written(folder: Path):
    (folder / "crowns.csv").write_text("crown,group,file\nA,one,milled/crown_9.stl\n")
    with pytest.raises(StudyFileError, match=r'There is no file "milled/crown_9\.stl"'):
        new_study(folder)
    assert not (folder / "study.toml").exists()


def test_a_list_that_is_there_is_kept_unless_forced(folder: Path):
    (folder / "crowns.csv").write_text("mine")
    said = CliRunner().invoke(main, ["new", str(folder), "--list"])
    assert said.exit_code == 1
    assert "crowns.csv: It is there already. Leave it out to use this file" in said.output
    assert "(--list, --force)" in said.output
    assert not (folder / "study.toml").exists()
    assert (folder / "crowns.csv").read_text() == "mine"
    said = CliRunner().invoke(main, ["new", str(folder), "--list", "--force"])
    assert said.exit_code == 0, said.output
    assert f"listed in {folder / 'crowns.csv'}. Name".replace(" ", "") in "".join(
        said.output.split()
    )


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
