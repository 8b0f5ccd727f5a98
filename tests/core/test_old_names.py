"""Names of earlier versions: read as what they are called now, or refused with the new name."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.areas.area_set import Area
from cuspwise.standalone_core.areas.files import areas_document, load_areas
from cuspwise.standalone_core.areas.support_marks import SupportMark, new_area_name
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.errors import AreaError, SettingError
from cuspwise.standalone_core.study.crowns_needed import read_pilot
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.old_names import NEW_NAMES
from cuspwise.standalone_core.study.file.read import read_plan
from made.saved_areas import crown_areas, crown_points, write

HEAD = 'design = "design.stl"\n[groups.a]\nscans = "a.stl"\n'
OLD = """\
[contacts.lingual]
centre_mm = [1.0, 2.0, 3.0]
radius_mm = 0.5
kind = "connector"
[verdicts]
contact_um = 40
[measuring]
drop_debris = true
[analysis]
areas = ["whole", "margin", "connector: lingual"]
primary_area = "connector: lingual"
[superimposition]
loss = "robust"
fit_areas = ["connector: lingual"]
[tolerances_um]
"connector: lingual" = 30
[equivalence_um]
"connector: lingual" = 5
[scanner_um]
"connector: lingual" = 1
"""
NEW = """\
[support_marks.lingual]
centre_mm = [1.0, 2.0, 3.0]
radius_mm = 0.5
kind = "sprue"
[support_marks]
limit_um = 40
[measuring]
ignore_loose_pieces = true
[analysis]
areas = ["whole", "margin", "sprue: lingual"]
primary_area = "sprue: lingual"
[superimposition]
fit_weighting = "robust"
fit_areas = ["sprue: lingual"]
[tolerances_um]
"sprue: lingual" = 30
[equivalence_um]
"sprue: lingual" = 5
[scanner_um]
"sprue: lingual" = 1
"""

Study = Callable[[str], Path]


@pytest.fixture
def study(tmp_path: Path) -> Study:
    for name in ("design", "a"):
        (tmp_path / f"{name}.stl").touch()

    def writer(text: str) -> Path:
        file = tmp_path / "study.toml"
        file.write_text(HEAD + text, encoding="utf-8")
        return file

    return writer


def mistakes(file: Path) -> tuple[str, ...]:
    with pytest.raises(StudyFileError) as caught:
        read_plan(file)
    return caught.value.lines


def test_an_old_study_file_is_read_as_the_same_one_in_new_words(study: Study) -> None:
    assert read_plan(study(OLD)) == read_plan(study(NEW))
    plan = read_plan(study(OLD))
    assert [mark.area_name for mark in plan.check.marks] == ["sprue: lingual"]
    assert plan.check.tolerances.limit_um("sprue: lingual") == 30


def test_every_old_name_of_a_study_file_is_tried_here() -> None:
    for old, new in NEW_NAMES.items():
        assert f"[{old[0]}" in OLD
        assert f"[{new[0]}" in NEW
        if len(old) > 1:
            assert f"\n{old[1]} = " in OLD
            assert f"\n{new[1]} = " in NEW


def test_mistakes_below_old_names_stand_on_their_lines(study: Study) -> None:
    text = "[contacts.a]\ncentre_mm = [1, 2]\nradius_mm = 1\n[verdicts]\ncontact_um = -1\n"
    assert [line.partition(": ")[0] for line in mistakes(study(text))] == [
        "study.toml:5",
        "study.toml:8",
    ]


def test_a_key_in_old_and_new_words_is_refused_and_tables_become_one(study: Study) -> None:
    (told,) = mistakes(study("[measuring]\nignore_loose_pieces = true\ndrop_debris = true\n"))
    assert told.startswith(
        "study.toml:6: measuring.drop_debris: It is called measuring.ignore_loose_pieces now"
    )
    spot = "centre_mm = [1, 2, 3]\nradius_mm = 1\n"
    both = study(f"[support_marks.a]\n{spot}[contacts.b]\n{spot}")
    assert [mark.name for mark in read_plan(both).check.marks] == ["a", "b"]
    centre, radius = mistakes(study(f"[support_marks.a]\n{spot}[contacts.a]\n{spot}"))
    assert centre.startswith(
        "study.toml:8: contacts.a.centre_mm: It is called support_marks.a.centre_mm"
    )
    assert radius.startswith(
        "study.toml:9: contacts.a.radius_mm: It is called support_marks.a.radius_mm"
    )


@pytest.mark.parametrize("text", ["contacts = 3\n", "verdicts = 3\n", "[[contacts]]\nkind = 1\n"])
def test_what_is_no_table_is_a_mistake_as_ever(study: Study, text: str) -> None:
    file = study("")
    file.write_text(text + HEAD if "[" not in text else HEAD + text, encoding="utf-8")
    assert "able" in mistakes(file)[0]


def test_an_areas_file_with_an_old_kind_holds_the_new_one(tmp_path: Path) -> None:
    evaluation = crown_points()
    points = evaluation.points[:, 2] > evaluation.points[:, 2].max() - 0.5
    marked = crown_areas().replaced([Area("sprue: 1", points, "user"), Area("support: 2", points)])
    document = areas_document(marked)
    document["areas"] = {
        "connector: 1" if name == "sprue: 1" else name: entry
        for name, entry in document["areas"].items()
    }
    loaded = load_areas(write(tmp_path / "old.json", document), evaluation)
    assert list(loaded.areas) == list(marked.areas)
    assert (loaded["sprue: 1"].points == points).all()
    assert "connector" not in json.dumps(areas_document(loaded))
    document["areas"]["sprue: 1"] = document["areas"]["connector: 1"]
    with pytest.raises(AreaError, match="connector: 1 and sprue: 1 are the same"):
        load_areas(write(tmp_path / "both.json", document), evaluation)


def test_a_study_names_the_areas_of_an_old_areas_file_in_new_words(
    study: Study, tmp_path: Path
) -> None:
    document = {"format": "cuspwise areas", "version": 1, "areas": {"connector: 1": {}}}
    write(tmp_path / "areas.json", document)
    tail = '[areas]\nfile = "areas.json"\n[analysis]\nareas = ["margin", "{}", "supports"]\n'
    for name in ("sprue: 1", "connector: 1"):
        plan = read_plan(study(tail.format(name)))
        assert plan.areas == ("margin", "sprue: 1", "supports")


@pytest.mark.parametrize("stored", ["connector: 1", "sprue: 1"])
def test_a_pilot_is_asked_for_an_area_by_either_name(tmp_path: Path, stored: str) -> None:
    crowns = [
        {
            "group": "a",
            "measures": [{"direction": "design_to_scan", "area": stored, "rms_um": value}],
        }
        for value in (1.0, 3.0)
    ]
    file = write(tmp_path / "study.json", {"crowns": crowns})
    for name in ("connector: 1", "sprue: 1"):
        (spread,) = read_pilot(file, name, "rms_um")
        assert spread.sd_um == pytest.approx(2**0.5)


def test_names_that_only_begin_like_old_ones_stay() -> None:
    for name in ("connector", "connector: ", "connectors: 1", "support: connector: 1", "Connector"):
        assert new_area_name(name) == name


def test_python_and_the_command_line_refuse_an_old_kind_with_the_new_one() -> None:
    with pytest.raises(SettingError) as caught:
        SupportMark("1", (0.0, 0.0, 0.0), 0.5, "connector")  # type: ignore[arg-type]
    assert caught.value.remedy == 'Give "support" or "sprue".'
    result = CliRunner().invoke(
        main, ["check", "a", "b", "--support-mark", "1=0,0,0,0.5,connector"]
    )
    assert result.exit_code == 1
    assert 'Give "support" or "sprue".' in result.stderr
