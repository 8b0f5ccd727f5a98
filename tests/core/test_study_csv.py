"""Tables that belong to a study: examiners' scores and repeated scans."""

from __future__ import annotations

import json
import os
import pickle
import sys
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.csv_text import harmless
from cuspwise.standalone_core.study.file.examiner_scores import read_scores
from cuspwise.standalone_core.study.file.inputs import read_study
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.repeated_scans import read_repeats
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from cuspwise.standalone_core.study.plan_document import plan_document

NAN = float("nan")


@pytest.fixture
def plan(tmp_path: Path) -> StudyPlan:
    for name in ("design.stl", "a/one.stl", "a/two.stl", "b/two.stl", "b/three.stl"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    groups = (
        GroupPlan("a", "A", (tmp_path / "a/one.stl", tmp_path / "a/two.stl")),
        GroupPlan("b", "B", (tmp_path / "b/two.stl", tmp_path / "b/three.stl")),
    )
    return StudyPlan(tmp_path / "study.toml", "t", "", tmp_path / "design.stl", groups)


def table(plan: StudyPlan, text: str | bytes) -> Path:
    path = plan.folder / "table.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def mistakes(read, plan: StudyPlan, text: str | bytes) -> tuple[str, ...]:
    with pytest.raises(StudyFileError) as caught:
        read(table(plan, text), plan)
    return caught.value.lines


SCORES = """\
crown,examiner,gap,contact,seating
b/two,Bo,0,1,2
one,Al,0,NaN,0
one,Bo,1,0,
a/two.stl,Al,2,1,0
three,Al,1,1,1
"""


def test_scores_in_the_plans_order_whatever_the_order_of_rows(plan: StudyPlan):
    scores = read_scores(table(plan, SCORES), plan)
    assert scores.items == ("gap", "contact", "seating")
    assert scores.examiners == ("Al", "Bo")
    assert [(row.crown, row.group, row.examiner) for row in scores.rows] == [
        ("one", "a", "Al"),
        ("one", "a", "Bo"),
        ("a/two", "a", "Al"),
        ("b/two", "b", "Bo"),
        ("three", "b", "Al"),
    ]
    assert dict(scores.rows[0].values) == {"gap": 0, "contact": None, "seating": 0}
    gap = scores.table("gap")
    assert gap.crowns == ("one", "a/two", "b/two", "three")
    assert gap.groups == ("a", "a", "b", "b")
    assert gap.words == plan.scores.words["gap"]
    np.testing.assert_array_equal(gap.scores, [[0, 1], [2, NAN], [NAN, 0], [1, NAN]])
    header, *rows = SCORES.splitlines()
    turned = read_scores(table(plan, "\n".join([header, *reversed(rows)])), plan)
    assert turned == scores
    assert pickle.loads(pickle.dumps(scores)) == scores


def test_missing_scores_are_reported(plan: StudyPlan):
    notes = read_scores(table(plan, SCORES), plan).notes
    assert notes == (
        "Examiner Al did not score b/two.",
        "Examiner Bo did not score a/two and three.",
        "The score of contact is missing for one by Al.",
        "The score of seating is missing for one by Bo.",
    )
    (gap, *_) = (read_scores(table(plan, "crown,examiner,seating\none,Al,0\n"), plan).notes,)
    assert "Gap was not scored." in gap
    assert "There is one examiner: no agreement can be computed." in gap


@pytest.mark.parametrize("separator", [";", "\t"])
def test_tables_of_spreadsheets_are_read(plan: StudyPlan, separator: str):
    """Byte order mark, semicolons or tabs, carriage returns, capitals, quotes, 1.0 for 1."""
    text = 'Crown;Examiner;Gap;Remark\r\n"one";Al;1.0;ok, ""so""\r\n;;;\r\na\\two;Al;2,0;\r\n'
    text = text.replace(";", separator)
    scores = read_scores(table(plan, b"\xef\xbb\xbf" + text.encode()), plan)
    assert [row.values["gap"] for row in scores.rows] == [1, 2]


def test_tables_in_windows_1252_are_read(plan: StudyPlan):
    """As spreadsheets of Western Europe write what they call CSV."""
    text = "crown;examiner;gap;Größe\r\none;Zoë;2,0;1,5\r\n"
    for code in ("cp1252", "utf-8", "utf-8-sig"):
        scores = read_scores(table(plan, text.encode(code)), plan)
        assert scores.examiners == ("Zoë",)
        assert scores.rows[0].values["gap"] == 2


def test_a_column_that_is_amiss_does_not_hide_mistakes_below(plan: StudyPlan):
    text = "crown,examiner,gap,seatin,gap\nthee,Al,x,0,x\n"
    assert [line.split(" ")[:2] for line in mistakes(read_scores, plan, text)] == [
        ["table.csv:1:", "seatin:"],
        ["table.csv:1:", "gap:"],
        ["table.csv:2:", "gap:"],
        ["table.csv:2:", "crown:"],
    ]


def test_every_mistake_of_scores_comes_with_its_line(plan: StudyPlan):
    text = """\
crown,examiner,gap,contact,seating
two,Al,0,0,0
thee,Al,0,0,0
one,Al,12,x,-1
one,Bo,0,0,0

ONE,Bo,0,0,0
"three
",,0,0,0
one,Cy,0,0,0,7
"""
    assert mistakes(read_scores, plan, text) == (
        'table.csv:2: crown: 2 crowns are called "two". Give a/two or b/two.',
        'table.csv:3: crown: There is no crown called "thee". Did you mean three?',
        'table.csv:4: gap: "12" is not a score. Give one of 0 (no gap felt), 1 (gap just felt), '
        "2 (gap clearly felt).",
        'table.csv:4: contact: "x" is not a score. Give one of 0 (as wanted), '
        "1 (a little light or tight), 2 (open, or will not pass).",
        'table.csv:4: seating: "-1" is not a score. Give one of 0 (seats fully), '
        "1 (seats after adjustment), 2 (does not seat).",
        "table.csv:7: Examiner Bo scored crown one on line 5 already. Keep one of the rows.",
        "table.csv:8: examiner: The examiner is missing. Fill in the cell.",
        "table.csv:10: It has 6 cells, but there are 5 columns. Put cells that hold a separator "
        "in quotes.",
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "table.csv: It is empty."),
        ("crown,examiner,gap\n", "table.csv:1: It has a header, but no rows."),
        ("crown,rater,gap\none,Al,0\n", "table.csv:1: examiner: There is no such column."),
        ("crown,examiner,gaps\none,Al,0\n", "table.csv:1: gaps: There is no such column. Did you"),
        ("crown,examiner,gap,gap\none,Al,0,1\n", "table.csv:1: gap: The column is there twice."),
        ("crown,examiner\none,Al\n", "table.csv:1: Nothing is scored."),
        (b"crown,examiner,gap\none,\x81,0\n", "table.csv:2: It is neither UTF-8 nor Windows-1252"),
        ("crown,examiner,gap\none,Al,0\n".encode("utf-16"), "table.csv:1: It is neither UTF-8"),
        ('crown,examiner,gap\none,Al,0\none,"Bo\n', "table.csv:3: It is not CSV"),
    ],
)
def test_tables_that_cannot_be_used_are_refused(plan: StudyPlan, text: str | bytes, words: str):
    assert mistakes(read_scores, plan, text)[0].startswith(words)


