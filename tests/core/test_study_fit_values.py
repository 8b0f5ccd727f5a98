"""What a study takes over from a fit, and what it depends on: values, settings, keys."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.area_set import MarginLine
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.fit.settings import FitSettings, GapSettings
from cuspwise.standalone_core.measure import ReadyDesign
from cuspwise.standalone_core.study.fit_plan import FIT_MEASURES, FitPlan
from cuspwise.standalone_core.study.measuring.fit_bench import FitBench
from cuspwise.standalone_core.study.measuring.fit_job import FitFile, FitJob, study_fit_settings
from cuspwise.standalone_core.study.measuring.fit_values import fit_values
from cuspwise.standalone_core.study.measuring.kept_fit import load_fit
from cuspwise.standalone_core.study.measuring.result_store import ResultStore
from cuspwise.standalone_core.study.measuring.scan_job import ScanJob, StudyDependencies
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from made import fit_results

CHECK = CheckSettings(spacing_mm=0.4)


def test_values_are_those_of_the_measures_of_fit() -> None:
    made = fit_results.made_fit()
    found = {(one.measure, one.area): one.value for one in fit_values(made)}
    places = {(name, area) for name, areas in FIT_MEASURES.items() for area in areas}
    assert set(found) <= places
    assert made.seat is not None
    assert made.margin is not None
    assert made.walls is not None
    assert found["above_intended_um", "whole"] == made.seat.above_intended_um
    assert found["marginal_gap_um", "margin"] == made.margin.mean_um
    assert found["marginal_gap_most_um", "margin"] == made.margin.most_um
    assert found["absolute_discrepancy_um", "margin"] == made.margin.absolute_mean_um
    for row in made.walls.areas:
        assert found["least_wall_um", row.area] == pytest.approx(1000.0 * row.least_mm)
    not_there = fit_results.without_finish_line()
    assert not {v.measure for v in fit_values(not_there)} & {"marginal_gap_um", "contact_gap_um"}


def test_a_contact_is_named_by_its_side_and_the_deepest_counts() -> None:
    contacts = fit_results.made_contacts()
    row = contacts.rows[0]
    rows = (
        replace(row, kind="proximal", side="mesial", gap_um=4.0),
        replace(row, kind="proximal", side="mesial", gap_um=-7.0),
        replace(row, kind="proximal", side="distal", gap_um=np.nan),
        replace(row, kind="proximal", side="", tooth="37.stl", gap_um=2.0),
        replace(row, kind="occlusal", side="buccal", gap_um=5.0),
        replace(row, kind="occlusal", side="lingual", gap_um=np.nan),
    )
    made = fit_results.made_fit(contacts=replace(contacts, rows=rows))
    found = {v.area: v.value for v in fit_values(made) if v.measure == "contact_gap_um"}
    assert found == {
        "contact_mesial": -7.0,
        "contact_distal": pytest.approx(np.nan, nan_ok=True),
        "contact_37.stl": 2.0,
        "contact_occlusal": 5.0,
    }


def test_a_key_stands_for_all_that_a_fit_depends_on() -> None:
    study = StudyDependencies(Path("kept"), Path("d"), "0", "areas-0", "", CHECK)
    scan = ScanJob("a/0", "a", Path("s"), "1", study)
    die, other = FitFile(Path("die.stl"), "2"), FitFile(Path("die.stl"), "3")
    first = FitJob(scan, die, False, None, None, (), None, True, FitSettings())
    different = [
        replace(first, scan=replace(scan, sha256="4")),
        replace(first, scan=replace(scan, study=replace(study, areas="areas-1"))),
        replace(first, die=other),
        replace(first, die=replace(die, path=Path("tooth.stl"))),
        replace(first, own_die=True),
        replace(first, seated=other),
        replace(first, finish_line=other),
        replace(first, antagonist=other),
        replace(first, neighbours=(other,)),
        replace(first, neighbours=(other, die)),
        replace(first, in_design_frame=False),
        replace(first, settings=FitSettings(gap=GapSettings(places=180))),
    ]
    assert len({job.key for job in (first, *different)}) == 1 + len(different)
    moved = replace(first, die=replace(die, path=Path("elsewhere/die.stl")))
    assert moved.key == first.key


def test_areas_spacing_and_units_are_the_studys() -> None:
    areas = AreaSettings(mesial_direction=(1, 0, 0), insertion=(0, 0, 1), margin_band_mm=0.8)
    check = replace(CHECK, areas=areas, design_unit="mm")
    own = replace(fit_results.made_crown().area_set, settings=areas)
    inside, outside = (
        study_fit_settings(FitPlan(in_design_frame=known), check, own) for known in (True, False)
    )
    for settings in (inside, outside):
        assert (settings.spacing_mm, settings.die_unit, settings.crown_unit) == (0.4, "mm", "auto")
        assert settings.areas.margin_band_mm == 0.8
    assert inside.areas.mesial_direction == (1, 0, 0)
    # A direction of the design's frame means nothing in another one.
    assert (outside.areas.mesial_direction, outside.areas.insertion) == (None, None)


def test_a_damaged_entry_is_no_fit(tmp_path: Path) -> None:
    study = StudyDependencies(tmp_path, Path("d"), "0", "areas-0", "", CHECK)
    scan = ScanJob("a/0", "a", Path("s"), "1", study)
    job = FitJob(
        scan, FitFile(Path("die.stl"), "2"), False, None, None, (), None, True, FitSettings()
    )
    store = ResultStore(tmp_path)
    assert load_fit(store, job) is None
    store.path(job.key).write_bytes(b"PK")
    assert load_fit(store, job) is None


def test_the_designs_margin_line_is_the_studys() -> None:
    """One that somebody drew, as in a file of areas, is what is carried over to the die."""
    made = fit_results.made_crown()
    drawn = MarginLine(made.margin_line.points_mm[::2], origin="file")
    areas = replace(made.area_set, margin_line=drawn)
    design = checked_surface(areas.evaluation.design)
    ready = ReadyDesign(design, areas, PreparedDesign(made.index))
    bench = FitBench(ready, FitSettings(), threads=1)
    assert bench.design.margin_line is drawn
    assert bench.design is bench.design
