"""The direction that is judged, described and compared: from design to scan or back."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from click.testing import CliRunner
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.check_result import CheckResult
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.deviation.direction import (
    DESIGN_TO_SCAN,
    DIRECTIONS,
    SCAN_TO_DESIGN,
    covered_in,
    other_direction,
)
from cuspwise.standalone_core.deviation.field import measure_deviation
from cuspwise.standalone_core.deviation.judgement import judge_deviations, scan_warnings
from cuspwise.standalone_core.deviation.measures import AreaMeasures, measure_areas
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.deviation.unmatched import UnmatchedPiece
from cuspwise.standalone_core.deviation.verdict import (
    ScanEvidence,
    Verdict,
    judge,
    matched_coverage,
    with_verdicts,
)
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.report.check.document import check_document
from cuspwise.standalone_core.report.check.output import write_check
from cuspwise.standalone_core.report.check.sentences import FROM_SCAN, headline
from cuspwise.standalone_core.report.drawing.histogram import area_histograms
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from made.crowns import demo_crown
from made.study_runs import pose, row

IN_PLACE = SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False)
RADIUS_MM, SHIFT_MM = 5.0, 0.5
DEPTH_MM = 0.4
LOOSE = UnmatchedPiece(
    area_mm2=1.0,
    height_um=400.0,
    mean_um=300.0,
    beyond_search=False,
    loose=True,
    areas=("margin",),
    margin_mm=0.0,
    centre_mm=(0.0, 0.0, 0.0),
    peak_mm=(0.0, 0.0, 0.0),
    n=30,
)


def back(area: str = "margin", mean_abs_um: float = 10.0, **others: float) -> AreaMeasures:
    others = {"unmatched_mm2": 0.0, "unmatched_um": 0.0, **others}
    return replace(row(area, mean_abs_um, **others), direction=SCAN_TO_DESIGN)


def judged(*rows: AreaMeasures, **evidence: object) -> Verdict:
    (found,) = judge(rows, pose(), Tolerances(), ScanEvidence(**evidence), SCAN_TO_DESIGN)
    return found


# What each direction sees, by formula


def ball(shift_mm: float = 0.0) -> TriangleMesh:
    made = trimesh.creation.icosphere(subdivisions=5, radius=RADIUS_MM)
    return TriangleMesh(made.vertices + np.array([0.0, 0.0, shift_mm]), made.faces)


@cache
def shifted_balls(direction: str) -> CheckResult:
    settings = CheckSettings(superimpose=IN_PLACE, spacing_mm=0.3, direction=direction)
    return check_meshes(ball(), ball(SHIFT_MM), settings)


@pytest.mark.parametrize(("direction", "sign"), [(DESIGN_TO_SCAN, -1.0), (SCAN_TO_DESIGN, 1.0)])
def test_a_shifted_ball_is_too_small_from_the_design_and_too_large_from_the_scan(
    direction: str, sign: float
) -> None:
    """The mean distance of a sphere's points from a place e off its centre is R + e²/(3R)."""
    result = shifted_balls(direction)
    mean_um = sign * 1e3 * SHIFT_MM**2 / (3.0 * RADIUS_MM)
    assert result.measures_of("whole").direction == direction
    # Facets of 0.17 mm edges lie up to 1.5 µm inside the ball, 0.7 µm on average.
    assert result.measures_of("whole").mean_um == pytest.approx(mean_um, abs=1.0)
    assert result.measures_of("whole", other_direction(direction)).mean_um == pytest.approx(
        -mean_um, abs=1.0
    )


def roof(height_mm: float) -> TriangleMesh:
    """A flat strip along y with a ridge (or a groove) of 45° down its middle."""
    x, y = np.meshgrid(np.linspace(-1.0, 1.0, 201), np.linspace(0.0, 1.0, 21), indexing="ij")
    z = np.sign(height_mm) * np.maximum(abs(height_mm) - np.abs(x), 0.0)
    corner = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (
        part.ravel()
        for part in (corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:])
    )
    faces = np.concatenate([np.c_[a, b, c], np.c_[a, c, d]])
    return TriangleMesh(np.column_stack([x.ravel(), y.ravel(), z.ravel()]), faces)


@pytest.mark.parametrize("height_mm", [DEPTH_MM, -DEPTH_MM], ids=["lost edge", "filled fossa"])
def test_a_lost_edge_and_a_filled_fossa_are_smaller_from_the_scan(height_mm: float) -> None:
    """A place x off the middle of a flat: h − x above the design, (h − x)/√2 away from its wall."""
    design, flat = roof(height_mm), roof(0.0)
    evaluation = evaluation_mesh(design, 0.1)
    inside = np.abs(evaluation.points[:, 0]) < DEPTH_MM - 1e-9
    whole = np.ones(len(inside), dtype=bool)
    areas = AreaSet(evaluation, {"whole": Area("whole", whole), "fossae": Area("fossae", inside)})
    fields = [
        measure_deviation(evaluation.mesh, flat, DESIGN_TO_SCAN),
        measure_deviation(flat, evaluation.mesh, SCAN_TO_DESIGN),
    ]
    rows = {r.direction: r for r in measure_areas(fields, areas) if r.area == "fossae"}
    for direction, size_um in ((DESIGN_TO_SCAN, 400.0), (SCAN_TO_DESIGN, 400.0 / np.sqrt(2.0))):
        assert rows[direction].peak_um == pytest.approx(-np.sign(height_mm) * size_um, rel=1e-6)
        assert rows[direction].mean_abs_um == pytest.approx(size_um / 2.0, rel=0.03)