def test_a_table_that_is_not_there_is_told_with_what_may_be_meant(plan: StudyPlan):
    table(plan, SCORES)
    with pytest.raises(StudyFileError, match=r"Did you mean table\.csv\?"):
        read_scores(plan.folder / "tabel.csv", plan)


REPEATS = """\
file,crown,operator,trial
r/2.stl,A,Al,2
r/1.stl,A,Al,1
r/3.stl,A,Bo,1
r/4.stl,A,Bo,2
"""


@pytest.fixture
def repeats(plan: StudyPlan) -> StudyPlan:
    (plan.folder / "r").mkdir()
    for number in range(1, 5):
        (plan.folder / f"r/{number}.stl").touch()
    return plan


def test_repeated_scans_come_by_crown_operator_and_trial(repeats: StudyPlan):
    found = read_repeats(table(repeats, REPEATS), repeats)
    folder = repeats.folder / "r"
    assert found.listed == (
        ("A", "Al", "1", folder / "1.stl"),
        ("A", "Al", "2", folder / "2.stl"),
        ("A", "Bo", "1", folder / "3.stl"),
        ("A", "Bo", "2", folder / "4.stl"),
    )
    assert (found.crowns, found.operators) == (("A",), ("Al", "Bo"))
    assert found.balanced
    assert found.notes == ()


