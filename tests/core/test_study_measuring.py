"""Scans and pairs of a study: kept without loss, and the same as measured one by one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.areas.files import save_areas
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.demo.crown import demo_crown
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.measure import (
    ReadyDesign,
    measure_scan_steps,
    read_design,
    read_scan,
    ready_design_steps,
)
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.measuring.group_maps import (
    difference_map,
    distance_from_mean,
    group_map,
    spread_parts,
)
from cuspwise.standalone_core.study.measuring.pair_job import (
    PairJob,
    compare_and_keep_steps,
    load_pair,
)
from cuspwise.standalone_core.study.measuring.result_store import Kept
from cuspwise.standalone_core.study.measuring.scan_job import (
    ScanJob,
    load_scan,
    measure_and_keep,
    moved_scan,
    scan_key,
)
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from cuspwise.standalone_core.surface.closest import SurfaceIndex

SETTINGS = CheckSettings(spacing_mm=0.3)
EDGE_MM = 0.3


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    design = demo_crown(EDGE_MM)
    write_mesh(folder / "design.stl", design.mesh)
    for k in range(3):
        errors = ProductionErrors(
            waves=(Wave((0.2, 0.5, 1.0), 9.0 - k, 6.0 + 4.0 * k, 75.0 + 20.0 * k),),
            noise=ScannerNoise(2.0),
        )
        crown = produce(design, errors, edge_mm=EDGE_MM, rng=np.random.default_rng(k))
        write_mesh(folder / f"{k}.stl", crown.mesh)
    return folder


@pytest.fixture(scope="module")
def ready(folder: Path) -> ReadyDesign:
    return run(ready_design_steps(read_design(folder / "design.stl", SETTINGS), SETTINGS))


@pytest.fixture(scope="module")
def jobs(folder: Path, ready: ReadyDesign) -> list[ScanJob]:
    areas = save_areas(folder / "areas.json", ready.area_set)
    jobs = [
        ScanJob(
            scan=folder / f"{k}.stl",
            key=f"scan{k}",
            rows_key=f"rows{k}",
            design=folder / "design.stl",
            areas_file=areas,
            folder=folder / "k",
            settings=SETTINGS,
        )
        for k in range(3)
    ]
    for job in jobs:
        assert measure_and_keep(job) == job.key
    return jobs


def test_what_is_kept_loses_nothing(jobs: list[ScanJob], ready: ReadyDesign) -> None:
    scan = read_scan(jobs[1].scan, SETTINGS)
    fresh = run(measure_scan_steps(scan, ready, SETTINGS))
    kept = load_scan(Kept(jobs[1].folder), jobs[1].key, ready.evaluation, SETTINGS)
    assert kept is not None
    assert kept.triangles == len(scan.mesh)
    np.testing.assert_array_equal(
        kept.superimposition.T_design_scan, fresh.superimposition.T_design_scan
    )
    for ours, theirs in (
        (kept.design_to_scan, fresh.design_to_scan),
        (kept.scan_to_design, fresh.scan_to_design),
    ):
        np.testing.assert_array_equal(ours.deviation_mm, theirs.deviation_mm)
        np.testing.assert_array_equal(ours.status, theirs.status)
        np.testing.assert_array_equal(ours.area_point, theirs.area_point)
    np.testing.assert_array_equal(kept.design_to_scan.foot_mm, fresh.design_to_scan.foot_mm)
    back, back_fresh = kept.scan_to_design, fresh.scan_to_design
    np.testing.assert_array_equal(back.faces, back_fresh.faces)
    np.testing.assert_array_equal(back.weights_mm2, back_fresh.weights_mm2)
    assert kept.superimposition.reason == fresh.superimposition.reason
    assert kept.superimposition.warnings == fresh.superimposition.warnings
    assert len(kept.superimposition.rivals) == len(fresh.superimposition.rivals)


def test_feet_lie_at_the_deviation(jobs: list[ScanJob], ready: ReadyDesign) -> None:
    kept = load_scan(Kept(jobs[2].folder), jobs[2].key, ready.evaluation, SETTINGS)
    assert kept is not None
    away = np.linalg.norm(kept.design_to_scan.foot_mm - ready.evaluation.points, axis=1)
    counted = kept.design_to_scan.counted
    assert np.isnan(away[~counted]).all()
    np.testing.assert_allclose(
        away[counted], np.abs(kept.design_to_scan.deviation_mm[counted]), atol=1e-12
    )


def test_pairs_agree_with_a_whole_superimposition(jobs: list[ScanJob], ready: ReadyDesign) -> None:
    """Scan on scan by the general way, then each shared point against the other's surface."""
    job = PairJob(jobs[0], (jobs[1].key, jobs[2].key), "")
    assert run(compare_and_keep_steps(job, ready)) == 2
    kept = Kept(jobs[0].folder)
    first, second = (load_scan(kept, jobs[k].key, ready.evaluation, SETTINGS) for k in (0, 2))
    assert first is not None
    assert second is not None
    index = SurfaceIndex(moved_scan(jobs[0], first.superimposition))
    whole = superimpose(moved_scan(jobs[2], second.superimposition), index)
    T = whole.T_design_scan
    points = second.design_to_scan.foot_mm[second.design_to_scan.counted] @ T[:3, :3].T + T[:3, 3]
    weights = ready.evaluation.weights_mm2[second.design_to_scan.counted]
    distance = index.closest(points).distance_mm
    pair = load_pair(kept, job.key(jobs[2].key), "g", "0", "2")
    assert pair is not None
    row = next(row for row in pair.superimposed if row.area == "whole")
    rms_um = 1e3 * np.sqrt(weights @ distance**2 / weights.sum())
    assert row.rms_um == pytest.approx(rms_um, abs=0.2)
    assert row.mean_abs_um == pytest.approx(1e3 * weights @ distance / weights.sum(), abs=0.2)
    assert row.rms_um > 5.0
    assert np.isnan(row.tolerance_um)
    apart = first.design_to_scan.deviation_mm - second.design_to_scan.deviation_mm
    in_frame = next(row for row in pair.design_frame if row.area == "whole")
    assert in_frame.max_um == pytest.approx(1e3 * np.nanmax(apart))


