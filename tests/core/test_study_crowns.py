"""Lists of crowns: what reaches the plan, and mistakes with their lines."""

from __future__ import annotations

import json
import pickle
import random
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.report.study.crown_facts import crown_facts, differing_facts
from cuspwise.standalone_core.study.file.inputs import read_study
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.fit_plan import FitPlan
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from cuspwise.standalone_core.study.plan_document import plan_document

Write = Callable[..., Path]

STUDY = 'design = "design.stl"\n[crowns]\nfile = "crowns.csv"\n'

CROWNS = """\
Crown,Group,File,Made on,Material
1,milled,milled/m1.stl,2026-01-02,zirconia
2,milled,milled/m2.stl,2026-01-03,zirconia
1,printed,printed/p1.stl,,"resin, grey"
7,printed,printed/p2.stl,,"resin, grey"
3,printed,printed/p3.stl,,"resin, grey"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    names = ["design.stl", "die.stl", "tooth.stl"]
    names += [
        f"{way}/{way[0]}{number}.stl" for way in ("milled", "printed") for number in range(1, 5)
    ]
    names += [f"dies/d{number}.stl" for number in range(1, 6)]
    names += [f"seated/s{number}.stl" for number in range(1, 6)]
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(name.encode())
    return tmp_path


@pytest.fixture
def write(folder: Path) -> Write:
    def write(crowns: str | bytes = CROWNS, study: str = STUDY) -> Path:
        (folder / "study.toml").write_text(study, encoding="utf-8")
        content = crowns if isinstance(crowns, bytes) else crowns.encode()
        (folder / "crowns.csv").write_bytes(content)
        return folder / "study.toml"

    return write


def mistakes(path: Path) -> tuple[str, ...]:
    with pytest.raises(StudyFileError) as caught:
        read_study(path)
    return caught.value.lines


# What a list sets


def test_crowns_come_from_their_list(write: Write, folder: Path):
    plan = read_plan(write())
    assert plan.crowns == folder / "crowns.csv"
    milled, printed = plan.groups
    assert (milled.name, milled.title) == ("milled", "milled")
    assert milled.scans == (folder / "milled/m1.stl", folder / "milled/m2.stl")
    assert [scan.name for scan in printed.scans] == ["p1.stl", "p2.stl", "p3.stl"]
    names = ["milled/1", "2", "printed/1", "7", "3"]  # two crowns are called 1
    assert list(plan.crown_names().values()) == names
    assert pickle.loads(pickle.dumps(plan)) == plan
    document = plan_document(plan)
    assert document["groups"][1]["crowns"] == ["1", "7", "3"]
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_facts_that_vary_are_those_of_crowns(write: Write):
    plan = read_plan(write())
    milled, printed = plan.groups
    assert dict(milled.facts) == {"Material": "zirconia"}
    assert [dict(facts) for facts in milled.crown_facts] == [
        {"Made on": "2026-01-02"},
        {"Made on": "2026-01-03"},
    ]
    assert dict(printed.facts) == {"Material": "resin, grey"}
    assert printed.crown_facts == ()
    assert differing_facts(plan) == ("Made on",)
    facts = crown_facts(plan)
    assert facts is not None
    assert facts.names == ("Material", "Made on")
    assert facts.rows[1] == ("2", "milled", "m2.stl", "zirconia", "2026-01-03")
    own = crown_facts(plan, differing=True)
    assert own is not None
    assert own.rows[0] == ("milled/1", "milled", "m1.stl", "2026-01-02")
    assert facts.rows[4] == ("3", "printed", "p3.stl", "resin, grey", "")


def test_groups_of_the_study_file_come_first_with_what_it_tells(write: Write):
    text = STUDY + (
        '[groups.printed]\ntitle = "Printed flat"\nway = "printed"\n'
        'facts.machine = "A"\nfacts.material = "resin, grey"\n'
    )
    printed, milled = read_plan(write(study=text)).groups
    assert printed.title == "Printed flat"
    assert printed.production.way == "printed"
    assert dict(printed.facts) == {"machine": "A", "material": "resin, grey"}
    assert milled.title == "milled"
    assert not dict(milled.production.__dict__)["enlargement"]


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "cp1252"])
@pytest.mark.parametrize("separator", [";", "\t"])
def test_lists_of_spreadsheets_are_read(write: Write, code: str, separator: str):
    """Semicolons or tabs, decimal commas, back-slashes, carriage returns, whatever the code."""
    text = "Crown;Group;File;Höhe\r\nÄ1;Gefräst;milled\\m1.stl;1,5\r\n;;;\r\n"
    text += "Ä2;Gefräst;milled/m2.stl;1,5\r\n"
    plan = read_plan(write(text.replace(";", separator).encode(code)))
    (group,) = plan.groups
    assert (group.name, group.crowns) == ("Gefräst", ("Ä1", "Ä2"))
    assert [scan.name for scan in group.scans] == ["m1.stl", "m2.stl"]
    assert dict(group.facts) == {"Höhe": "1,5"}


def test_dies_and_seated_scans_are_those_of_the_rows(write: Write, folder: Path):
    rows = CROWNS.splitlines()
    text = "crown,group,file,die,seated\n" + "".join(
        f"{','.join(row.split(',')[:3])},{'dies/d' + n + '.stl' if n < '3' else ''},"
        f"{'seated/s' + n + '.stl' if n < '3' else ''}\n"
        for n, row in zip("12345", rows[1:], strict=True)
    )
    plan = read_plan(write(text, f'{STUDY}[fit]\ndie = "die.stl"\n'))
    milled, printed = plan.groups
    assert [die.name for die in milled.dies] == ["d1.stl", "d2.stl"]
    assert [scan.name for scan in milled.seated] == ["s1.stl", "s2.stl"]
    assert printed.dies == printed.seated == ()
    assert plan.fit == FitPlan(die=folder / "die.stl")
    assert not any("paired in their order" in note for note in plan.notes)
    (line,) = mistakes(write(text))
    assert line == (
        "study.toml: groups.printed: It has no dies, and there is no die of all crowns. Give "
        'die = "FILE" below [fit], or a column die to the list of crowns. Or list the crowns that '
        "are to be seated below [fit]."
    )


def test_names_of_the_list_are_the_names_everywhere(write: Write, folder: Path):
    """A file's name counts no longer: here p2 is called 7, and another crown could be called p2."""
    text = STUDY + '[examiners]\nfile = "scores.csv"\n[fit]\ndie = "die.stl"\ncrowns = ["7"]\n'
    crowns = CROWNS.replace("\n3,", "\np2,")
    (folder / "scores.csv").write_text(
        "crown,examiner,gap\n7,Al,0\np2,Al,1\nprinted/1,Al,0\nmilled/1,Al,2\n2,Al,0\n"
    )
    study = read_study(write(crowns, text))
    assert study.scores is not None
    given = [(row.crown, row.scan.name, row.values["gap"]) for row in study.scores.rows]
    assert given == [
        ("milled/1", "m1.stl", 2),
        ("2", "m2.stl", 0),
        ("printed/1", "p1.stl", 0),
        ("7", "p2.stl", 0),
        ("p2", "p3.stl", 1),
    ]
    assert study.plan.fit is not None
    names = study.plan.crown_names()
    assert [name for name in names.values() if study.plan.fit.seats(name)] == ["7"]
    (folder / "scores.csv").write_text("crown,examiner,gap\np1.stl,Al,0\n1,Al,0\n")
    assert mistakes(folder / "study.toml") == (
        'scores.csv:2: crown: There is no crown called "p1.stl". Crowns are called milled/1, 2, '
        "printed/1, 7 and p2.",
        'scores.csv:3: crown: 2 crowns are called "1". Give milled/1 or printed/1.',
    )


