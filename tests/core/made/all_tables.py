"""Every table that a check, a fit, a plan or a study can write, from made results."""

from __future__ import annotations

import csv
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from cuspwise.standalone_core.areas.area_set import MarginLine
from cuspwise.standalone_core.areas.support_marks import SupportMark
from cuspwise.standalone_core.check import check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.deviation.margin_places import margin_places
from cuspwise.standalone_core.deviation.settings import MarginProfileSettings
from cuspwise.standalone_core.errors import FileError
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.fit.output import write_fit
from cuspwise.standalone_core.report.study.analysis_tables import analysis_tables
from cuspwise.standalone_core.report.study.tables import study_tables
from cuspwise.standalone_core.report.tables.table import Table
from cuspwise.standalone_core.report.tray.output import write_tray
from cuspwise.standalone_core.statistics.two_groups import compare_two
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.results.analysis import MarkRow, StudyAnalysis
from cuspwise.standalone_core.study.analysis.results.causes import (
    CauseComparison,
    CausePrediction,
    CausesAnalysis,
    GroupWhy,
    SharedCause,
)
from cuspwise.standalone_core.study.analysis.results.comparisons import Adjusted
from cuspwise.standalone_core.study.crowns_needed import Aim, Spread, plan_sizes, power_csv
from cuspwise.standalone_core.study.measuring.results import CrownCauses, StudyRun
from cuspwise.standalone_core.tray.result import TrayCrown, TrayResult, tray_crown
from cuspwise.standalone_core.versions import versions_used
from made.check_causes import make_causes
from made.earlier_studies import as_earlier, scanned
from made.fit_results import made_fit
from made.study_examples import make_analysis, make_run
from made.study_fits import with_fit, with_fit_analysis

LOST, HELD_UP = "upright/upright_01", "tilted/tilted_03"


@cache
def checked() -> CheckResult:
    """A crown with an excess, a support mark, a margin line and causes."""
    design = demo_crown(0.5)
    scan = produce(design, ProductionErrors(offset_um=60), edge_mm=0.5)
    (x, y, z) = design.mesh.vertices[np.argmax(design.mesh.vertices[:, 2])].tolist()
    marks = (SupportMark("sprue", (x, y, z), 1.0),)
    result = check_meshes(design.mesh, scan.mesh, CheckSettings(spacing_mm=0.5, marks=marks))
    return replace(result, causes=make_causes(result))


@cache
def trayed() -> TrayResult:
    """That crown, and one that could not be checked."""
    lost = FileError("There is no such file.", subject="lost.stl", remedy="Check the name.")
    crowns = (
        tray_crown("crown", "design.stl", "crown.stl", checked()),
        TrayCrown("lost", "design.stl", "lost.stl", error=lost),
    )
    return TrayResult(crowns, versions_used())


@cache
def studied() -> tuple[StudyRun, StudyAnalysis]:
    """Three groups with all that a study can hold: odd crowns, marks, fit, causes, scores."""
    check = checked()
    causes = check.causes
    assert causes is not None
    assert check.margin_profile is not None
    own = CrownCauses(causes.causes, (), (), (), causes.remaining, 0.5, "", np.zeros(1))
    run = make_run()
    crowns = (
        replace(one, marks=check.marks, margin=check.margin_profile.summary, causes=own)
        for one in run.crowns
    )
    run = with_fit(replace(run, crowns=tuple(crowns)), held_up=HELD_UP, lost=LOST)
    analysis = with_fit_analysis(run, make_analysis(run))
    marks = MarkRow("sprue", "sprue", "milled", 5, 0, 5, 0, 0, 80.0, 4.0, 75.0, 88.0, 1.5, 0.1)
    return run, replace(analysis, marks=(marks,), causes=_why(run, own))


