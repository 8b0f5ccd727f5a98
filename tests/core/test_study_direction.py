"""A study in one direction or the other: what is described and compared, and what stays."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import cuspwise
import numpy as np
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.check import check
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.deviation.direction import (
    DESIGN_TO_SCAN,
    SCAN_TO_DESIGN,
    Direction,
)
from cuspwise.standalone_core.errors import FileError
from cuspwise.standalone_core.report.study.analysis_tables import DIRECTED, analysis_tables
from cuspwise.standalone_core.report.study.differences import equivalence_figure
from cuspwise.standalone_core.report.study.maps import HEADS, study_maps
from cuspwise.standalone_core.report.study.methods import methods_text
from cuspwise.standalone_core.report.study.page import StudyArt, area_parts, study_page
from cuspwise.standalone_core.report.study.strips import precision_figure, trueness_figure
from cuspwise.standalone_core.report.study.tables import study_document, study_tables
from cuspwise.standalone_core.report.study.terminal import study_view
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.notes import FROM_SCAN, FROM_SCAN_MEANS
from cuspwise.standalone_core.study.file.read import read_plan
from cuspwise.standalone_core.study.measuring.crowns import judged
from cuspwise.standalone_core.study.measuring.results import RepeatScan, StudyRun
from cuspwise.standalone_core.study.measuring.run import run_study
from cuspwise.standalone_core.study.measuring.scanner_uncertainty import scanner_uncertainty_um
from cuspwise.standalone_core.study.pilot import judged_direction, read_pilot
from made.small_studies import NO_CAUSES, STUDY, write_small_study
from made.study_runs import study, with_repeats
from rich.console import Console

THERE = {"milled": {"margin": (8.0, 9.0, 10.0, 11.0)}, "printed": {"margin": (8.1, 9.2, 9.9, 11.2)}}
WAY = " from scan to design"
BACK_UM = {"milled": (5.0, 5.5, 6.0, 5.2), "printed": (12.0, 12.6, 13.1, 12.2)}


def made(direction: Direction) -> StudyRun:
    """Groups alike from design to scan, and far apart from scan to design."""
    plain = study(THERE)
    check = replace(plain.plan.check, direction=direction)
    crowns = []
    for group, values in BACK_UM.items():
        for one, value in zip(plain.crowns_of(group), values, strict=True):
            back = replace(one.measures[0], direction=SCAN_TO_DESIGN, mean_abs_um=value)
            both = replace(one, measures=(*one.measures, back))
            crowns.append(judged(both, check))
    return replace(plain, plan=replace(plain.plan, check=check), crowns=tuple(crowns))


def described(run: StudyRun) -> dict[str, tuple[float, ...]]:
    rows = analyse_study(run).findings.trueness
    return {r.group: r.summary.values for r in rows if r.measure == "mean_abs_um"}


# Made numbers


def test_trueness_is_of_the_direction_that_was_chosen() -> None:
    assert described(made(SCAN_TO_DESIGN)) == BACK_UM
    there = {group: values["margin"] for group, values in THERE.items()}
    assert described(made(DESIGN_TO_SCAN)) == there
    (apart,) = analyse_study(made(SCAN_TO_DESIGN)).findings.primary
    (alike,) = analyse_study(made(DESIGN_TO_SCAN)).findings.primary
    assert apart.difference == pytest.approx(np.mean(BACK_UM["printed"]) - 5.425, rel=1e-12)
    assert (apart.outcome, alike.outcome) == ("different", "undecided")


def test_tolerances_and_precision_do_not_depend_on_it() -> None:
    there, back = (analyse_study(made(way)) for way in (DESIGN_TO_SCAN, SCAN_TO_DESIGN))
    assert repr(there.findings.tolerances) == repr(back.findings.tolerances)
    assert repr(there.findings.precision) == repr(back.findings.precision)


def test_the_analysis_says_that_it_is_not_the_usual_direction() -> None:
    there, back = (analyse_study(made(way)) for way in (DESIGN_TO_SCAN, SCAN_TO_DESIGN))
    assert FROM_SCAN in [line.sentence for line in back.verdict]
    assert FROM_SCAN_MEANS in back.notes
    assert FROM_SCAN not in [line.sentence for line in there.verdict]
    assert FROM_SCAN_MEANS not in there.notes


def test_the_scanner_is_studied_in_the_same_direction() -> None:
    """Repeated scans that agree from scan to design and not from design to scan."""
    run = with_repeats(made(SCAN_TO_DESIGN), np.random.default_rng(4).normal(9.0, 2.0, (3, 2, 2)))
    repeats = []
    for k, one in enumerate(run.repeats):
        back = replace(one.scan.measures[0], direction=SCAN_TO_DESIGN, mean_abs_um=7.0 + k // 4)
        scan = replace(one.scan, measures=(*one.scan.measures, back))
        repeats.append(replace(one, scan=scan))
    run = replace(run, repeats=tuple(repeats))
    (row,) = (row for row in analyse_study(run).scanner if row.measure == "mean_abs_um")
    assert row.gauge.repeatability == 0.0
    there = replace(run, plan=made(DESIGN_TO_SCAN).plan)
    (row,) = (row for row in analyse_study(there).scanner if row.measure == "mean_abs_um")
    assert row.gauge.repeatability > 1.0


def test_the_scanners_uncertainty_is_of_the_judged_direction() -> None:
    values = {DESIGN_TO_SCAN: [8.0, 8.5, 7.7, 8.2, 8.1], SCAN_TO_DESIGN: [6.0, 7.0, 5.0, 6.5, 6.1]}
    repeats = [
        RepeatScan(
            *("a", "A", str(k)),
            SimpleNamespace(
                measures=[
                    SimpleNamespace(area="margin", direction=way, mean_abs_um=of[k])
                    for way, of in values.items()
                ]
            ),
        )
        for k in range(5)
    ]
    for way, of in values.items():
        found = scanner_uncertainty_um(repeats, way)
        assert found == {"margin": pytest.approx(np.std(of, ddof=1))}


def test_an_area_needs_coverage_on_scan_and_design() -> None:
    """The page shows the lesser of both; from design to scan the design's alone."""
    run = made(SCAN_TO_DESIGN)
    first, *others = run.crowns
    there, back = first.measures
    first = replace(first, measures=(replace(there, coverage=0.7), replace(back, coverage=0.6)))
    for way, least in ((SCAN_TO_DESIGN, 0.6), (DESIGN_TO_SCAN, 0.7)):
        seen = replace(run, plan=made(way).plan, crowns=(first, *others))
        analysis = analyse_study(seen)
        (part,) = area_parts(seen, analysis, {})
        assert part.rows[0].coverage == least
        assert any(first.name in note and "Less than 90 %" in note for note in analysis.notes)
    full = replace(first, measures=(replace(there, coverage=1.0), replace(back, coverage=0.6)))
    seen = replace(run, plan=made(DESIGN_TO_SCAN).plan, crowns=(full, *others))
    assert not any("Less than 90 %" in note for note in analyse_study(seen).notes)


