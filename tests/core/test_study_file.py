"""Study files: what they set, and their mistakes with lines."""

from __future__ import annotations

import json
import pickle
import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.cli.base import guarded
from cuspwise.standalone_core.deviation.field import DeviationSettings
from cuspwise.standalone_core.deviation.measures import AreaMeasures
from cuspwise.standalone_core.study.cannot_show import cannot_show
from cuspwise.standalone_core.study.file.mistakes import StudyFileError
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.file.study_sections import SETTINGS
from cuspwise.standalone_core.study.plan import MEASURES, AnalysisPlan, GroupPlan, StudyPlan
from cuspwise.standalone_core.study.plan_document import plan_document
from cuspwise.standalone_core.suggestion import nearest
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.study_file_mistakes import cases

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
    names = ["design.stl"]
    names += [f"milled/crown_{number}.stl" for number in (1, 2, 10)]
    names += [f"printed/crown_{number}.stl" for number in (1, 3, 4)]
    names += ["printed/._crown_1.stl", "printed/notes.txt"]
    for name in names:
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


def test_the_least_study_has_all_defaults(write: Write, folder: Path):
    plan = read_plan(write(GROUPS))
    made = StudyPlan(
        path=folder / "study.toml",
        title="Study of design",
        question="",
        design=folder / "design.stl",
        groups=(
            GroupPlan(
                "milled",
                "milled",
                tuple(folder / f"milled/crown_{number}.stl" for number in (1, 2, 10)),
            ),
            GroupPlan(
                "printed",
                "printed",
                tuple(folder / f"printed/crown_{number}.stl" for number in (1, 3, 4)),
            ),
        ),
    )
    assert plan == replace(made, notes=cannot_show(made))
    assert pickle.loads(pickle.dumps(plan)) == plan


def test_every_setting_reaches_the_plan(write: Write, folder: Path):
    (folder / "scores.csv").touch()
    (folder / "repeats.csv").touch()
    plan = read_plan(
        write("""\
title = "Two ways"
question = "Which one?"
design = "design.stl"
[groups.a]
title = "Way A"
scans = "milled/crown_?.stl"
facts.machine = "five axes"
facts.year = 2026
facts.when = 2026-01-31
facts.nothing = ""
[groups.b]
scans = ["printed/crown_4.stl", "printed/*.stl"]
[measuring]
scan_unit = "inch"
spacing_mm = 0.2
search_mm = 2
[superimposition]
fit_weighting = "trimmed"
keep_share = 0.8
fit_areas = ["occlusal", "axial"]
[areas]
mesial_direction = [0, 1, 0]
margin_band_mm = 0.5
[tolerances_um]
occlusal = "none"
intaglio = 30
[verdicts]
min_coverage = 0.8
patch_um = 40
min_patch_share = 0.2
[analysis]
areas = ["margin", "contact_mesial"]
measures = ["rms_um"]
primary_measure = "rms_um"
lead = "ranks"
resamples = 500
[equivalence_um]
default = 10
margin = 4.5
[examiners]
file = "scores.csv"
acceptable = 0
gap = ["none", "some"]
[repeats]
file = "repeats.csv"
""")
    )
    first, second = plan.groups
    assert first.title == "Way A"
    assert dict(first.facts) == {"machine": "five axes", "year": "2026", "when": "2026-01-31"}
    assert [scan.name for scan in first.scans] == ["crown_1.stl", "crown_2.stl"]
    assert [scan.name for scan in second.scans] == ["crown_4.stl", "crown_1.stl", "crown_3.stl"]
    assert plan.check.scan_unit == "inch"
    assert plan.check.spacing_mm == 0.2
    assert plan.check.deviation == DeviationSettings(search_mm=2.0)
    assert plan.check.superimpose == SuperimposeSettings(fit_weighting="trimmed", keep_share=0.8)
    assert plan.check.fit_areas == ("occlusal", "axial")
    assert plan.check.areas == AreaSettings(mesial_direction=(0.0, 1.0, 0.0), margin_band_mm=0.5)
    assert dict(plan.check.tolerances.tolerances_um) == {"whole": 25, "margin": 15, "intaglio": 30}
    assert plan.check.tolerances.min_coverage == 0.8
    assert plan.check.patches.patch_um == 40
    assert plan.check.patches.min_patch_share == 0.2
    assert plan.areas == ("margin", "contact_mesial")
    assert plan.measures == ("rms_um",)
    assert plan.analysis.lead == "ranks"
    assert plan.analysis.resamples == 500
    assert plan.analysis.equivalence_of("margin") == 4.5
    assert plan.analysis.equivalence_of("axial") == 10
    assert np.isnan(AnalysisPlan().equivalence_of("margin"))
    assert plan.examiners == folder / "scores.csv"
    assert plan.repeats == folder / "repeats.csv"
    assert plan.scores.words["gap"] == ("none", "some")
    assert len(plan.scores.words["seating"]) == 3
    assert plan.scores.acceptable == 0