def _why(run: StudyRun, own: CrownCauses) -> CausesAnalysis:
    """Two groups that share the made causes, compared by the first of them."""
    values = {"milled": (4.0, 4.5, 3.9, 4.2, 4.1), "upright": (6.0, 6.6, 5.9, 6.1, 6.3)}
    groups = [
        GroupWhy(
            group,
            group,
            tuple(crown.name for crown in run.crowns_of(group)),
            (),
            tuple(
                SharedCause(group, 5, cause, 0.2, sizes, (4.0, 3.5, 4.5)) for cause in own.causes
            ),
            predicted=(CausePrediction(group, "all", "margin", 20.0, 5, 3, 5, 19.0, 7.0),),
        )
        for group, sizes in values.items()
    ]
    tests = compare_two(values["upright"], values["milled"])
    about = (own.causes[0].cause, own.causes[0].family, own.causes[0].unit)
    compared = CauseComparison(
        *about, "milled", "upright", tests, "welch", Adjusted(tests.welch.p, 1), "different"
    )
    return CausesAnalysis(tuple(groups), (compared,), 1.0, 2.0)


def study_made() -> dict[str, Table]:
    """The tables of that study, by name, and those of studies that have what it has not."""
    run, analysis = studied()
    return study_tables(run) | analysis_tables(run, analysis) | _listed() | _profiled() | _again()


def _listed() -> dict[str, Table]:
    """The table of the crowns' facts, of a study that lists its crowns."""
    run = make_run(("milled", "tilted"), 2, repeats=False)
    facts = ({"day": "Monday"}, {"day": "Friday"})
    groups = (replace(run.plan.groups[0], crowns=("A", "B"), crown_facts=facts), run.plan.groups[1])
    tables = study_tables(replace(run, plan=replace(run.plan, groups=groups)))
    return {"crown_facts": tables["crown_facts"]}


def _profiled() -> dict[str, Table]:
    """The margin profiles of two groups whose crowns all follow a cosine."""
    run = make_run(("milled", "tilted"), 3, repeats=False)
    areas = replace(run.area_set, margin_line=MarginLine(demo_crown(0.45).margin_line_mm))
    assert areas.margin_line is not None
    places = margin_places(areas.margin_line, areas, MarginProfileSettings().step_mm)
    wave = np.cos(np.radians(places.angle_deg)).astype(np.float32)
    crowns = tuple(replace(one, margin_um=wave * k) for k, one in enumerate(run.crowns))
    run = replace(run, area_set=areas, crowns=crowns)
    return {"margin_profile": analysis_tables(run, make_analysis(run))["margin_profile"]}


def _again() -> dict[str, Table]:
    """The tables of a study against an earlier one."""
    groups = ("milled", "tilted")
    with TemporaryDirectory() as folder:
        earlier = as_earlier(scanned(make_run(groups, 4, seed=5), "earlier"), Path(folder))
    run = replace(scanned(make_run(groups, 5), "now"), earlier=earlier)
    tables = analysis_tables(run, analyse_study(run))
    return {name: tables[name] for name in ("earlier_study", "earlier_tolerances")}


def written(folder: Path) -> dict[str, list[dict[str, str]]]:
    """Write the tables of everything else; return their rows by the tables' keys."""
    write_tray(trayed(), folder / "tray")
    write_check(checked(), folder / "check", pictures="no")
    write_fit(made_fit(), folder / "fit", pictures="no")
    (folder / "plan").mkdir()
    rows = plan_sizes([Spread("a", 3.0, 8), Spread("b", 4.0, 8)], Aim(difference_um=5.0))
    (folder / "plan" / "power.csv").write_text(power_csv(rows), encoding="utf-8-sig")
    return {
        f"{owner}/{file.stem}": rows_of(file)
        for owner in ("check", "tray", "fit", "plan")
        for file in sorted((folder / owner).glob("*.csv"))
    }


def rows_of(file: Path) -> list[dict[str, str]]:
    """The rows of a table's file."""
    with file.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))
