"""Scans and pairs of a study: kept without loss, and the same as measured one by one."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import trimesh
from cuspwise.standalone_core.areas.area_set import Area
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.checked_mesh import read_design, read_scan
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.deviation.facet_sag import sag_by_area
from cuspwise.standalone_core.deviation.field import DeviationField
from cuspwise.standalone_core.measure import (
    ReadyDesign,
    measure_scan_steps,
    ready_design_steps,
    ready_scan_steps,
)
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.measuring.crowns import crown_from
from cuspwise.standalone_core.study.measuring.group_maps import group_map, spread_parts
from cuspwise.standalone_core.study.measuring.pair_job import (
    PairJob,
    compare_and_keep_steps,
    load_pair,
    pair_key,
)
from cuspwise.standalone_core.study.measuring.repeat_distances import (
    distance_from_others,
    from_others_steps,
)
from cuspwise.standalone_core.study.measuring.result_store import ResultStore
from cuspwise.standalone_core.study.measuring.results import Crown, Pair, RepeatScan
from cuspwise.standalone_core.study.measuring.scan_job import (
    ScanJob,
    StudyDependencies,
    load_carried,
    load_scan,
    load_surface,
    measure_and_keep,
)
from cuspwise.standalone_core.study.measuring.worker_design import keep_areas, load_areas
from cuspwise.standalone_core.superimpose.superimposition import superimpose
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from made.crowns import demo_crown

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
def store(folder: Path) -> ResultStore:
    return ResultStore(folder / "k")


@pytest.fixture(scope="module")
def study(folder: Path, ready: ReadyDesign, store: ResultStore) -> StudyDependencies:
    return StudyDependencies(
        folder=store.folder,
        design=folder / "design.stl",
        design_sha256="d",
        areas=keep_areas(store, ready.area_set),
        fit_areas="",
        settings=SETTINGS,
    )


@pytest.fixture(scope="module")
def jobs(folder: Path, study: StudyDependencies) -> list[ScanJob]:
    jobs = [ScanJob(f"{k}", "g", folder / f"{k}.stl", f"sum {k}", study) for k in range(3)]
    for job in jobs:
        measure_and_keep(job)
    return jobs


def deviations(store: ResultStore, job: ScanJob, ready: ReadyDesign) -> DeviationField:
    carried = load_carried(store, job.key, ready.evaluation, SETTINGS)
    assert carried is not None
    return carried.field


def surface(store: ResultStore, job: ScanJob) -> TriangleMesh:
    found = load_surface(store, job)
    assert found is not None
    return found


def compared(store: ResultStore, first: ScanJob, second: ScanJob, ready: ReadyDesign) -> Pair:
    run(compare_and_keep_steps(PairJob(first, (second.key,)), ready))
    crowns = (SimpleNamespace(name=job.name, group=job.group) for job in (first, second))
    pair = load_pair(store, pair_key(first, second.key), *crowns)
    assert pair is not None
    return pair


def test_what_is_kept_loses_nothing(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    scan = run(ready_scan_steps(read_scan(jobs[1].scan, SETTINGS), SETTINGS))
    fresh = run(measure_scan_steps(scan, ready, SETTINGS))
    kept = load_scan(store, jobs[1], ready)
    assert kept is not None
    for name in ("notes", "double_layers", "is_design", "layers"):
        assert getattr(kept, name) == getattr(fresh, name)
    for ours, theirs in (
        (kept.mesh, fresh.mesh),
        (kept.in_place.mesh, fresh.in_place.mesh),
        (surface(store, jobs[1]), fresh.in_place.design),
    ):
        np.testing.assert_array_equal(ours.vertices, theirs.vertices)
        np.testing.assert_array_equal(ours.faces, theirs.faces)
    np.testing.assert_array_equal(
        kept.superimposition.T_design_scan, fresh.superimposition.T_design_scan
    )
    for ours, theirs in zip(kept.fields, fresh.fields, strict=True):
        for name in ("deviation_mm", "status", "area_point", "points_mm", "weights_mm2", "faces"):
            np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name))
    for name in ("foot_mm", "foot_face"):
        np.testing.assert_array_equal(
            getattr(kept.design_to_scan, name), getattr(fresh.design_to_scan, name)
        )
    np.testing.assert_array_equal(
        kept.scan_to_design.unmatched_mm, fresh.scan_to_design.unmatched_mm
    )
    assert kept.superimposition.reason == fresh.superimposition.reason
    assert kept.superimposition.warnings == fresh.superimposition.warnings
    assert len(kept.superimposition.rivals) == len(fresh.superimposition.rivals)


def test_a_crown_of_a_study_knows_its_facet_sag(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    crown, kept = crown_from(jobs[0], store), load_scan(store, jobs[0], ready)
    assert isinstance(crown, Crown)
    assert kept is not None
    expected = sag_by_area(ready.area_set, kept.design_to_scan, kept.in_place.design)
    assert crown.evidence.facet_sag == expected
    assert sum(text.startswith("Facets: The scan's triangles") for text in crown.warnings) == 1


def test_areas_reach_a_worker_to_the_last_digit(
    ready: ReadyDesign, store: ResultStore, study: StudyDependencies
) -> None:
    """An areas file rounds the margin line to 1e-6 mm."""
    area_set = load_areas(store, study.areas, ready.evaluation)
    ours, theirs = area_set.margin_line, ready.area_set.margin_line
    assert ours is not None
    assert theirs is not None
    np.testing.assert_array_equal(ours.points_mm, theirs.points_mm)
    np.testing.assert_array_equal(area_set.insertion, ready.area_set.insertion)
    assert list(area_set.areas) == list(ready.area_set.areas)
    for name, area in area_set.areas.items():
        np.testing.assert_array_equal(area.points, ready.area_set.areas[name].points)
        assert (area.origin, area.note) == (
            ready.area_set.areas[name].origin,
            ready.area_set.areas[name].note,
        )
    for name in ("missing", "warnings", "settings"):
        assert getattr(area_set, name) == getattr(ready.area_set, name)


def test_a_second_layer_lies_over_the_areas_of_the_study(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    """What is kept of a scan does not depend on the areas, so it may not hold any of them."""
    record, arrays = store.load(jobs[0].key) or ({}, {})
    place = (ready.evaluation.points[7] - record_motion(record)[:3, 3]) @ record_motion(record)[
        :3, :3
    ]
    layer = {"area_mm2": 40.0, "distance_um": 50.0, "most_um": 60.0, "place_mm": place.tolist()}
    job = replace(jobs[0], sha256="with a second layer")
    store.save(job.key, {**record, "double_layers": [layer]}, arrays)
    half = ready.evaluation.points[:, 0] < ready.evaluation.points[7, 0] + 0.5
    other = ready.area_set.replaced([Area("mine", half)])
    found = load_scan(store, job, replace(ready, area_set=other))
    plain = load_scan(store, job, ready)
    assert found is not None
    assert plain is not None
    assert set(found.layers[0].areas) - set(plain.layers[0].areas) == {"mine"}


def record_motion(record: dict[str, Any]) -> np.ndarray:
    return np.array(record["superimposition"]["T_design_scan"])


def test_feet_lie_at_the_deviation(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    field = deviations(store, jobs[2], ready)
    away = np.linalg.norm(field.foot_mm - ready.evaluation.points, axis=1)
    counted = field.counted
    assert np.isnan(away[~counted]).all()
    np.testing.assert_allclose(away[counted], np.abs(field.deviation_mm[counted]), atol=1e-12)


def test_feet_lie_on_the_faces_kept_with_them(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    field, crown = deviations(store, jobs[2], ready), surface(store, jobs[2])
    np.testing.assert_array_equal(field.foot_face >= 0, field.counted)
    faces, feet = field.foot_face[field.counted], field.foot_mm[field.counted]
    nearest = trimesh.triangles.closest_point(crown.triangles[faces], feet)
    np.testing.assert_allclose(nearest, feet, atol=1e-12)


def test_normals_kept_for_pairs_are_those_of_the_feet_joined_as_the_design(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    carried = load_carried(store, jobs[1].key, ready.evaluation, SETTINGS)
    assert carried is not None
    faces = ready.evaluation.mesh.faces
    faces = faces[carried.field.counted[faces].all(axis=1)]
    joined = trimesh.Trimesh(carried.points_mm, faces, process=False)
    used = carried.used
    assert np.count_nonzero(used) > 0.9 * len(used)
    theirs = joined.vertex_normals[used]  # weighted by angle too
    np.testing.assert_allclose(carried.normals[used], theirs, atol=1e-6)


def test_pairs_agree_with_a_whole_superimposition(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    """Scan on scan by the general way, then each shared point against the other's surface."""
    second = deviations(store, jobs[2], ready)
    index = SurfaceIndex(surface(store, jobs[0]))
    T = superimpose(surface(store, jobs[2]), index).T_design_scan
    points = second.foot_mm[second.counted] @ T[:3, :3].T + T[:3, 3]
    weights = ready.evaluation.weights_mm2[second.counted]
    distance = index.closest(points).distance_mm
    pair = compared(store, jobs[0], jobs[2], ready)
    assert (pair.group, pair.first, pair.second) == ("g", "0", "2")
    row = next(row for row in pair.superimposed if row.area == "whole")
    rms_um = 1e3 * np.sqrt(weights @ distance**2 / weights.sum())
    assert row.rms_um == pytest.approx(rms_um, abs=0.2)
    assert row.mean_abs_um == pytest.approx(1e3 * weights @ distance / weights.sum(), abs=0.2)
    assert row.rms_um > 5.0
    assert np.isnan(row.tolerance_um)