@pytest.mark.parametrize(
    ("direction", "words"),
    [(DESIGN_TO_SCAN, "from design to scan"), (SCAN_TO_DESIGN, "from scan to design")],
)
def test_every_way_out_names_the_direction(direction: Direction, words: str) -> None:
    run = made(direction)
    analysis = analyse_study(run)
    assert study_document(run, analysis)["direction"] == direction
    tables = analysis_tables(run, analysis)
    for name in set(DIRECTED) & tables.keys():
        rows = list(csv.DictReader(io.StringIO(tables[name].text)))
        assert {row["direction"] for row in rows} == {direction}, name
    rows = list(csv.DictReader(io.StringIO(study_tables(run)["verdicts"].text)))
    assert {row["direction"] for row in rows} == {direction}
    screen = Console(width=100, file=io.StringIO())
    screen.print(study_view(run, analysis))
    assert f"(trueness, {words})" in screen.file.getvalue()
    here, there = words.removeprefix("from ").split(" to ")
    said = methods_text(run, analysis).text
    assert f"Signed deviations from the {here} to the nearest point of the {there}" in said
    assert ("on the scan and on the design" in said) is (direction == SCAN_TO_DESIGN)


# A pilot of either direction


def pilot(folder: Path, **changes: object) -> Path:
    crowns = [
        {
            "group": "a",
            "measures": [
                {"area": "margin", "direction": DESIGN_TO_SCAN, "mean_abs_um": there},
                {"area": "margin", "direction": SCAN_TO_DESIGN, "mean_abs_um": back},
            ],
        }
        for there, back in ((8.0, 3.0), (9.0, 7.0), (10.0, 5.0))
    ]
    file = folder / "study.json"
    file.write_text(json.dumps({"crowns": crowns, **changes}), encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("changes", "sd_um", "words"),
    [
        ({}, 1.0, "from design to scan"),
        ({"direction": DESIGN_TO_SCAN}, 1.0, "from design to scan"),
        ({"direction": SCAN_TO_DESIGN}, 2.0, "from scan to design"),
    ],
)
def test_a_pilots_spread_is_that_of_its_own_direction(
    tmp_path: Path, changes: dict[str, str], sd_um: float, words: str
) -> None:
    (found,) = read_pilot(pilot(tmp_path, **changes), "margin", "mean_abs_um")
    assert found.sd_um == pytest.approx(sd_um)
    assert found.what == f"Margin, mean absolute deviation, {words}"