def test_what_repeated_scans_cannot_tell_is_noted(repeats: StudyPlan):
    header, *rows = REPEATS.splitlines()
    one = read_repeats(table(repeats, "\n".join([header, *rows[:2]])), repeats)
    assert one.notes == ("One operator made all repeated scans: reproducibility is not known.",)
    three = read_repeats(table(repeats, "\n".join([header, *rows[:3]])), repeats)
    assert not three.balanced
    assert three.notes == ("The operators did not scan every crown equally often.",)
    two = read_repeats(table(repeats, "\n".join([header, *rows[1:3]])), repeats)
    assert two.notes == ("No operator scanned a crown twice: repeatability is not known.",)


def test_every_mistake_of_repeated_scans_comes_with_its_line(repeats: StudyPlan):
    text = REPEATS + "r/5.stl,A,Al,3\ndesign.stl,A,Al,4\nr/1.stl,A,Al,x\nr/1.stl,A,Bo,2\n,A,Al,9\n"
    assert mistakes(read_repeats, repeats, text) == (
        'table.csv:6: file: There is no file "r/5.stl". Did you mean 4.stl?',
        "table.csv:7: file: It is the design. List scans only.",
        'table.csv:8: trial: "x" is not a trial. Count the trials of each crown: 1, 2, 3, …',
        "table.csv:9: r/1.stl is on line 3 already. Keep one of the rows.",
        "table.csv:9: Trial 2 of crown A by Bo is on line 5 already. Keep one of the rows.",
        "table.csv:10: file: The file is missing. Fill in the cell.",
    )


def test_mistakes_of_both_tables_come_at_once(repeats: StudyPlan):
    folder = repeats.folder
    (folder / "study.toml").write_text(
        'design = "design.stl"\n'
        '[groups.a]\nscans = "a/*.stl"\n[groups.b]\nscans = "b/*.stl"\n'
        '[examiners]\nfile = "scores.csv"\n[repeats]\nfile = "repeats.csv"\n'
    )
    (folder / "scores.csv").write_text(SCORES)
    (folder / "repeats.csv").write_text(REPEATS)
    inputs = read_study(folder / "study.toml")
    assert inputs.scores is not None
    assert inputs.repeats is not None
    assert inputs.notes == (*inputs.plan.notes, *inputs.scores.notes)
    (folder / "scores.csv").write_text(SCORES.replace("three,", "four,"))
    (folder / "repeats.csv").write_text(REPEATS.replace("Al,2", "Al,1"))
    with pytest.raises(StudyFileError) as caught:
        read_study(folder / "study.toml")
    assert [line.split(" ")[0] for line in caught.value.lines] == [
        "scores.csv:6:",
        "repeats.csv:3:",
    ]


@pytest.mark.parametrize("stem", ["=1+1", "@x", "-y", "'=z", "+cmd", "-3"])
def test_names_that_were_quoted_for_spreadsheets_are_found(tmp_path: Path, stem: str):
    """Whether the quote is still there, or a spreadsheet has taken it away."""
    scan, design = tmp_path / f"{stem}.stl", tmp_path / "design.stl"
    for file in (scan, design):
        file.touch()
    groups = (GroupPlan("a", "A", (scan,)),)
    plan = StudyPlan(tmp_path / "study.toml", "t", "", design, groups)
    for cell in (harmless(stem), stem):
        if cell == stem and stem.startswith("'"):
            continue  # a quote that a spreadsheet would have taken away
        scores = read_scores(table(plan, f"crown,examiner,gap\n{cell},{harmless('=A')},1\n"), plan)
        assert [(row.scan, row.examiner) for row in scores.rows] == [(scan, "=A")]
    text = f"file,crown,operator,trial\n{harmless(scan.name)},{harmless('=c')},=o,1\n"
    (row,) = read_repeats(table(plan, text), plan).rows
    assert (row.file, row.crown, row.operator) == (scan, "=c", "=o")


@pytest.mark.skipif(sys.platform != "linux", reason="names are any bytes there only")
def test_a_crown_whose_files_name_is_not_utf_8_has_a_name_to_write(tmp_path: Path):
    scan = Path(os.fsdecode(os.fsencode(tmp_path) + b"/cr\xff.stl"))
    scan.touch()
    design = tmp_path / "design.stl"
    design.touch()
    plan = StudyPlan(tmp_path / "study.toml", "t", "", design, (GroupPlan("a", "A", (scan,)),))
    assert list(plan.crown_names().values()) == [r"cr\xff"]
    json.dumps(plan_document(plan), ensure_ascii=False).encode("utf-8")
    for name in (r"cr\xff", r"cr\xff.stl", r"a/cr\xff"):
        scores = read_scores(table(plan, f"crown,examiner,gap\n{name},Al,1\n"), plan)
        assert scores.rows[0].scan == scan