def test_a_crown_paired_with_itself_does_not_differ(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    pair = compared(store, jobs[0], jobs[0], ready)
    assert max(row.max_um for row in pair.superimposed) < 1e-6
    assert pair.shift_um < 1e-6


def test_what_is_kept_of_a_crown_is_small(jobs: list[ScanJob], store: ResultStore) -> None:
    """A scan of 290,000 triangles measured at 51,000 points, for which that was 11 MB, takes 7.

    12 bytes per vertex of the scan, and what two triangles pack to; 8 per point of it, and what
    two small numbers pack to; 44 per point of the design, and what two numbers pack to.
    """
    record, arrays = store.load(jobs[0].key) or ({}, {})
    vertices, points = len(arrays["vertices"]), len(arrays["deviation_mm"])
    size = sum(store.path(key).stat().st_size for key in (jobs[0].key, jobs[0].rows_key))
    rest = len(json.dumps(record)) + 10_000  # the rows of all areas, and names
    assert size < 18 * vertices + 10 * len(arrays["back_status"]) + 48 * points + rest
    assert 28 * 145_000 + 48 * 51_000 + rest < 7e6


def test_keys_follow_what_results_depend_on(study: StudyDependencies) -> None:
    def job(study: StudyDependencies, sha256: str = "a", **changes: object) -> ScanJob:
        settings = replace(study.settings, **changes)
        return ScanJob("n", "g", Path("n.stl"), sha256, replace(study, settings=settings))

    one = job(study)
    assert one.key == job(study, fit_areas=()).key
    tolerances = SETTINGS.tolerances.changed({"margin": 7.0})
    judged = job(study, tolerances=tolerances)
    assert one.key == judged.key
    assert one.rows_key != judged.rows_key
    for other in (
        job(study, "b"),
        job(replace(study, design_sha256="e")),
        job(study, spacing_mm=0.2),
        job(replace(study, fit_areas="occlusal")),
        job(study, deviation=replace(SETTINGS.deviation, search_mm=0.5)),
    ):
        assert other.key != one.key
        assert other.rows_key != one.rows_key
    for other in (
        job(replace(study, areas="others")),
        job(study, weighted=False),
        job(study, mark=replace(SETTINGS.mark, limit_um=12.0)),
    ):
        assert other.key == one.key
        assert other.rows_key != one.rows_key
    for other in (job(replace(study, areas="others")), job(study, weighted=False)):
        assert pair_key(other, "second") != pair_key(one, "second")


def test_distances_from_the_others_have_the_variance_between_crowns(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    fields = [deviations(store, job, ready) for job in jobs]
    group = group_map("g", (f.deviation_mm for f in fields), 25.0, len(ready.evaluation.points))
    rows = []
    for k, field in enumerate(fields):
        mean = np.mean([f.deviation_mm for i, f in enumerate(fields) if i != k], axis=0)
        n = len(fields) - 1
        rows.append(distance_from_others(field, mean, n, ready.area_set, weighted=True))
    parts = spread_parts(group, ready.area_set)
    whole = next(row for row in parts if row.area == "whole")
    mean_square = np.mean([row[0].rms_um ** 2 for row in rows])
    assert all(row[0].area == "whole" for row in rows)
    # Of n crowns, the distance from the mean of all is (n − 1)/n of that from the others' mean.
    assert (2 / 3) * np.sqrt(mean_square) == pytest.approx(whole.random_um, rel=0.01)


def test_repeated_scans_are_compared_with_the_other_crowns_of_their_group(
    jobs: list[ScanJob], ready: ReadyDesign, store: ResultStore
) -> None:
    """A scan of crown 0, and one of a crown that is in no group."""
    crowns = {"g": [SimpleNamespace(name=job.name, key=job.key) for job in jobs]}
    repeats = [RepeatScan(name, "A", "1", crowns["g"][0]) for name in ("0", "master")]
    own, other = run(from_others_steps(repeats, crowns, ready, store, SETTINGS))
    first, *rest = (deviations(store, job, ready).deviation_mm for job in jobs)
    apart = 1e3 * (first - np.mean(rest, axis=0)) * (3 / 2) ** 0.5
    here = np.isfinite(apart)
    w = ready.evaluation.weights_mm2[here]
    whole = next(row for row in own.from_others if row.area == "whole")
    assert whole.rms_um == pytest.approx(np.sqrt(w @ apart[here] ** 2 / w.sum()), rel=0.01)
    assert other.from_others == ()
    few = {"g": crowns["g"][:2]}
    assert run(from_others_steps(repeats, few, ready, store, SETTINGS))[0].from_others == ()
