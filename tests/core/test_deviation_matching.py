"""Matches through a wall do not count; what is missing at a sharp edge does, with its size."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from cuspwise.standalone_core.check import CheckSettings, check_meshes
from cuspwise.standalone_core.demo.crown import DemoCrown, demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import (
    Hole,
    ProductionErrors,
    ScannerNoise,
)
from cuspwise.standalone_core.demo.scenario import milled_errors, printed_errors
from cuspwise.standalone_core.demo.study_groups import tilted, upright
from cuspwise.standalone_core.deviation.field import (
    COUNTED,
    NOT_MUTUAL,
    DeviationField,
    measure_deviation,
)
from cuspwise.standalone_core.deviation.matching import mutual, through_no_wall_steps
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.measuring import pair_job
from cuspwise.standalone_core.study.measuring.carried import CarriedCrown, carried_surface
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from cuspwise.standalone_core.surface.known import KnownFaces
from made.short_forms import TIP_MM, missing_from_thimble, missing_from_wedge, thimble, wedge
from made.tiers import slow

LOW_OUTSIDE = ((4.0, 0.0), (5.0, 0.8), (5.0, 1.6), (4.2, 2.4), (0.0, 2.6))
LOW_INSIDE = ((4.0, 0.0), (3.7, 0.1), (3.65, 0.9), (0.0, 1.0))
"""A shallow crown whose outer wall overhangs the margin: below it faces down, as its roof does."""

AS_IT_LIES = SuperimposeSettings(start="in_place", refine=False, look_for_rivals=False)


def refined(mesh: TriangleMesh, spacing_mm: float) -> TriangleMesh:
    return evaluation_mesh(mesh, spacing_mm).mesh


def measured(design: TriangleMesh, scan: TriangleMesh) -> tuple[DeviationField, DeviationField]:
    """Return the deviations as the nearest points say, and after the matches were judged."""
    index = SurfaceIndex(scan)
    plain = measure_deviation(design, index)
    return plain, mutual(plain, design, index, SurfaceIndex(design))


def rms_um(field: DeviationField, where: np.ndarray) -> float:
    d, w = field.deviation_mm[where], field.weights_mm2[where]
    return 1e3 * float(np.sqrt((w * d**2).sum() / w.sum()))


def assert_missing_counts(field: DeviationField, missing_mm: np.ndarray, least: float) -> None:
    """All that is missing counts, each point with its own distance, and so does the rest."""
    gone = missing_mm > 1e-9
    weights = field.weights_mm2
    assert weights[gone & field.counted].sum() >= least * weights[gone].sum()
    assert field.counted[~gone].all()
    np.testing.assert_allclose(
        -field.deviation_mm[field.counted], missing_mm[field.counted], atol=1e-6
    )
    assert -np.nanmin(field.deviation_mm) == pytest.approx(missing_mm.max(), abs=1e-6)


@pytest.mark.parametrize("chip_mm", [0.05, 0.1, 0.3, 0.5])
@pytest.mark.parametrize("angle_deg", [20.0, 40.0, 60.0, 90.0])
def test_a_chip_counts_with_its_size_however_sharp_the_edge(
    angle_deg: float, chip_mm: float
) -> None:
    """Without being let in 23 to 48 % of it count where the edge is sharper than 60°.

    In the sharpest edge a point right beside an upright side of the chip has its foot on the very
    wall that it lies on itself, and nothing shows that material is missing between.
    """
    design = refined(wedge(angle_deg), 0.1)
    _, field = measured(design, refined(wedge(angle_deg, chip_mm), 0.1))
    missing = missing_from_wedge(design.vertices, chip_mm)
    assert_missing_counts(field, missing, 0.98 if angle_deg < 40 else 1.0)


@pytest.mark.parametrize("quarter", [False, True], ids=["all round", "a quarter"])
@pytest.mark.parametrize("short_mm", [0.1, 0.3, 0.5])
def test_a_short_margin_counts_with_its_size(short_mm: float, quarter: bool) -> None:
    design = refined(thimble(around=48), 0.2)
    _, field = measured(design, refined(thimble(short_mm, quarter, around=48), 0.2))
    missing, known = missing_from_thimble(design.vertices, short_mm, quarter)
    assert field.counted.all()
    np.testing.assert_allclose(-field.deviation_mm[known], missing[known], atol=1e-6)
    assert -field.deviation_mm.min() == pytest.approx(short_mm, abs=1e-6)


@pytest.mark.parametrize(
    "quarter",
    [
        slow(False, id="all round"),
        pytest.param(True, id="a quarter"),
    ],
)
def test_a_margin_short_by_300_um_is_outside_with_place_and_length(quarter: bool) -> None:
    """An oval crown, which cannot be turned on itself: all of its margin counts, at full size.

    Of a quarter the mean over the whole area lies within its limit, and hides it.
    """
    oval = np.diag([1.2, 1.0, 1.0, 1.0])
    design, scan = (
        refined(thimble(short, quarter, around=48).moved(oval), spacing)
        for short, spacing in ((0.0, 0.2), (0.3, 0.1))
    )
    settings = CheckSettings(
        superimpose=AS_IT_LIES, tolerances=Tolerances({"margin": 15.0}), spacing_mm=0.2
    )
    result = check_meshes(design, scan, settings)
    row = result.measures_of("margin")
    assert row.coverage > 0.9999
    assert row.min_um == pytest.approx(-300.0, abs=1e-3)
    assert row.verdict == "outside"
    assert (row.mean_abs_um < 15.0) is quarter
    angle = np.linspace(-np.pi, np.pi, 9) / (4 if quarter else 1)
    ends = np.stack([1.2 * TIP_MM * np.cos(angle), TIP_MM * np.sin(angle)], axis=1)
    arc = np.linalg.norm(np.diff(ends, axis=0), axis=1).sum()
    (margin,) = (v for v in result.verdicts if v.area == "margin")
    found = result.margin_profile.summary
    # 8 chords are up to 1 % short of the arc; a run of a tenth of a millimetre a place
    assert found.missing_mm == pytest.approx(arc, rel=0.02 if quarter else 0.11, abs=0.25)
    assert f"short or broken along {found.missing_mm:.1f} of" in margin.reason
    if quarter:
        assert found.missing_deg % 360 == pytest.approx(0.0, abs=2.0) or (
            found.missing_deg % 360 == pytest.approx(360.0, abs=2.0)
        )


@pytest.fixture(scope="module")
def low() -> TriangleMesh:
    return refined(thimble(outside=LOW_OUTSIDE, inside=LOW_INSIDE, around=80), 0.2)


def low_scan(noise_um: float, *, outside_only: bool) -> TriangleMesh:
    """A scan 14 µm beside the shallow crown, with a mesh and noise of its own."""
    whole = thimble(outside=LOW_OUTSIDE, inside=LOW_INSIDE, around=93, outside_only=outside_only)
    mesh = refined(whole, 0.17)
    noise = 1e-3 * noise_um * np.random.default_rng(0).normal(size=(len(mesh.vertices), 1))
    shift = np.array([0.01, 0.0, 0.01])
    return TriangleMesh(mesh.vertices + noise * mesh.vertex_normals + shift, mesh.faces)


def on_the_outside(points: np.ndarray) -> np.ndarray:
    outside = thimble(outside=LOW_OUTSIDE, inside=LOW_INSIDE, around=80, outside_only=True)
    return SurfaceIndex(outside).closest(points).distance_mm < 1e-9


@pytest.mark.parametrize("noise_um", [0.0, 5.0])
def test_a_scan_of_the_outside_says_nothing_of_the_inside(
    low: TriangleMesh, noise_um: float
) -> None:
    plain, field = measured(low, low_scan(noise_um, outside_only=True))
    seen = on_the_outside(low.vertices)
    # What it is about: the roof is matched through the wall, at up to the search distance.
    assert np.nanmax(plain.deviation_mm[~seen]) > 0.9
    assert rms_um(plain, plain.counted) > 10 * rms_um(plain, plain.counted & seen)
    assert not field.counted[~seen].any()
    np.testing.assert_array_equal(field.status[seen], plain.status[seen])
    assert rms_um(field, field.counted) == rms_um(plain, plain.counted & seen)
    refused = field.status == NOT_MUTUAL
    np.testing.assert_array_equal(refused, plain.counted & ~seen)
    assert np.isnan(field.deviation_mm[refused]).all()
    assert field.foot_mm is not None
    assert np.isnan(field.foot_mm[refused]).all()


def test_a_design_of_the_outside_measures_nothing_of_the_inside() -> None:
    outside = refined(
        thimble(outside=LOW_OUTSIDE, inside=LOW_INSIDE, around=80, outside_only=True), 0.2
    )
    scan = evaluation_mesh(low_scan(0.0, outside_only=False), 0.2)
    index = SurfaceIndex(outside)
    plain = measure_deviation(scan.mesh, index, "scan_to_design")
    field = mutual(plain, scan.mesh, index, SurfaceIndex(scan.design))
    assert np.nanmax(np.abs(plain.deviation_mm)) > 0.9
    assert np.nanmax(np.abs(field.deviation_mm)) < 0.02  # the scan lies 14 µm beside it
    same = run(through_no_wall_steps(plain, scan.mesh, index))
    np.testing.assert_array_equal(same.status, field.status)


def test_a_crown_is_not_compared_through_the_wall_of_another() -> None:
    """A whole scan of one, the outside of the other: only the outside can be compared."""
    evaluation = evaluation_mesh(thimble(outside=LOW_OUTSIDE, inside=LOW_INSIDE, around=80), 0.2)
    _, second = measured(evaluation.mesh, low_scan(3.0, outside_only=False))
    crown = CarriedCrown(second, carried_surface(second, evaluation).vertex_normals)
    first = SurfaceIndex(low_scan(5.0, outside_only=True))
    settings = CheckSettings(superimpose=AS_IT_LIES)
    areas = SimpleNamespace(evaluation=evaluation, areas={})
    known = KnownFaces(first, np.full(len(second), -1), settings.deviation.search_mm)
    field, _ = pair_job.superimposed(crown, known, areas, settings)
    assert (field.status == NOT_MUTUAL).any()
    assert not field.counted[~on_the_outside(evaluation.points)].any()
    # Two kinds of noise, 3 and 5 µm on meshes of one spacing, remain.
    assert rms_um(field, field.counted) < np.hypot(3.0, 5.0)


@pytest.mark.parametrize("noise_um", [0.0, 5.0])
def test_whatever_a_whole_scan_shows_counts(low: TriangleMesh, noise_um: float) -> None:
    plain, field = measured(low, low_scan(noise_um, outside_only=False))
    assert not (field.status == NOT_MUTUAL).any()
    np.testing.assert_array_equal(
        field.deviation_mm[plain.counted], plain.deviation_mm[plain.counted]
    )


@pytest.fixture(scope="module")
def crown() -> DemoCrown:
    return demo_crown(0.2, margin_edges=False)


@pytest.fixture(scope="module")
def crown_points(crown: DemoCrown) -> TriangleMesh:
    return refined(crown.mesh, 0.2)


def scan_of(crown: DemoCrown, errors: ProductionErrors, edge_mm: float) -> TriangleMesh:
    made = produce(crown, errors, edge_mm=edge_mm, rng=np.random.default_rng(1))
    return made.mesh.moved(made.T_true_design_scan)


@pytest.mark.parametrize(("edge_mm", "noise_um"), [(0.15, 0.0), (0.25, 5.0)])
@pytest.mark.parametrize("made", ["printed", "milled", "upright", "tilted"])
def test_sound_scans_keep_their_numbers(
    crown: DemoCrown, crown_points: TriangleMesh, made: str, edge_mm: float, noise_um: float
) -> None:
    rng = np.random.default_rng(5)
    errors = {
        "printed": printed_errors(),
        "milled": milled_errors(),
        "upright": upright(rng),
        "tilted": tilted(rng),
    }[made]
    scan = scan_of(crown, replace(errors, noise=ScannerNoise(noise_um)), edge_mm)
    plain, field = measured(crown_points, scan)
    assert (field.status[plain.counted] == COUNTED).all()
    assert rms_um(field, field.counted) == pytest.approx(rms_um(plain, plain.counted), abs=0.01)


def test_a_hole_takes_nothing_away_elsewhere(crown: DemoCrown, crown_points: TriangleMesh) -> None:
    """A thin margin bent by more than it is thick matches across itself, but it was seen."""
    errors = replace(tilted(np.random.default_rng(5)), holes=(Hole(20.0, 5.0, 0.4),))
    plain, field = measured(crown_points, scan_of(crown, errors, 0.15))
    assert plain.coverage < 0.999
    assert (field.status[plain.counted] == COUNTED).all()


def test_areas_that_were_not_seen_have_no_numbers(crown: DemoCrown) -> None:
    errors = ProductionErrors(intaglio_missing=True, noise=ScannerNoise(5.0))
    scan = scan_of(crown, errors, 0.15)
    settings = CheckSettings(superimpose=AS_IT_LIES, spacing_mm=0.2)
    result = check_meshes(crown.mesh, scan, settings)
    row = result.measures_of("intaglio")
    assert np.isnan([row.rms_um, row.max_um, row.mean_abs_um]).all()
    assert row.reason
    field = result.design_to_scan
    seen = ~crown.areas_at(field.points_mm)["intaglio"]
    # 12 points within 0.1 mm of the margin's crest, where the scan ends, lie just beyond it.
    assert result.measures_of("whole").rms_um == pytest.approx(
        rms_um(field, field.counted & seen), abs=0.05
    )


def square(half: float, cells: int, keep: str) -> TriangleMesh:
    """A flat square of 2 half a side, whole or with a frame left out about its middle."""
    line = np.linspace(-half, half, cells + 1)
    x, y = (part.ravel() for part in np.meshgrid(line, line, indexing="ij"))
    corner = np.arange(x.size).reshape(cells + 1, cells + 1)
    a, b, c, d = (
        part.ravel()
        for part in (corner[:-1, :-1], corner[1:, :-1], corner[1:, 1:], corner[:-1, 1:])
    )
    mesh = TriangleMesh(np.c_[x, y, 0.0 * x], np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))
    if keep == "all":
        return mesh
    far = np.abs(mesh.triangles.mean(axis=1)).max(axis=1)
    return mesh.kept((far > 0.8) | (far < float(keep)))


@pytest.mark.parametrize(("inner_mm", "stays"), [(0.1, False), (0.4, True)])
def test_a_speck_in_the_middle_of_nothing_does_not_count(inner_mm: float, stays: bool) -> None:
    design = square(2.0, 40, "all")
    plain, field = measured(design, square(2.0, 80, str(inner_mm)))
    middle = np.abs(design.vertices).max(axis=1) < 0.5
    assert plain.counted[middle].any()
    assert field.counted[middle].any() == stays
    np.testing.assert_array_equal(field.counted[~middle], plain.counted[~middle])
