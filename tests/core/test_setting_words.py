"""Settings on the pages: in words a reader knows, none of them as a program writes it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.areas.support_marks import SupportMark
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.fit.settings import FitSettings, SeatSettings
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.setting_words import setting_tables
from cuspwise.standalone_core.report.fit.output import write_fit, write_walls
from cuspwise.standalone_core.report.study.output import write_study
from cuspwise.standalone_core.setting import all_settings
from cuspwise.standalone_core.study.fit_plan import FitPlan
from cuspwise.standalone_core.study.plan import AnalysisPlan, GroupPlan, StudyPlan
from made.check_results import make_result
from made.fit_results import made_fit
from made.page_settings import ShownSettings
from made.study_examples import make_analysis, make_run

FILE = re.compile(r"[\w/\-]+\.(stl|csv|toml|ply)")
AS_A_PROGRAM = re.compile(r"[\[\]{}]|\bNone\b|\bTrue\b|\bFalse\b|\(\)|\w_\w|\de[−+-]\d|Path\(")


@dataclass(frozen=True)
class Many:
    """A setting of each kind that could be written as a program does."""

    check: CheckSettings = field(
        default_factory=lambda: CheckSettings(
            areas=AreaSettings(insertion=(0.0, -0.6, 0.8)),
            fit_areas=("occlusal", "contact_mesial"),
            marks=(SupportMark("1", (1.0, 2.5, -3.0), 0.5),),
            tolerances=Tolerances().changed({"margin": 15.0, "occlusal": 20.0}),
        )
    )


def shown(settings: object) -> dict[tuple[str, str], str]:
    return {(t.title, r.name): r.value for t in setting_tables(settings) for r in t.rows}


def plan(**changes: object) -> StudyPlan:
    groups = (GroupPlan("a", "Milled", tuple(Path(f"a/{k}.stl") for k in range(5))),)
    return StudyPlan(None, "T", "Q", Path("design.stl"), groups, **changes)  # type: ignore[arg-type]


def test_values_are_written_in_words() -> None:
    rows = shown(Many())
    told = "whole crown: 25 µm; occlusal: 20 µm; margin: 15 µm"
    assert rows["Measuring: tolerances", "tolerances"] == told
    assert rows["Measuring", "fit areas"] == "occlusal, mesial contact"
    assert rows["Measuring", "force"] == "no"
    assert rows["Measuring", "weighted"] == "yes"
    assert rows["Measuring", "areas file"] == "none"
    assert rows["Measuring: areas", "insertion"] == "x 0, y −0.6, z 0.8"
    assert rows["Measuring: superimposition", "tolerance"] == "0.000002 mm"
    assert rows["Measuring: which points count", "max normal angle"] == "60°"
    assert rows["Measuring: mark 1", "centre"] == "x 1 mm, y 2.5 mm, z −3 mm"


def test_what_is_left_empty_or_not_given_says_what_that_means() -> None:
    rows = shown(plan(fit=FitPlan(die=Path("die.stl"))))
    assert rows["", "areas"] == "all that are found"
    assert rows["Measuring", "fit areas"] == "the whole crown"
    assert rows["Measuring: areas", "insertion"] == "found from the surface"
    assert rows["Fit", "crowns"] == "all"
    assert rows["Fit", "finish line"] == "carried over from the design's margin line"
    assert shown(plan())["", "fit"] == "not studied"


def test_limits_of_a_study_name_the_areas_that_they_are_of() -> None:
    rows = shown(plan(analysis=AnalysisPlan(equivalence_um={"default": 5.0, "fossae": 10.0})))
    assert rows["Comparing groups", "equivalence"] == "all other areas: 5 µm; fossae: 10 µm"
    assert rows["Comparing groups", "primary measure"] == "mean absolute deviation"
    assert rows["Group Milled", "scans"] == "5 files, 0.stl to 4.stl"


def test_words_that_are_chosen_are_told_and_not_their_keys() -> None:
    rows = shown(FitSettings(seat=SeatSettings(contact="patches")))
    assert rows["Seat", "contact"] == "means over patches"
    assert shown(FitSettings())["Seat", "contact"].startswith("every point of a design")
    assert shown(FitSettings())["", "die unit"] == "by the size"


@pytest.mark.parametrize("settings", [CheckSettings(), FitSettings(), plan(fit=FitPlan())])
def test_no_declared_setting_is_left_out(settings: object) -> None:
    count = sum(len(table.rows) for table in setting_tables(settings))
    assert count >= len(list(all_settings(settings)))


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, ShownSettings]:
    folder, run, fit = tmp_path_factory.mktemp("pages"), make_run(), made_fit()
    write_check(make_result(), folder / "check", pictures="no")
    write_fit(fit, folder / "fit", pictures="no")
    assert fit.walls is not None
    write_walls(fit.crown, fit.walls, folder / "walls")
    write_study(run, make_analysis(run), folder / "study", pictures="no")
    files = {file.parent.name: file for file in folder.glob("*/*.html")}
    return {name: ShownSettings(file.read_text(encoding="utf-8")) for name, file in files.items()}


@pytest.mark.parametrize("name", ["check", "fit", "walls", "study"])
def test_no_page_shows_a_setting_as_a_program_writes_it(
    pages: dict[str, ShownSettings], name: str
) -> None:
    rows = pages[name].rows
    assert len(rows) > 5
    for row in rows:
        for text in row:
            assert text.strip() == text, row
            assert not AS_A_PROGRAM.search(FILE.sub("", text)), row
    assert all(value for _, _, value in rows)


def test_settings_that_others_take_the_place_of_are_left_out() -> None:
    fit = plan(fit=FitPlan())
    told = setting_tables(fit, unused={FitSettings: ("areas", "spacing_mm")})
    titles = [table.title for table in told]
    assert "Fit: areas" in [table.title for table in setting_tables(fit)]
    assert "Fit: areas" not in titles
    assert "Fit: seat" in titles
    assert "spacing" not in [
        row.name for table in told for row in table.rows if table.title == "Fit"
    ]