def test_every_setting_of_a_check_is_in_the_schema():
    targets = {key.target for section in SETTINGS for key in section.keys}
    of_the_file = {"landmarks_scan_mm", "landmarks_design_mm"}
    for part, kind in (
        ("check.areas", AreaSettings),
        ("check.superimpose", SuperimposeSettings),
        ("check.deviation", DeviationSettings),
        ("analysis", AnalysisPlan),
    ):
        names = {f"{part}.{field.name}" for field in fields(kind) if field.name not in of_the_file}
        assert names - targets <= {"analysis.equivalence_um"}


def test_measures_are_those_of_an_area():
    assert set(MEASURES) <= {field.name for field in fields(AreaMeasures)}


def test_landmarks_come_from_their_file(write: Write, folder: Path):
    header = "design_x,design_y,design_z,scan_x,scan_y,scan_z\n"
    rows = "0,0,0,1,0,0\n1,0,0,2,0,0\n0,1,0,1,1,0\n"
    (folder / "pairs.csv").write_text(header + rows)
    fit = '[superimposition]\nstart = "landmarks"\nlandmarks = "pairs.csv"\n'
    given = read_plan(write(GROUPS + fit)).check.superimpose
    assert given.landmarks_scan_mm == ((1, 0, 0), (2, 0, 0), (1, 1, 0))
    (folder / "pairs.csv").write_text(header + "0,0,0,1,0,here\n")
    (line,) = mistakes(write(GROUPS + fit))
    assert line.startswith("study.toml:8: superimposition.landmarks: pairs.csv")


def test_a_file_with_a_byte_order_mark_and_carriage_returns_is_read(folder: Path):
    path = folder / "study.toml"
    path.write_bytes(
        b"\xef\xbb\xbf" + (GROUPS + "[analysis]\nalpah = 1\n").encode().replace(b"\n", b"\r\n")
    )
    (line,) = mistakes(path)
    assert line == "study.toml:7: analysis.alpah: There is no such key. Did you mean alpha?"


def test_areas_of_a_file_are_known(write: Write, folder: Path):
    document = {"format": "cuspwise areas", "areas": {"cusp tips": {}, "support: 1": {}}}
    (folder / "mine.json").write_text(json.dumps(document))
    text = GROUPS + '[areas]\nfile = "mine.json"\n[analysis]\nprimary_area = "cusp tips"\n'
    plan = read_plan(write(text + "[tolerances_um]\nsupports = 10\n"))
    assert plan.check.areas_file == folder / "mine.json"
    (line,) = mistakes(write(text + "[tolerances_um]\ncusptips = 10\n"))
    assert line.endswith('There is no area called "cusptips". Did you mean cusp tips?')


def test_notes_tell_what_groups_cannot(write: Write):
    plan = read_plan(write('design = "design.stl"\n[groups.a]\nscans = "milled/crown_1.stl"\n'))
    assert len(plan.notes) == 2
    assert "nothing to compare" in plan.notes[0]
    assert "one crown" in plan.notes[1]


# Mistakes


@pytest.mark.parametrize(("text", "expected"), list(cases()))
def test_a_mistake_is_told_with_its_line_and_remedy(write: Write, text: str, expected: str):
    assert f"study.toml:{expected}" in mistakes(write(GROUPS + text))


def test_numbers_too_long_for_a_float_are_told(write: Write):
    (line,) = mistakes(write(f"{GROUPS}[analysis]\nseed = 1{'0' * 400}\n"))
    assert line.startswith("study.toml:7: analysis.seed: inf is not allowed.")


def test_all_mistakes_come_at_once_in_the_order_of_the_file(write: Write):
    lines = mistakes(
        write('desing = "design.stl"\ntitle = 3\n[groups.a]\nscan = ["x"]\n[analysis]\nalpha = 0\n')
    )
    assert [line.split(": ")[0] for line in lines] == [f"study.toml:{n}" for n in (1, 2, 4, 6)]
    assert "Did you mean design?" in lines[0]
    assert "Did you mean scans?" in lines[2]


def test_what_is_absent_has_no_line(write: Write):
    assert mistakes(write("")) == (
        "study.toml: design: It is missing. Give the path of a file, from this file's folder.",
        "study.toml: groups: There is no group. Write a table for each group: [groups.milled], "
        'and its scans below. Or list the crowns: [crowns], and below file = "crowns.csv".',
    )


def test_a_scan_that_is_a_link_to_another_is_the_same_crown(write: Write, folder: Path):
    (folder / "copy.stl").symlink_to(folder / "milled" / "crown_1.stl")
    (line,) = mistakes(write(GROUPS + '[groups.more]\nscans = "copy.stl"\n'))
    assert "copy.stl is in group milled too" in line