def test_a_crown_paired_with_itself_does_not_differ(
    jobs: list[ScanJob], ready: ReadyDesign
) -> None:
    job = PairJob(jobs[0], (jobs[0].key,), "self")
    run(compare_and_keep_steps(job, ready))
    pair = load_pair(Kept(jobs[0].folder), job.key(jobs[0].key), "g", "0", "0")
    assert pair is not None
    assert max(row.max_um for row in pair.superimposed) < 1e-6
    assert pair.shift_um < 1e-6


def test_a_damaged_entry_counts_as_not_there(tmp_path: Path) -> None:
    kept = Kept(tmp_path / "kept")
    kept.save("a", {"x": float("nan"), "y": 0.1 + 0.2}, {"v": np.arange(3.0)})
    record, arrays = kept.load("a") or ({}, {})
    assert np.isnan(record["x"])
    assert record["y"] == 0.1 + 0.2
    np.testing.assert_array_equal(arrays["v"], [0.0, 1.0, 2.0])
    whole = kept.path("a").read_bytes()
    for length in (0, 1, len(whole) // 2, len(whole) - 1):
        kept.path("a").write_bytes(whole[:length])
        assert kept.load("a") is None
    assert kept.load("b") is None


def test_keys_follow_what_results_depend_on() -> None:
    key = scan_key("a", "d", SETTINGS, "")
    assert key == scan_key("a", "d", replace(SETTINGS, fit_areas=()), "")
    tolerances = SETTINGS.tolerances.changed({"margin": 7.0})
    assert key == scan_key("a", "d", replace(SETTINGS, tolerances=tolerances), "")
    for other in (
        scan_key("b", "d", SETTINGS, ""),
        scan_key("a", "e", SETTINGS, ""),
        scan_key("a", "d", replace(SETTINGS, spacing_mm=0.2), ""),
        scan_key("a", "d", SETTINGS, "occlusal"),
        scan_key(
            "a", "d", replace(SETTINGS, deviation=replace(SETTINGS.deviation, search_mm=0.5)), ""
        ),
    ):
        assert other != key


def test_group_maps_are_numpys(ready: ReadyDesign) -> None:
    rng = np.random.default_rng(5)
    count = len(ready.evaluation.points)
    crowns = rng.normal(0.01, 0.02, size=(6, count))
    crowns[rng.random(crowns.shape) < 0.2] = np.nan
    crowns[:, 0] = np.nan
    crowns[1:, 1] = np.nan
    found = group_map("g", iter(crowns), 25.0, count)
    with np.errstate(invalid="ignore"):
        several = found.counted > 1
        np.testing.assert_array_equal(found.counted, np.isfinite(crowns).sum(axis=0))
        np.testing.assert_allclose(
            found.sd_um[several], 1e3 * np.nanstd(crowns[:, several], axis=0, ddof=1)
        )
        np.testing.assert_allclose(
            found.mean_um[several], 1e3 * np.nanmean(crowns[:, several], axis=0)
        )
        outside = np.abs(crowns) > 0.025
    assert np.isnan(found.mean_um[0])
    assert np.isnan(found.sd_um[1])
    np.testing.assert_allclose(
        found.share_outside[several], outside[:, several].sum(axis=0) / found.counted[several]
    )
    assert np.all(np.abs(found.worst_um[several]) >= np.abs(found.mean_um[several]))


def test_difference_maps_are_scipys_welch(ready: ReadyDesign) -> None:
    """scipy.stats.ttest_ind and false_discovery_control are the references."""
    from scipy import stats

    rng = np.random.default_rng(6)
    count = len(ready.evaluation.points)
    a, b = rng.normal(0, 0.01, (7, count)), rng.normal(0.004, 0.02, (9, count))
    a[:, 0] = b[:, 0] = 0.0
    found = difference_map(group_map("a", a, 25.0, count), group_map("b", b, 25.0, count))
    assert np.isnan(found.p_value[0])
    expected = stats.ttest_ind(a[:, 1:], b[:, 1:], equal_var=False).pvalue
    np.testing.assert_allclose(found.p_value[1:], expected, rtol=1e-9)
    np.testing.assert_allclose(
        found.q_value[1:], stats.false_discovery_control(expected), rtol=1e-9
    )


def test_systematic_and_random_parts_are_recovered(ready: ReadyDesign) -> None:
    """20 crowns of a known shared deviation and known independent noise."""
    rng = np.random.default_rng(7)
    points = ready.evaluation.points
    shared = 0.012 * np.sin(points[:, 0])
    crowns = shared + rng.normal(0, 0.006, (20, len(points)))
    parts = spread_parts(group_map("g", crowns, 25.0, len(points)), ready.area_set)
    whole = next(row for row in parts if row.area == "whole")
    w = ready.evaluation.weights_mm2
    assert whole.random_um == pytest.approx(6.0, rel=0.02)
    assert whole.systematic_um == pytest.approx(1e3 * np.sqrt(w @ shared**2 / w.sum()), rel=0.02)
    assert whole.total_rms_um == pytest.approx(1e3 * np.sqrt(np.mean(crowns**2 @ w) / w.sum()))


def test_distances_from_the_mean_have_the_variance_between_crowns(
    jobs: list[ScanJob], ready: ReadyDesign
) -> None:
    kept = Kept(jobs[0].folder)
    scans = [load_scan(kept, job.key, ready.evaluation, SETTINGS) for job in jobs]
    fields = [scan.design_to_scan for scan in scans if scan is not None]
    group = group_map("g", (f.deviation_mm for f in fields), 25.0, len(ready.evaluation.points))
    rows = [distance_from_mean(f, group, ready.area_set, weighted=True) for f in fields]
    parts = spread_parts(group, ready.area_set)
    whole = next(row for row in parts if row.area == "whole")
    mean_square = np.mean([row[0].rms_um ** 2 for row in rows])
    assert all(row[0].area == "whole" for row in rows)
    assert np.sqrt(mean_square) == pytest.approx(whole.random_um, rel=0.01)
