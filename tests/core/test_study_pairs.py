"""Pairs of crowns, compared over known faces, against a full search to the optimum itself."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise, Wave
from cuspwise.standalone_core.demo.study_scenario import study_case
from cuspwise.standalone_core.deviation.measures import measure_areas
from cuspwise.standalone_core.measure import (
    ReadyDesign,
    measure_scan_steps,
    ready_design_steps,
    ready_scan_steps,
)
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.measuring.carried import CarriedCrown, carried_surface
from cuspwise.standalone_core.study.measuring.pair_job import known_faces, superimposed
from made.crowns import demo_crown
from oracle.full_pairs import compared_in_full

NEAR_UM = 0.02
MEASURES = ("mean_um", "mean_abs_um", "rms_um", "half_p90_p10_um")


def measured(
    scan: TriangleMesh, ready: ReadyDesign, settings: CheckSettings
) -> tuple[CarriedCrown, TriangleMesh]:
    """A crown's points nearest to the design's, and its surface where it was laid."""
    scanned = run(ready_scan_steps(checked_surface(scan), settings))
    found = run(measure_scan_steps(scanned, ready, settings))
    field = found.design_to_scan
    normals = carried_surface(field, ready.evaluation).vertex_normals
    return CarriedCrown(field, normals), found.in_place.design


def off_um(scans: list[TriangleMesh], ready: ReadyDesign, settings: CheckSettings) -> np.ndarray:
    """How far the measures of all pairs are from those of a full search, (pairs,)."""
    crowns = [measured(scan, ready, settings) for scan in scans]
    known = [known_faces(crown, surface, settings) for crown, surface in crowns]
    assert all(np.mean(one.face >= 0) > 0.99 for one in known)
    off = []
    for (first, _), (_, (second, _)) in combinations(zip(known, crowns, strict=True), 2):
        field, _ = superimposed(second, first, ready.area_set, settings)
        full = compared_in_full(second, first.index, ready.area_set, settings)
        rows = zip(*(measure_areas([one], ready.area_set) for one in (field, full)), strict=True)
        gaps = [abs(getattr(a, name) - getattr(b, name)) for a, b in rows for name in MEASURES]
        off.append(np.nanmax(gaps))
    print(f"{len(off)} pairs, off by {np.max(off):.4f} µm at most")
    return np.array(off)


@pytest.mark.slow
@pytest.mark.timeout(1200)  # 28 pairs, each by a full search too
@pytest.mark.parametrize("group", ["milled", "upright", "tilted"])
def test_all_pairs_of_the_demo_are_those_of_a_full_search(group: str) -> None:
    settings, case = CheckSettings(spacing_mm=0.2), study_case(0.2)
    ready = run(ready_design_steps(checked_surface(case.design.mesh), settings))
    scans = [case.produced(scan).mesh for scan in case.scans if scan.group == group]
    found = off_um(scans, ready, settings)
    assert len(found) == len(scans) * (len(scans) - 1) // 2
    assert found.max() < NEAR_UM


@pytest.mark.parametrize("count", [3])
def test_pairs_of_unlike_crowns_are_those_of_a_full_search(count: int) -> None:
    """Pairs tens of µm apart in places, of meshes that share no triangle."""
    design = demo_crown(0.3)
    settings = CheckSettings(spacing_mm=0.3)
    ready = run(ready_design_steps(checked_surface(design.mesh), settings))
    scans = []
    for k in range(count):
        rng = np.random.default_rng(k)
        waves = [
            Wave(tuple(rng.normal(size=3)), 5.0 + k, 4.0 + 0.5 * k, 90.0 * k) for _ in range(2)
        ]
        errors = ProductionErrors(
            waves=tuple(waves), noise=ScannerNoise(3.0), offset_um=rng.uniform(-20, 20)
        )
        scans.append(produce(design, errors, edge_mm=0.3 + 0.01 * k, rng=rng).mesh)
    found = off_um(scans, ready, settings)
    assert len(found) == count * (count - 1) // 2
    assert found.max() < NEAR_UM