def test_files_that_are_no_text_or_not_there_are_told(folder: Path):
    path = folder / "study.toml"
    path.write_bytes(b'title = "a"\nquestion = "\xff"\n')
    assert mistakes(path) == ("study.toml:2: It is not UTF-8 text. Save it as UTF-8.",)
    path.write_text("a = " + "[" * 100_000)
    assert len(mistakes(path)) == 1
    (line,) = mistakes(folder / "stduy.toml")
    assert "Did you mean study.toml?" in line
    path.unlink()
    assert "folder" in mistakes(folder)[0]


def test_damaged_files_end_in_mistakes_or_a_plan(write: Write):
    """Cut, doubled and swapped pieces of a good file never raise anything else."""
    rng = random.Random(7)
    good = GROUPS + '[analysis]\nareas = ["margin"]\nalpha = 0.05\n[areas]\ninsertion = [0, 0, 1]\n'
    for _ in range(300):
        text = list(good)
        for _ in range(rng.randrange(1, 4)):
            start = rng.randrange(len(text))
            stop = min(len(text), start + rng.randrange(1, 12))
            piece = text[start:stop]
            text[start:stop] = rng.choice([[], piece * 2, list(rng.choice('[]{}"=.#\n-1a'))])
        with suppress(StudyFileError):
            assert isinstance(read_plan(write("".join(text))), StudyPlan)


def test_the_command_line_shows_one_mistake_a_line(write: Write, capsys: pytest.CaptureFixture):
    path = write(GROUPS + "[analysis]\nalpha = 2\nalpah = 1\n")
    with pytest.raises(SystemExit) as caught:
        guarded(lambda: read_plan(path) and None)()
    lines = capsys.readouterr().err.splitlines()
    assert caught.value.code == 1
    assert lines[0].endswith("There are 2 mistakes in it.")
    assert lines[1].startswith("  study.toml:7: analysis.alpha: ")
    assert lines[2].startswith("  study.toml:8: analysis.alpah: ")


def test_an_error_with_mistakes_survives_pickling(write: Write):
    with pytest.raises(StudyFileError) as caught:
        read_plan(write(""))
    assert pickle.loads(pickle.dumps(caught.value)).mistakes == caught.value.mistakes


def test_suggestions_are_near_or_none():
    assert nearest("Margin", ["margin", "axial"]) == "margin"
    assert nearest("spacing", ["spacing_mm", "search_mm"]) == "spacing_mm"
    assert nearest("mn", ["mm", "m"]) == ""
    assert nearest("zebra", ["margin", "axial"]) == ""


# The plan as plain values


def test_a_study_that_moved_as_a_whole_has_the_same_document(write: Write, folder: Path):
    document = plan_document(read_plan(write(GROUPS)))
    assert document["design"] == "design.stl"
    assert document["groups"][0]["scans"][0] == "milled/crown_1.stl"
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    moved = folder.with_name("moved")
    folder.rename(moved)
    assert plan_document(read_plan(moved / "study.toml")) == document


def test_crowns_have_short_names_that_differ(write: Write):
    names = read_plan(write(GROUPS)).crown_names()
    in_milled = ["milled/crown_1", "crown_2", "crown_10"]
    assert list(names.values()) == [*in_milled, "printed/crown_1", "crown_3", "crown_4"]


@pytest.mark.parametrize(
    ("given", "reason", "remedy"),
    [
        ('"margin rms_um"', "not a list", "Put it in brackets"),
        ('["rms_um"]', "is not an area and a measure", "margin mean_abs_um"),
        ('["margin rms"]', 'no measure called "rms"', "rms_um"),
        ('["cusps rms_um"]', 'no area called "cusps"', "Choose from"),
        ('["margin sd_um"]', "sd_um is not among measures", "add sd_um to measures"),
        ('["margin rms_um", "margin rms_um"]', "in the list twice", "once"),
        ('["margin marginal_gap_um"]', "no crown is seated", "die"),
    ],
)
def test_a_secondary_comparison_that_cannot_be_meant(
    write: Write, given: str, reason: str, remedy: str
):
    (line,) = mistakes(write(f"{GROUPS}[analysis]\nsecondary = {given}\n"))
    assert line.startswith("study.toml:7: analysis.secondary")
    assert reason in line
    assert remedy in line


def test_the_order_of_comparisons_is_that_of_the_file(write: Write):
    given = '["whole  rms_um", "margin mean_abs_um"]'
    plan = read_plan(write(f"{GROUPS}[analysis]\nsecondary = {given}\n"))
    assert plan.analysis.order == (("margin", "mean_abs_um"), ("whole", "rms_um"))