# Verdicts


def test_the_verdict_stands_in_the_row_that_was_judged_and_names_it() -> None:
    rows = [row("margin", 18.0), back("margin", 7.7, min_um=-3.0, max_um=9.0)]
    found = judged(*rows)
    assert (found.direction, found.mean_abs_um, found.back_mean_abs_um) == (
        *(SCAN_TO_DESIGN, 7.7, 18.0),
    )
    assert (found.verdict, found.contradiction) == ("outside", True)
    assert found.reason.startswith(
        "The two directions contradict each other: mean absolute deviation 7.7 µm from scan to "
        "design, at or below the limit of 15 µm, but 18.0 µm from design to scan, above it"
    )
    assert [one.verdict for one in with_verdicts(rows, [found])] == ["", "outside"]
    # Judged the other way round before: no verdict is left in that row.
    before = with_verdicts(rows, judge(rows, pose(), Tolerances()))
    assert [one.verdict for one in before] == ["outside", ""]
    assert with_verdicts(before, [found]) == with_verdicts(rows, [found])


@pytest.mark.parametrize(("there", "other"), [(7.7, 18.0), (18.0, 7.7), (9.0, 9.0), (20.0, 16.0)])
def test_both_directions_must_keep_the_limit_whichever_is_judged(
    there: float, other: float
) -> None:
    rows = [row("margin", there), back("margin", other)]
    (first,) = judge(rows, pose(), Tolerances())
    assert judged(*rows).verdict == first.verdict
    assert judged(*rows).contradiction == first.contradiction


def test_what_the_scan_lacks_is_asked_of_the_design() -> None:
    assert covered_in(DESIGN_TO_SCAN) == (DESIGN_TO_SCAN,)
    assert covered_in(SCAN_TO_DESIGN) == DIRECTIONS
    found = judged(row("margin", 5.0, coverage=0.6), back("margin", 5.0))
    assert found.verdict == "not_decidable"
    assert found.reason == "Only 60.0 % of the area was measured; 90 % is needed."
    assert found.coverage == 1.0


def test_what_of_the_scan_was_not_measured_leaves_an_area_open_from_there_alone() -> None:
    rows = [row("margin", 5.0), back("margin", 5.0, coverage=0.7)]
    found = judged(*rows)
    words = "Only 70.0 % of the scan's surface over the area was measured; 90 % is needed."
    assert (found.verdict, found.reason) == ("not_decidable", words)
    (there,) = judge(rows, pose(), Tolerances())
    assert there.verdict == "within"
    said = scan_warnings(rows, ScanEvidence(), Tolerances(), SCAN_TO_DESIGN)
    assert said == ["Coverage: only 70.0 % of the scan over margin was measured."]
    assert scan_warnings(rows, ScanEvidence(), Tolerances()) == []


def test_unmatched_surface_is_no_part_of_what_is_to_be_covered() -> None:
    """40 of 50 mm² counted, and 8 of the other 10 are a stub: 40/42 of the crown was measured."""
    one = back("margin", 5.0, coverage=0.8, unmatched_mm2=8.0, unmatched_um=300.0)
    assert matched_coverage(one) == pytest.approx(40.0 / 42.0, rel=1e-12)
    stub = replace(LOOSE, loose=False, area_mm2=8.0)
    found = judged(row("margin", 5.0), one, unmatched=(stub,))
    assert found.verdict == "outside"
    assert "surface that the design has not" in found.reason
    assert np.isnan(matched_coverage(replace(one, unmatched_mm2=50.0)))
    assert matched_coverage(row("margin", 5.0, coverage=0.123)) == 0.123


@pytest.mark.parametrize("direction", DIRECTIONS)
def test_what_floats_beside_the_crown_spoils_the_scans_side_only(direction: str) -> None:
    rows = [row("margin", 5.0), back("margin", 90.0)]
    evidence = ScanEvidence(unmatched=(LOOSE,))
    (found,) = judge(rows, pose(), Tolerances(), evidence, direction)
    assert found.verdict == "not_decidable"
    (worse,) = judge([row("margin", 16.0), rows[1]], pose(), Tolerances(), evidence, direction)
    assert worse.verdict == "outside"


def test_a_direction_that_was_not_measured_is_not_judged() -> None:
    with pytest.raises(SettingError, match="Nothing was measured from scan to design"):
        judge([row("margin", 5.0)], pose(), Tolerances(), None, SCAN_TO_DESIGN)
    assert judge([], pose(), Tolerances(), None, SCAN_TO_DESIGN) == ()