def test_scans_that_were_forgotten_in_the_list_are_noted(write: Write, folder: Path):
    (folder / "again.csv").write_text("file,crown,operator,trial\nmilled/m3.stl,x,A,1\n")
    study = f'{STUDY}[repeats]\nfile = "again.csv"\n'
    path = write(study=study)
    words = "Beside the scans of crowns.csv, but in no row of it: milled/m4.stl and printed/p4.stl."
    assert words in read_study(path).plan.notes
    (folder / "milled/m4.stl").unlink()
    (folder / "printed/p4.stl").rename(folder / "printed/.p4.stl")
    assert not any("in no row" in note for note in read_study(path).plan.notes)


def test_names_and_facts_of_a_group_made_in_memory_are_one_per_scan():
    scans = (Path("a.stl"), Path("b.stl"))
    group = GroupPlan("g", "G", scans, crowns=("A", "B"), crown_facts=({"day": "1"}, {}))
    plan = StudyPlan(None, "t", "", Path("design.stl"), (group,))
    assert list(plan.crown_names().values()) == ["A", "B"]
    with pytest.raises(TypeError):
        group.crown_facts[0]["day"] = "2"  # type: ignore[index]
    with pytest.raises(SettingError, match="crowns has 1 entries for 2 scans"):
        GroupPlan("g", "G", scans, crowns=("A",))


