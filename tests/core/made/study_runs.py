"""Studies made up of given numbers, without any mesh being measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.checked_mesh import CheckedMesh
from cuspwise.standalone_core.deviation.measures import AreaMeasures
from cuspwise.standalone_core.deviation.tolerances import Tolerances
from cuspwise.standalone_core.deviation.verdict import judge, with_verdicts
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.mesh.triangle_mesh import TriangleMesh
from cuspwise.standalone_core.study.measuring.results import (
    Crown,
    DifferenceMap,
    Pair,
    RepeatScan,
    StudyRun,
)
from cuspwise.standalone_core.study.plan import AnalysisPlan, GroupPlan, StudyPlan
from cuspwise.standalone_core.superimpose.result import Superimposition
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings

Values = Mapping[str, Sequence[float]]
"""One number per crown and area: the mean absolute deviation, µm."""

AREAS = ("whole", "margin")


def row(area: str, mean_abs_um: float, **others: float) -> AreaMeasures:
    """A row of measures; those not given follow from the mean absolute deviation."""
    numbers = {
        "rms_um": 1.25 * mean_abs_um,
        "half_p90_p10_um": 1.6 * mean_abs_um + 0.5,
        "mean_um": 0.2 * mean_abs_um,
        **others,
    }
    names = [
        "sd_um",
        "median_um",
        "p10_um",
        "p90_um",
        "mean_positive_um",
        "mean_negative_um",
        "min_um",
        "max_um",
        "hausdorff_um",
        "hausdorff_both_um",
        "within_mm2",
        "above_mm2",
        "below_mm2",
    ]
    filled = {name: numbers.pop(name, mean_abs_um) for name in names}
    return AreaMeasures(
        area=area,
        direction="design_to_scan",
        n=0 if np.isnan(mean_abs_um) else 100,
        area_mm2=50.0,
        coverage=numbers.pop("coverage", 1.0),
        mean_abs_um=mean_abs_um,
        within_tolerance=numbers.pop("within_tolerance", 0.9),
        tolerance_um=np.nan,
        verdict="",
        percentiles="area-weighted Hazen",
        weighted=True,
        reason="Nothing counts." if np.isnan(mean_abs_um) else "",
        **filled,
        **numbers,
    )


def pose(verdict: str = "good") -> Superimposition:
    return Superimposition(
        T_design_scan=np.eye(4),
        rms_mm=0.01,
        mean_abs_mm=0.008,
        iterations=9,
        converged=True,
        remaining_mm=0.0,
        share_used=1.0,
        points_used=100,
        start="auto",
        weak_directions=(),
        rivals=(),
        verdict=verdict,
        reason="",
        warnings=(),
        settings=SuperimposeSettings(),
    )


def crown(group: str, name: str, rows: Sequence[AreaMeasures], tolerances: Tolerances) -> Crown:
    superimposition = pose()
    verdicts = judge(rows, superimposition, tolerances)
    return Crown(
        name=name,
        group=group,
        path=Path(f"{name}.stl"),
        sha256="0" * 64,
        triangles=1000,
        superimposition=superimposition,
        measures=with_verdicts(rows, verdicts),
        verdicts=verdicts,
        warnings=(),
        key=name,
    )


def area_set(areas: Sequence[str] = AREAS) -> AreaSet:
    """A square of four points with the given areas; all but the whole hold half of them."""
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    mesh = TriangleMesh(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    evaluation = evaluation_mesh(mesh, 2.0)
    half = np.array([True, True, False, False])
    points = {name: np.ones(4, dtype=bool) if name == "whole" else half for name in areas}
    return AreaSet(evaluation, {name: Area(name, points[name]) for name in areas})


def study(
    groups: Mapping[str, Values],
    *,
    analysis: AnalysisPlan | None = None,
    tolerances: Tolerances | None = None,
    measures: Sequence[str] = ("mean_abs_um", "rms_um"),
    spread: float = 1.0,
) -> StudyRun:
    """A run whose crowns have the given mean absolute deviations per area.

    Pairs follow from the same numbers: those of a pair from the difference of its crowns.
    """
    areas = tuple(dict.fromkeys(area for values in groups.values() for area in values))
    limits = tolerances or Tolerances()
    plan = StudyPlan(
        path=None,
        title="A study",
        question="Which is truer?",
        design=Path("design.stl"),
        groups=tuple(_group(name, values) for name, values in groups.items()),
        check=CheckSettings(tolerances=limits),
        measures=tuple(measures),
        analysis=analysis or AnalysisPlan(resamples=999),
    )
    found = area_set(areas)
    crowns = [one for name, values in groups.items() for one in _crowns(name, values, limits)]
    mesh = found.evaluation.design
    return StudyRun(
        plan=plan,
        design=CheckedMesh(mesh, repair_mesh(mesh)),
        area_set=found,
        crowns=tuple(crowns),
        left_out=(),
        pairs=tuple(p for name in groups for p in _pairs(name, crowns, spread)),
        maps={},
        differences=(),
        parts=(),
        repeats=(),
        warnings=(),
        versions={},
        reused=0,
        seconds={},
    )


def with_difference_map(run: StudyRun, first: str, second: str, q: Sequence[float]) -> StudyRun:
    apart = np.array([2.0, 4.0, -6.0, 8.0])
    found = DifferenceMap(first, second, apart, np.array(q), np.array(q))
    return replace(run, differences=(*run.differences, found))


def with_repeats(
    run: StudyRun, table: np.ndarray, area: str = "margin", apart: np.ndarray | None = None
) -> StudyRun:
    """Add repeated scans: (crowns, operators, trials) mean absolute deviations, µm.

    With ``apart`` of the same shape, they lie so far from the others of a group.
    """
    rows = []
    for part, operator, trial in np.ndindex(table.shape):
        measured = [row(area, float(table[part, operator, trial]))]
        scan = crown("repeats", f"r{part}{operator}{trial}", measured, Tolerances())
        found = RepeatScan(f"crown {part}", f"operator {operator}", str(trial), scan)
        if apart is not None:
            others = row(area, float(apart[part, operator, trial]))
            found = replace(found, from_others=(others,))
        rows.append(found)
    return replace(run, repeats=tuple(rows))


def _group(name: str, values: Values) -> GroupPlan:
    count = len(next(iter(values.values())))
    scans = tuple(Path(f"{name}_{i}.stl") for i in range(count))
    return GroupPlan(name=name, title=name.capitalize(), scans=scans)


def _crowns(name: str, values: Values, limits: Tolerances) -> list[Crown]:
    count = len(next(iter(values.values())))
    return [
        crown(name, f"{name}_{i}", [row(area, x[i]) for area, x in values.items()], limits)
        for i in range(count)
    ]


def _pairs(group: str, crowns: Sequence[Crown], spread: float) -> list[Pair]:
    own = [c for c in crowns if c.group == group]
    return [
        Pair(
            group=group,
            first=a.name,
            second=b.name,
            superimposed=_apart(a, b, spread),
            shift_um=1.0,
            turn_deg=0.01,
        )
        for a, b in combinations(own, 2)
    ]


def _apart(a: Crown, b: Crown, spread: float) -> tuple[AreaMeasures, ...]:
    return tuple(
        row(x.area, spread * abs(x.mean_abs_um - y.mean_abs_um))
        for x, y in zip(a.measures, b.measures, strict=True)
    )
