"""Mistakes of a study's files together: all at once, none that only follows from another."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.cli import base
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.study.file.inputs import read_study
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from rich.console import Console

STUDY = """\
design = "design.stl"
[groups.milled]
scans = "milled/*.stl"
[groups.printed]
scans = "printed/*.stl"
[examiners]
file = "scores.csv"
[repeats]
file = "repeats.csv"
"""
LISTED = STUDY[: STUDY.index("[groups")] + STUDY[STUDY.index("[exam") :]
LISTED += '[crowns]\nfile = "crowns.csv"\n'
SCORES = "crown,examiner,gap,seating\nm1,Al,0,1\np2,Al,2,0\n"
REPEATS = "file,crown,operator,trial\nagain/r1.stl,m1,Al,1\nagain/r2.stl,m1,Al,2\n"
CROWNS = "crown,group,file\n" + "".join(
    f"{way[0]}{n},{way},{way}/{way[0]}{n}.stl\n" for way in ("milled", "printed") for n in (1, 2)
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    names = ["design.stl", "again/r1.stl", "again/r2.stl"]
    names += [f"{way}/{way[0]}{n}.stl" for way in ("milled", "printed") for n in (1, 2)]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    return tmp_path


def mistakes(
    folder: Path,
    study: str = STUDY,
    *,
    scores: str = SCORES,
    repeats: str = REPEATS,
    crowns: str = CROWNS,
) -> list[str]:
    """What is told of a study with these files."""
    texts = {"study.toml": study, "scores.csv": scores, "repeats.csv": repeats}
    for name, text in {**texts, "crowns.csv": crowns}.items():
        (folder / name).write_text(text, encoding="utf-8")
    try:
        read_study(folder)
    except StudyFileError as error:
        return list(error.lines)
    return []


def test_the_files_are_sound_as_they_are(folder: Path):
    assert mistakes(folder) == mistakes(folder, LISTED) == []


def test_mistakes_of_all_files_come_at_once_the_study_file_first(folder: Path):
    found = mistakes(
        folder,
        f"{LISTED}[analysis]\nalpha = 2\n",
        scores=SCORES + "m3,Al,0,0\nm1,Al,0,0\nm2,,0,-1\n",
        repeats=REPEATS + "again\\r3.stl,m1,Al,3\nagain/r1.stl,m1,Bo,0\n",
        crowns=CROWNS + "m2,milled,milled/m1.stl\n,printed,printed/p3.stl\n",
    )
    assert [re.match(r"\S+:\d+", line).group() for line in found] == [  # type: ignore[union-attr]
        "study.toml:9",
        *["crowns.csv:6"] * 2,
        *["crowns.csv:7"] * 2,
        # Line 4 of the scores may name the crown whose name is missing.
        "scores.csv:5",
        *["scores.csv:6"] * 2,
        "repeats.csv:4",
        "repeats.csv:5",
    ]
    with pytest.raises(StudyFileError) as caught:
        read_study(folder)
    assert caught.value.reason == (
        "There are one mistake in it, 4 in crowns.csv, 3 in scores.csv and 2 in repeats.csv."
    ).replace("are one", "is one")
    assert caught.value.subject == str(folder / "study.toml")


def test_crowns_are_not_called_unknown_where_not_all_are_known(folder: Path):
    scores = SCORES + "m9,Al,0,0\n"
    unknown = 'scores.csv:4: crown: There is no crown called "m9".'
    (line,) = mistakes(folder, scores=scores)
    assert line.startswith(unknown)
    (line,) = mistakes(folder, STUDY.replace("milled/*", "miled/*"), scores=scores)
    assert line.startswith("study.toml:3: groups.milled.scans: No scan matches")
    # A row with a wrong file still names its crown.
    first, second = mistakes(
        folder, LISTED, scores=scores, crowns=CROWNS.replace("milled/m1", "milled/m7")
    )
    assert first.startswith("crowns.csv:2: file: There is no file")
    assert second.startswith(unknown)


def test_scores_are_not_refused_where_their_words_are_amiss(folder: Path):
    scores = SCORES.replace("Al,2,0", "Al,3,4")
    study = STUDY.replace("[repeats]", 'gap = ["one"]\n[repeats]')
    first, second = mistakes(folder, study, scores=scores)
    assert first.startswith("study.toml:8: examiners.gap: It has fewer than two categories")
    assert second.startswith("scores.csv:3: seating: 4 is not a score")


def test_numbers_that_are_hardly_meant_hide_no_mistake_of_a_table(folder: Path):
    study = STUDY.replace("[groups.printed]", "bur_radius_mm = 300\n[groups.printed]")
    first, second = mistakes(folder, study, scores=SCORES.replace("m1", "m9"))
    assert first.startswith("study.toml:4: groups.milled.bur_radius_mm: 300 mm is hardly meant")
    assert second.startswith("scores.csv:2: crown: There is no crown")


# More categories than words


def test_lines_with_words_for_more_categories_can_be_pasted(folder: Path):
    scores = SCORES.replace("m1,Al,0,1", "m1,Al,4,1") + "m2,Al,3,0\np1,Al,11,0\n"
    beyond, slip = mistakes(folder, scores=scores)
    words, pasted = beyond.split("\n")
    assert words == (
        "scores.csv:2: gap: 4 is not a score: there are words for 0 to 2 only; nor is that on line "
        "4. Correct it; or if your scale goes on, paste this below [examiners] of the study file, "
        "with your own words:"
    )
    assert pasted == (
        'gap = ["no gap felt", "gap just felt", "gap clearly felt", "words for 3", "words for 4"]'
    )
    assert slip.startswith('scores.csv:5: gap: "11" is not a score. Give one of 0 (no gap felt)')
    scores = scores.replace("11", "1")
    study = STUDY.replace("[repeats]", f"{pasted}\n[repeats]")
    assert mistakes(folder, study, scores=scores) == []
    found = read_study(folder).scores
    assert found is not None
    assert found.table("gap").words[3:] == ("words for 3", "words for 4")


def test_own_words_are_to_be_replaced(folder: Path):
    study = STUDY.replace("[repeats]", 'gap = ["none", "some"]\n[repeats]')
    (line,) = mistakes(folder, study)
    assert "of the study file, in place of gap there, with your own words:\ngap = [" in line
    assert line.endswith('gap = ["none", "some", "words for 2"]')


# Back-slashes


def test_every_line_with_a_back_slash_is_told_beside_all_other_mistakes(folder: Path):
    study = (
        'design = ".\\design.stl"\n[groups.a]\nscans = ["milled\\m1.stl", "milled\\m2.stl"]\n'
        "[groups.b]\nscans = ['printed\\*.stl']\n[analysis]\nalpha = 2\n"
    )
    slash = r"In double quotes \ has a meaning of its own. Write / instead:"
    assert mistakes(folder, study) == [
        f'study.toml:1: {slash} design = "./design.stl"',
        f'study.toml:3: {slash} scans = ["milled/m1.stl", "milled/m2.stl"]',
        'study.toml:5: groups.b.scans: No scan matches "printed\\*.stl". Write / instead: '
        '"printed/*.stl".',
        "study.toml:7: analysis.alpha: 2 is not allowed. Give a number above 0 and below 1.",
    ]


@pytest.mark.parametrize("sign", list("bfnrt\\"))
def test_signs_that_toml_makes_of_back_slashes_are_told_as_they_were_written(
    folder: Path, sign: str
):
    (folder / "m").mkdir()
    (folder / "m" / f"{sign}1.stl".replace("\\", "x")).touch()
    study = f'design = "m\\{sign}1.stl"\n[groups.a]\nscans = "milled/*.stl"\n'
    (line,) = mistakes(folder, study)
    if sign == "\\":
        assert line.startswith(
            'study.toml:1: design: There is no file "m\\1.stl". Write / instead: "m/1.stl". '
        )
    else:
        assert line == (
            f'study.toml:1: design: There is no file "m\\{sign}1.stl". Write / instead: '
            f'"m/{sign}1.stl".'
        )


@pytest.mark.parametrize(
    ("study", "words"),
    [
        ('design = """a\\q\nb"""\n', "study.toml:1: Unescaped"),
        ('title = "a \\" \\q" "\n', "study.toml:1: "),
        ('title = "a\\q"\nalpha = 0,05\n', "study.toml:1: In double quotes"),
    ],
)
def test_what_is_no_toml_with_slashes_either_ends_in_one_error(
    folder: Path, study: str, words: str
):
    assert mistakes(folder, study)[0].startswith(words)


def test_a_mistake_after_corrected_lines_is_told_with_them(folder: Path):
    first, second = mistakes(folder, 'title = "a\\q"\nalpha = 0,05\n')
    assert first.startswith("study.toml:1: In double quotes")
    assert second.startswith("study.toml:2: Expected newline")


# On the terminal


def test_on_a_terminal_mistakes_are_wrapped_and_lines_to_paste_are_not(
    folder: Path, monkeypatch: pytest.MonkeyPatch
):
    mistakes(folder, f"{STUDY}[analysis]\nalpha = 2\n", scores=SCORES.replace("Al,2,0", "Al,4,0"))
    wide = CliRunner().invoke(main, ["study", str(folder)])
    assert wide.exit_code == 1
    assert len(wide.output.splitlines()) == 1 + 2 + 1
    terminal = Console(stderr=True, highlight=False, force_terminal=True, width=80)
    monkeypatch.setattr(base, "messages", terminal)
    lines = CliRunner().invoke(main, ["study", str(folder)]).output.splitlines()
    pasted = [line for line in lines if line.startswith("    gap = [")]
    assert pasted[0].endswith('"words for 4"]')
    assert all(len(line) <= 80 for line in lines if line not in pasted and str(folder) not in line)
    together = [line for line in wide.output.splitlines() if line.startswith("  ")]
    assert " ".join(" ".join(lines).split()).endswith(" ".join(" ".join(together).split()))