# Mistakes

CASES = {
    "9,printed,printed/p3.stl": (
        "crowns.csv:7: file: printed/p3.stl is on line 6 already. Keep one of the rows, or correct "
        "it."
    ),
    "9,printed,printed\\p5.stl": (
        'crowns.csv:7: file: There is no file "printed\\p5.stl". Write / instead: '
        '"printed/p5.stl". Did you mean p4.stl?'
    ),
    "9,printed,printed/p4.st": (
        'crowns.csv:7: file: There is no file "printed/p4.st". Did you mean p4.stl?'
    ),
    "9,printed,printed": 'crowns.csv:7: file: "printed" is a folder. Name a file.',
    "9,printed,printed/*.stl": (
        'crowns.csv:7: file: There is no file "printed/*.stl". Write one file to a row.'
    ),
    "9,printed,design.stl": "crowns.csv:7: file: design.stl is the design. Name another file.",
    "7,printed,printed/p4.stl": (
        "crowns.csv:7: Crown 7 of group printed is on line 5 already. Keep one of the rows."
    ),
    ",printed,printed/p4.stl": "crowns.csv:7: crown: The crown is missing. Fill in the cell.",
    "9,,printed/p4.stl": "crowns.csv:7: group: The group is missing. Fill in the cell.",
    "9,printed,": "crowns.csv:7: file: The file is missing. Fill in the cell.",
    '"9\n9",printed,printed/p4.stl': (
        "crowns.csv:7: crown: It is on two lines. Write the name on one line."
    ),
    "9,printd,printed/p4.stl": (
        'crowns.csv:7: group: Only this crown is in group "printd". Did you mean printed? If not, '
        "write [groups.printd] into the study file."
    ),
    "9,Printed,printed/p4.stl": (
        "crowns.csv:7: group: It differs from group printed by capitals only. Give it another name."
    ),
    "9,a/b,printed/p4.stl": (
        'crowns.csv:7: group: "a/b" cannot be the name of a group. Give 1 to 40 letters, digits '
        "and such, and other words as its title."
    ),
    "9,repeats,printed/p4.stl": (
        "crowns.csv:7: group: Repeated scans are called that. Give the group another name."
    ),
    "9,printed,printed/p4.stl,,,x": (
        "crowns.csv:7: It has 6 cells, but there are 5 columns. Put cells that hold a separator in "
        "quotes."
    ),
}


@pytest.mark.parametrize(("row", "expected"), CASES.items())
def test_a_mistake_in_a_row_is_told_alone_with_its_remedy(write: Write, row: str, expected: str):
    assert mistakes(write(f"{CROWNS}{row}\n")) == (expected,)


def test_a_group_of_one_crown_may_be_like_another_if_the_study_file_names_it(write: Write):
    text = f"{CROWNS}9,printd,printed/p4.stl\n"
    plan = read_plan(write(text, f"{STUDY}[groups.printd]\n"))
    assert [group.name for group in plan.groups] == ["printd", "milled", "printed"]


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("crown,groups,file", "crowns.csv:1: group: There is no such column. Is it groups?"),
        ("crown,group", "crowns.csv:1: file: There is no such column. Add it to the header."),
        (
            "crown,group,file,dies",
            "crowns.csv:1: dies: There is no such column. Did you mean die?",
        ),
        (
            "crown,group,file,way",
            "crowns.csv:1: way: That is told of a whole group. Give way below [groups.NAME], or "
            "the column another name.",
        ),
        (
            "crown,group,file,,",
            "crowns.csv:1: A column has cells, but no name. Give it a name.",
        ),
        (
            "crown,group,file,day,Day",
            "crowns.csv:1: day: The column is there twice. Keep one of them.",
        ),
    ],
)
def test_mistakes_of_the_header_are_told(write: Write, header: str, expected: str):
    text = f"{header}\n1,milled,milled/m1.stl,x,y\n2,milled,milled/m2.stl,x,y\n"
    assert expected in mistakes(write(text))