def test_a_pilot_holds_both_directions(tmp_path: Path) -> None:
    """The standard deviation of 3, 7, 5 is 2: as if the pilot had been judged that way."""
    file = pilot(tmp_path, direction=DESIGN_TO_SCAN)
    (found,) = read_pilot(file, "margin", "mean_abs_um", SCAN_TO_DESIGN)
    assert found.sd_um == pytest.approx(2.0)
    asked = cuspwise.crowns_needed(file, difference_um=4.0, direction=SCAN_TO_DESIGN)
    assert asked.n == cuspwise.crowns_needed(2.0, difference_um=4.0).n
    given = ["plan", "--from", str(file), "--difference", "4"]
    said = [
        " ".join(CliRunner().invoke(main, [*given, *more]).output.split())
        for more in ([], ["--direction", "scan-to-design"])
    ]
    for text, words in zip(said, ("from design to scan", "from scan to design"), strict=True):
        assert f"The spread is the pilot's of: Margin, mean absolute deviation, {words}." in text


def test_a_direction_that_is_not_known_is_refused(tmp_path: Path) -> None:
    file = pilot(tmp_path, direction="sideways")
    with pytest.raises(FileError, match="'sideways', which is not known"):
        read_pilot(file, "margin", "mean_abs_um")
    assert judged_direction({}, file) == DESIGN_TO_SCAN


# A study of real meshes


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, StudyRun]:
    """The same crowns in both directions, into the same folder: the second finds all kept."""
    folder = tmp_path_factory.mktemp("study")
    text = STUDY + NO_CAUSES
    found = {}
    for way in (DESIGN_TO_SCAN, SCAN_TO_DESIGN):
        told = text.replace("[measuring]\n", f'[measuring]\ndirection = "{way}"\n')
        plan = read_plan(write_small_study(folder, {"a": 2, "b": 1}, told))
        assert plan.check.direction == way
        found[way] = run_study(plan, folder / "results")
    return found


def test_another_direction_measures_nothing_anew(runs: dict[str, StudyRun]) -> None:
    there, back = runs[DESIGN_TO_SCAN], runs[SCAN_TO_DESIGN]
    assert (there.reused, back.reused) == (0, 3 + 1)  # crowns and the pair of a
    for first, second in zip(there.crowns, back.crowns, strict=True):
        assert first.key == second.key
        bare = [[replace(r, verdict="") for r in one.measures] for one in (first, second)]
        assert repr(bare[0]) == repr(bare[1])
    assert repr(there.pairs) == repr(back.pairs)
    assert repr(there.parts) == repr(back.parts)


@pytest.mark.parametrize(
    ("direction", "words"),
    [(DESIGN_TO_SCAN, "from design to scan"), (SCAN_TO_DESIGN, "from scan to design")],
)
def test_the_page_names_the_direction(
    runs: dict[str, StudyRun], direction: Direction, words: str
) -> None:
    run = runs[direction]
    analysis = analyse_study(run)
    art = StudyArt((), "None are drawn.", study_maps(run, analysis))
    page = study_page(run, analysis, art, written=datetime(2026, 1, 1, tzinfo=UTC))
    assert f"Trueness: each crown against the design, {words}, mean ± SD over crowns." in page
    assert f"and trueness here is {words}:" in page
    assert (FROM_SCAN in page) is (direction == SCAN_TO_DESIGN)


@pytest.mark.parametrize("direction", [DESIGN_TO_SCAN, SCAN_TO_DESIGN])
def test_a_studys_values_and_verdicts_are_those_of_check(
    runs: dict[str, StudyRun], direction: Direction
) -> None:
    run = runs[direction]
    values = {
        (row.area, name): value
        for row in analyse_study(run).findings.trueness
        for name, value in zip(row.crowns, row.summary.values, strict=True)
    }
    for crown in run.crowns:
        result = check(run.plan.design, crown.path, run.plan.check)
        for area in ("whole", "margin"):
            row = result.measures_of(area)
            assert row.direction == direction
            assert values[area, crown.name] == pytest.approx(row.mean_abs_um, rel=1e-9)
        told = {v.area: (v.verdict, v.direction, v.reason) for v in crown.verdicts}
        assert told == {v.area: (v.verdict, v.direction, v.reason) for v in result.verdicts}


@pytest.mark.parametrize(("direction", "words"), [(DESIGN_TO_SCAN, ""), (SCAN_TO_DESIGN, WAY)])
def test_figures_name_a_direction_that_is_not_the_usual_one(
    direction: Direction, words: str
) -> None:
    analysis = analyse_study(made(direction))
    assert analysis.direction == direction
    drawn = trueness_figure(analysis, "margin")
    assert f"Mean absolute deviation{words}, µm" in drawn.alt
    between = precision_figure(analysis, "margin")
    assert "Mean absolute deviation, µm" in between.alt
    apart = equivalence_figure(analysis, "mean_abs_um")
    assert apart.title.startswith(f"Differences of mean absolute deviation{words} against")


def test_maps_say_that_they_stand_at_the_designs_points(runs: dict[str, StudyRun]) -> None:
    run = runs[SCAN_TO_DESIGN]
    maps = study_maps(run, analyse_study(run))
    assert {found.kind for found in maps.maps} >= {"mean", "sd", "worst"}
    for found in maps.maps:
        said = found.caption if found.kind == "mean" else HEADS[found.kind]
        assert "from design to scan" in said