# A whole check


@cache
def crown_check(direction: str) -> CheckResult:
    crown = demo_crown(0.4)
    grown = TriangleMesh(crown.mesh.vertices + 0.012 * crown.vertex_normals, crown.mesh.faces)
    settings = CheckSettings(superimpose=IN_PLACE, spacing_mm=0.4, direction=direction)
    return check_meshes(crown.mesh, grown, settings)


def test_the_direction_changes_no_number_and_no_patch() -> None:
    there, other = crown_check(DESIGN_TO_SCAN), crown_check(SCAN_TO_DESIGN)
    bare = [[replace(r, verdict="") for r in result.measures] for result in (there, other)]
    assert list(map(repr, bare[0])) == list(map(repr, bare[1]))
    assert there.patches == other.patches
    assert there.facet_sag == other.facet_sag
    assert there.margin_profile.summary == other.margin_profile.summary
    for result, way in ((there, DESIGN_TO_SCAN), (other, SCAN_TO_DESIGN)):
        assert {row.direction for row in result.measures if row.verdict} == {way}
        assert result.judged_field.direction == way


def test_another_direction_is_judged_from_the_same_fields() -> None:
    there, other = crown_check(DESIGN_TO_SCAN), crown_check(SCAN_TO_DESIGN)
    again = judge_deviations(
        there.fields,
        there.area_set,
        there.superimposition,
        there.settings.tolerances,
        evidence=ScanEvidence(
            margin=there.margin_profile.summary, facet_sag=there.facet_sag, layers=there.layers
        ),
        direction=SCAN_TO_DESIGN,
    )
    assert list(map(repr, again.verdicts)) == list(map(repr, other.verdicts))


def test_the_headline_says_it_where_it_is_not_the_usual_one() -> None:
    assert FROM_SCAN in headline(crown_check(SCAN_TO_DESIGN).verdicts).sentences
    assert FROM_SCAN not in headline(crown_check(DESIGN_TO_SCAN).verdicts).sentences


@pytest.mark.parametrize(
    ("direction", "words", "others"),
    [
        (DESIGN_TO_SCAN, "from design to scan", "from scan to design"),
        (SCAN_TO_DESIGN, "from scan to design", "from design to scan"),
    ],
)
def test_page_and_document_name_the_judged_direction(
    tmp_path: Path, direction: str, words: str, others: str
) -> None:
    result = crown_check(direction)
    write_check(result, tmp_path, pictures="no")
    page = (tmp_path / "check.html").read_text(encoding="utf-8")
    assert f"in both directions, first {words}, and" in page
    assert f"{words.capitalize()}, judged, in µm" in page
    assert f"{others.capitalize()}, in µm" in page
    assert page.index(f"{words.capitalize()}, judged") < page.index(f"{others.capitalize()}, in")
    margin = next(v for v in result.verdicts if v.area == "margin")
    assert f"{margin.back_mean_abs_um:.1f} µm {others}</div>" in page
    document = check_document(result)
    assert document["direction"] == document["settings"]["direction"] == direction
    assert {verdict["direction"] for verdict in document["verdicts"]} == {direction}


def test_histograms_are_of_the_surface_that_was_judged() -> None:
    """What lies beyond the tolerance is what the row of the same direction has outside it."""
    result = crown_check(SCAN_TO_DESIGN)
    limit_um = result.settings.tolerances.limit_um("margin")
    found = {h.area: h for h in area_histograms(result.judged_field, result.area_set, limit_um)}
    beyond = found["margin"].below + found["margin"].above
    share = result.measures_of("margin").within_tolerance
    assert 1.0 - beyond == pytest.approx(share, abs=1e-9)


def test_the_command_line_takes_the_direction(tmp_path: Path) -> None:
    crown = demo_crown(0.4)
    grown = TriangleMesh(crown.mesh.vertices + 0.012 * crown.vertex_normals, crown.mesh.faces)
    files = [
        str(write_mesh(tmp_path / f"{name}.stl", mesh))
        for name, mesh in (("design", crown.mesh), ("scan", grown))
    ]
    told = ["--start", "in-place", "--no-refine", "--spacing", "0.4", "--no-causes"]
    for given in (
        ["--direction", "scan_to_design"],
        ["--set", "measuring.direction=scan-to-design"],
    ):
        run = CliRunner().invoke(main, ["check", *files, *told, *given, "--json"])
        document = json.loads(run.stdout)
        assert document["direction"] == SCAN_TO_DESIGN
        words = {r["direction"] for r in document["measures"] if r["verdict"]}
        assert words == {SCAN_TO_DESIGN}
    shown = CliRunner().invoke(
        main, ["check", *files, *told, *given, "--no-pictures", "--out", str(tmp_path / "out")]
    )
    assert "Deviation per area, from scan to design, in µm" in shown.stdout