def test_files_that_stand_for_two_things_are_told(write: Write):
    """Several crowns may share a die; nothing else may be two things."""
    text = (
        "crown,group,file,die,seated\n"
        "1,milled,milled/m1.stl,dies/d1.stl,seated/s1.stl\n"
        "2,milled,milled/m2.stl,dies/d1.stl,seated/s1.stl\n"
        "3,milled,milled/m3.stl,milled/m1.stl,design.stl\n"
        "4,milled,milled/m4.stl,,tooth.stl\n"
    )
    study = f'{STUDY}[fit]\ndie = "die.stl"\nneighbours = "tooth.stl"\n'
    assert mistakes(write(text, study)) == (
        "study.toml:6: fit.neighbours: tooth.stl is a seated scan, too. Name each file once.",
        "crowns.csv:3: seated: seated/s1.stl is on line 2 already. Keep one of the rows, or "
        "correct it.",
        "crowns.csv:4: die: milled/m1.stl is the file of line 2 already. Name each file once.",
        "crowns.csv:4: seated: design.stl is the design. Name another file.",
        "crowns.csv:5: die: It is empty; other crowns of group milled have one. Fill in the cells, "
        "or empty them all.",
    )


def test_groups_of_the_study_file_must_agree_with_the_list(write: Write):
    text = STUDY + (
        '[groups.milled]\nscans = "milled/*.stl"\ntitel = "x"\nfacts.material = "glass"\n'
        '[groups.prints]\n[groups.more]\n[groups]\nlast = "x"\n'
    )
    assert mistakes(write(study=text)) == (
        "study.toml:5: groups.milled.scans: The crowns are listed in crowns.csv. Leave it out, or "
        "leave crowns.csv out.",
        "study.toml:6: groups.milled.titel: There is no such key. Did you mean title?",
        'study.toml:7: groups.milled.facts.material: crowns.csv:2 says "zirconia". Give it in one '
        "of the two.",
        "study.toml:8: groups.prints: No crown of crowns.csv is in this group. Did you mean "
        "printed?",
        "study.toml:9: groups.more: No crown of crowns.csv is in this group. Leave the table out, "
        "or add its crowns to the list.",
        'study.toml:11: groups.last: It is "x", not a table. Write [groups.last].',
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            'crowns = "crowns.csv"\ndesign = "design.stl"\n',
            'study.toml:1: crowns: It is "crowns.csv", not a table. Write [crowns] on a line of '
            'its own and file = "crowns.csv" below.',
        ),
        (
            'design = "design.stl"\n[crowns]\nfile = "crown.csv"\n',
            'study.toml:3: crowns.file: There is no file "crown.csv". Did you mean crowns.csv?',
        ),
        (
            'design = "design.stl"\n[crown]\nfile = "crowns.csv"\n',
            "study.toml:2: crown: There is no such table. Did you mean [crowns]?",
        ),
        (
            'design = "design.stl"\n[crowns]\n',
            "study.toml: groups: There is no group. Write a table for each group: "
            "[groups.milled], and its scans below. Or list the crowns: [crowns], and below "
            'file = "crowns.csv".',
        ),
    ],
)
def test_a_list_that_is_not_found_is_told(write: Write, text: str, expected: str):
    assert mistakes(write(study=text)) == (expected,)


def test_an_empty_list_is_told(write: Write):
    (line,) = mistakes(write(""))
    assert line == "crowns.csv: It is empty. Its columns are crown, group, file, die, seated."


def test_damaged_lists_end_in_mistakes_or_a_plan(write: Write):
    """Cut, doubled and swapped pieces of a good list never raise anything else."""
    rng = random.Random(3)
    for _ in range(300):
        text = list(CROWNS)
        for _ in range(rng.randrange(1, 4)):
            start = rng.randrange(len(text))
            stop = min(len(text), start + rng.randrange(1, 12))
            piece = text[start:stop]
            new = rng.choice([[], piece * 2, piece * 400, list(rng.choice('";,/\\*[\n\t-1aé\0'))])
            text[start:stop] = new
        with suppress(StudyFileError):
            assert isinstance(read_study(write("".join(text))).plan, StudyPlan)
