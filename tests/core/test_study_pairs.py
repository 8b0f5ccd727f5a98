"""Pairs of crowns, compared over known faces, against the same with every point searched for."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from cuspwise.standalone_core.check_settings import CheckSettings
from cuspwise.standalone_core.checked_mesh import checked_surface
from cuspwise.standalone_core.demo.study_scenario import study_case
from cuspwise.standalone_core.deviation.measures import measure_areas
from cuspwise.standalone_core.measure import (
    MeasuredScan,
    measure_scan_steps,
    ready_design_steps,
    ready_scan_steps,
)
from cuspwise.standalone_core.progress import run
from cuspwise.standalone_core.study.measuring.pair_job import known_faces, superimposed
from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
from cuspwise.standalone_core.surface.closest import SurfaceIndex
from cuspwise.standalone_core.surface.known import KnownFaces

EDGE_MM = 0.15
CROWNS = 3
NEAR_UM = 0.02
MEASURES = ("mean_um", "mean_abs_um", "rms_um", "half_p90_p10_um")


@pytest.mark.slow
@pytest.mark.parametrize("group", ["milled", "upright", "tilted"])
def test_measures_of_pairs_are_those_of_a_full_search(group: str) -> None:
    settings = CheckSettings(spacing_mm=EDGE_MM)
    case = study_case(EDGE_MM)
    ready = run(ready_design_steps(checked_surface(case.design.mesh), settings))

    def measured(scan: object) -> MeasuredScan:
        surface = checked_surface(case.produced(scan).mesh)
        return run(measure_scan_steps(run(ready_scan_steps(surface, settings)), ready, settings))

    crowns = [measured(scan) for scan in case.scans if scan.group == group][:CROWNS]
    targets = {id(crown): PreparedDesign(SurfaceIndex(crown.in_place.design)) for crown in crowns}
    off_um = []
    for first, second in combinations(crowns, 2):
        target = targets[id(first)]
        known = known_faces(first.design_to_scan, target, settings)
        assert np.count_nonzero(known.face >= 0) > 0.99 * len(known.face)
        nothing = KnownFaces(target.index, np.full_like(known.face, -1), known.max_distance_mm)
        rows = []
        for faces in (known, nothing):
            field, _ = superimposed(second.design_to_scan, target, faces, ready.area_set, settings)
            rows.append(measure_areas([field], ready.area_set))
        off_um += [
            abs(getattr(ours, name) - getattr(full, name))
            for ours, full in zip(*rows, strict=True)
            for name in MEASURES
        ]
    assert np.nanmax(off_um) < NEAR_UM
