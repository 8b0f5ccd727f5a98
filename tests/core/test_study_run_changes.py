"""What became of a study's crowns since its last run."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.study.measuring.run_changes import changes_since
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from made.small_studies import write_small_study


@pytest.fixture
def plan(tmp_path: Path) -> StudyPlan:
    """A study of two groups of three."""
    (tmp_path / "design.stl").write_bytes(b"design")
    for group in "ab":
        (tmp_path / group).mkdir()
        for number in range(1, 4):
            (tmp_path / group / f"{group}{number}.stl").write_bytes(f"{group}{number}".encode())
    return study_in(tmp_path)


def study_in(folder: Path) -> StudyPlan:
    """The study of the files that are in the folder now."""
    groups = [GroupPlan(g, g.upper(), tuple(sorted((folder / g).glob("*.stl")))) for g in "ab"]
    return StudyPlan(folder / "study.toml", "t", "", folder / "design.stl", tuple(groups))


def ran(plan: StudyPlan, left_out: tuple[str, ...] = ()) -> Path:
    """Write what a run of the plan would leave, as far as it is looked at."""
    names = plan.crown_names()
    crowns = [
        {
            "name": names[scan],
            "group": group.name,
            "sha256": sha256(scan.read_bytes()).hexdigest(),
        }
        for group in plan.groups
        for scan in group.scans
    ]
    document = {
        "plan": {"groups": [{"name": group.name} for group in plan.groups]},
        "design": {"sha256": sha256(plan.design.read_bytes()).hexdigest()},
        "crowns": [crown for crown in crowns if crown["name"] not in left_out],
        "left_out": [
            *(crown for crown in crowns if crown["name"] in left_out),
            {"name": "repeat 1", "group": "repeats"},
        ],
    }
    folder = plan.folder / "results"
    folder.mkdir(exist_ok=True)
    (folder / "study.json").write_text(json.dumps(document))
    return folder


def said(folder: Path, plan: StudyPlan) -> str:
    changes = changes_since(folder, plan)
    assert changes is not None
    return changes.sentence


def test_nothing_is_said_of_a_first_run_or_of_other_files(plan: StudyPlan, tmp_path: Path):
    assert changes_since(tmp_path / "none", plan) is None
    for text in ("", "[]", '{"crowns": 3}', "\xff"):
        (tmp_path / "study.json").write_text(text, encoding="latin-1")
        assert changes_since(tmp_path, plan) is None


def test_crowns_that_came_went_or_changed_are_told_apart(plan: StudyPlan, tmp_path: Path):
    folder = ran(plan, left_out=("b3",))
    assert said(folder, plan) == (
        "Since the last run: 1 crown left out then, tried again (b3); 5 crowns unchanged."
    )
    (tmp_path / "a/a1.stl").unlink()
    (tmp_path / "a/a2.stl").write_bytes(b"scanned again")
    (tmp_path / "b/b1.stl").rename(tmp_path / "b/b9.stl")
    (tmp_path / "b/b2.stl").rename(tmp_path / "a/b2.stl")
    for number in range(4, 10):
        (tmp_path / f"a/a{number}.stl").write_bytes(bytes([number]))
    found = changes_since(folder, study_in(tmp_path))
    assert found is not None
    assert (found.gone, found.changed, found.again) == (("a1",), ("a2",), ("b3",))
    assert (found.renamed, found.moved, found.same) == ((("b1", "b9"),), ("b2",), 1)
    assert found.added == tuple(f"a{number}" for number in range(4, 10))
    assert found.sentence == (
        "Since the last run: 6 crowns added (a4, a5, a6, a7 and 2 more); 1 crown gone (a1); 1 "
        "crown with another file (a2); 1 crown left out then, tried again (b3); 1 crown renamed "
        "(b1 is b9); 1 crown in another group (b2); 1 crown unchanged."
    )


def test_another_design_is_told(plan: StudyPlan, tmp_path: Path):
    folder = ran(plan)
    assert said(folder, plan) == "Since the last run: 6 crowns unchanged."
    (tmp_path / "design.stl").write_bytes(b"another")
    assert said(folder, plan) == (
        "Since the last run: 6 crowns unchanged. The design has changed: every crown is measured "
        "anew."
    )


def test_copies_of_one_scan_are_not_taken_for_one_another(plan: StudyPlan, tmp_path: Path):
    """A copy that was added is new; of two that went under other names each is renamed once."""
    folder = ran(plan)
    (tmp_path / "a/copy.stl").write_bytes(b"a1")
    assert said(folder, study_in(tmp_path)) == (
        "Since the last run: 1 crown added (copy); 6 crowns unchanged."
    )
    folder = ran(study_in(tmp_path))
    (tmp_path / "a/a1.stl").rename(tmp_path / "a/x1.stl")
    (tmp_path / "a/copy.stl").rename(tmp_path / "a/x2.stl")
    found = changes_since(folder, study_in(tmp_path))
    assert found is not None
    assert found.renamed == (("a1", "x1"), ("copy", "x2"))
    assert found.same == 5


def test_a_second_run_says_what_is_new(tmp_path: Path):
    """Of real meshes: what is said agrees with what is in the results."""
    study = write_small_study(tmp_path, {"a": 3, "b": 2})
    spare = tmp_path / "spare.stl"
    (tmp_path / "a" / "2.stl").rename(spare)
    first, second, as_json = (
        ["study", str(study), "--workers", "1", "--no-pictures"],
        ["study", str(study), "--workers", "1", "--no-pictures"],
        ["study", str(study), "--workers", "1", "--no-pictures", "--json"],
    )
    result = CliRunner().invoke(main, first)
    assert result.exit_code == 0, result.output
    assert "Since the last run" not in result.output
    spare.rename(tmp_path / "a" / "2.stl")
    text = CliRunner().invoke(main, second).output
    assert text.startswith("Since the last run: 1 crown added (2); 4 crowns unchanged.\n")
    document = json.loads((tmp_path / "study_results" / "study.json").read_text())
    assert [crown["name"] for crown in document["crowns"]][2] == "2"
    json.loads(CliRunner().invoke(main, as_json).output)  # and nothing but JSON
