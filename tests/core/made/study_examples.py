"""A small study made up for the tests of its report: known numbers, no run.

A real design (the demo crown, coarse) carries made-up deviations, so that maps can be drawn; no
scan is made or measured.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from cuspwise.standalone_core.areas.area_set import Area, AreaSet
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.checked_mesh import CheckedMesh
from cuspwise.standalone_core.demo.crown import DIRECTIONS, demo_crown
from cuspwise.standalone_core.deviation.field import DeviationField
from cuspwise.standalone_core.deviation.measures import measure_areas
from cuspwise.standalone_core.deviation.verdict import judge, with_verdicts
from cuspwise.standalone_core.mesh.refine import evaluation_mesh
from cuspwise.standalone_core.mesh.repair import repair_mesh
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.results.analysis import StudyAnalysis
from cuspwise.standalone_core.study.file.examiner_scores import CrownScore, ExaminerScores
from cuspwise.standalone_core.study.measuring.results import (
    Crown,
    DifferenceMap,
    GroupMap,
    LeftOut,
    Pair,
    RepeatScan,
    SpreadParts,
    StudyRun,
)
from cuspwise.standalone_core.study.plan import AnalysisPlan, GroupPlan, StudyPlan
from cuspwise.standalone_core.superimpose.result import Superimposition
from cuspwise.standalone_core.superimpose.settings import SuperimposeSettings
from scipy import stats

NAN = float("nan")
AREAS = ("whole", "external", "intaglio", "occlusal", "margin")
FACTS = {
    "milled": {"machine": "an invented five-axis mill", "material": "zirconia <A&B>"},
    "upright": {"machine": "an invented printer", "orientation": "upright"},
    "tilted": {"machine": "an invented printer", "orientation": "tilted by 45°"},
}
TITLES = {"milled": "Milled", "upright": "Printed upright", "tilted": "Printed tilted"}
ODD = "tilted/tilted_04"


@cache
def design_set(edge_mm: float = 0.45) -> AreaSet:
    crown = demo_crown(edge_mm)
    evaluation = evaluation_mesh(crown.mesh, 5.0)  # its points are the mesh's own
    inside = crown.vertex_areas
    areas = {
        name: Area(name, inside[name] if name != "whole" else np.ones(len(evaluation.points), bool))
        for name in AREAS
    }
    return AreaSet(
        evaluation,
        areas,
        insertion=DIRECTIONS.insertion,
        missing={"fossae": "They were not asked for."},
        settings=replace(AreaSet(evaluation, areas).settings, mesial_direction=(1.0, 0.0, 0.0)),
    )


def pose() -> Superimposition:
    return Superimposition(
        T_design_scan=np.eye(4),
        rms_mm=0.012,
        mean_abs_mm=0.010,
        iterations=5,
        converged=True,
        remaining_mm=1e-6,
        share_used=0.95,
        points_used=1000,
        start="auto",
        weak_directions=(),
        rivals=(),
        verdict="good",
        reason="",
        warnings=(),
        settings=SuperimposeSettings(),
    )


def field_of(area_set: AreaSet, deviation_mm: np.ndarray, direction: str) -> DeviationField:
    status = np.where(np.isnan(deviation_mm), 1, 0).astype(np.uint8)
    evaluation = area_set.evaluation
    return DeviationField(
        direction,  # type: ignore[arg-type]
        evaluation.points,
        deviation_mm,
        status,
        evaluation.weights_mm2,
        np.arange(len(deviation_mm)),
    )


def shape_of(group: str, points: np.ndarray) -> np.ndarray:
    """Return what all crowns of a group share, mm."""
    x, y, z = points.T
    common = {
        "milled": 0.008 * np.sin(x) + 0.004,
        "upright": 0.015 * np.cos(1.5 * y) - 0.008,
        "tilted": 0.022 * np.sin(1.2 * x + 0.4 * z) + 0.012 * np.cos(y),
    }
    return common[group]


def made_deviations(area_set: AreaSet, group: str, n: int, seed: int) -> list[np.ndarray]:
    points = area_set.evaluation.points
    rng = np.random.default_rng([seed, len(group), n])
    made = []
    for k in range(n):
        wave = rng.normal(0, 0.006, 3)
        own = wave[0] * np.sin(points[:, 0]) + wave[1] * np.cos(points[:, 1]) + wave[2]
        deviation = shape_of(group, points) + own + rng.normal(0, 0.002, len(points))
        if f"{group}/{group}_{k + 1:02d}" == ODD:
            deviation = deviation + 0.12
        deviation[points[:, 2] < points[:, 2].min() + 0.02] = np.nan
        made.append(deviation)
    return made


def make_crown(area_set: AreaSet, name: str, group: str, deviation: np.ndarray) -> Crown:
    settings = CheckSettings(spacing_mm=0.45)
    fields = [field_of(area_set, deviation, way) for way in ("design_to_scan", "scan_to_design")]
    measures = measure_areas(fields, area_set, settings.tolerances.tolerances_um)
    verdicts = judge(measures, pose(), settings.tolerances)
    return Crown(
        name=name,
        group=group,
        path=Path(f"{name}.stl"),
        sha256=("0" * 60 + name[-4:].rjust(4, "0")),
        triangles=9876,
        superimposition=pose(),
        measures=with_verdicts(measures, verdicts),
        verdicts=verdicts,
        warnings=("Scan: 2 holes.",) if name == "milled/milled_02" else (),
        key=f"scan-{name}",
    )


def group_map(area_set: AreaSet, group: str, d: np.ndarray) -> GroupMap:
    counted = np.isfinite(d).sum(axis=0)
    with np.errstate(all="ignore"):
        mean = np.where(counted > 0, 1e3 * np.nansum(d, axis=0) / np.maximum(counted, 1), NAN)
        spread = 1e6 * np.nansum((d - mean / 1e3) ** 2, axis=0) / np.maximum(counted - 1, 1)
    worst = np.take_along_axis(d, np.nan_to_num(np.abs(d)).argmax(axis=0)[None], axis=0)[0]
    outside = (np.nan_to_num(np.abs(d)) > 0.025).sum(axis=0) / np.maximum(counted, 1)
    return GroupMap(
        group=group,
        n=len(d),
        counted=counted,
        mean_um=mean,
        sd_um=np.where(counted > 1, np.sqrt(spread), NAN),
        worst_um=1e3 * worst,
        share_outside=np.where(counted > 0, outside, NAN),
    )


def difference_map(first: str, second: str, one: np.ndarray, two: np.ndarray) -> DifferenceMap:
    testable = np.isfinite(one).all(axis=0) & np.isfinite(two).all(axis=0)
    p, q, difference = (np.full(len(testable), NAN) for _ in range(3))
    p[testable] = stats.ttest_ind(two[:, testable], one[:, testable], equal_var=False).pvalue
    q[testable] = stats.false_discovery_control(p[testable])
    difference[testable] = 1e3 * (two.mean(axis=0) - one.mean(axis=0))[testable]
    return DifferenceMap(first, second, difference, p, q)


def make_run(
    groups: tuple[str, ...] = ("milled", "upright", "tilted"),
    n: int = 5,
    *,
    seed: int = 1,
    equivalence_um: float | None = 10.0,
    left_out: bool = True,
    repeats: bool = True,
    title: str = "Three ways of making a crown",
) -> StudyRun:
    area_set = design_set()
    made = {group: made_deviations(area_set, group, n, seed) for group in groups}
    plans = tuple(
        GroupPlan(
            g,
            TITLES[g],
            tuple(
                Path(f"{g}/{g}_{k + 1:02d}.stl") for k in range(n + (left_out and g == "upright"))
            ),
            FACTS[g],
        )
        for g in groups
    )
    plan = StudyPlan(
        path=Path("study.toml"),
        title=title,
        question="Which way is true and precise enough?",
        design=Path("design.stl"),
        groups=plans,
        check=CheckSettings(spacing_mm=0.45),
        areas=AREAS,
        analysis=AnalysisPlan(
            equivalence_um={} if equivalence_um is None else {"default": equivalence_um},
            resamples=200,
        ),
    )
    crowns, pairs, parts = [], [], []
    weights = area_set.evaluation.weights_mm2
    for group in groups:
        stack = np.array(made[group])
        names = [f"{group}/{group}_{k + 1:02d}" for k in range(n)]
        crowns += [
            make_crown(area_set, *row) for row in zip(names, [group] * n, stack, strict=True)
        ]
        for (i, a), (j, b) in itertools.combinations(enumerate(names), 2):
            rows = measure_areas(
                [field_of(area_set, stack[j] - stack[i], "design_to_scan")], area_set
            )
            pairs.append(Pair(group, a, b, rows, 1.5, 0.02))
        if n < 2:
            continue
        mean = stack.mean(axis=0)  # all crowns of a group miss the same points
        for area in AREAS:
            inside = area_set[area].points & np.isfinite(mean)
            w, d = weights[inside] / weights[inside].sum(), 1e3 * stack[:, inside]
            random2 = float(w @ d.var(axis=0, ddof=1))
            shared2 = float(w @ (d.mean(axis=0) ** 2)) - random2 / n
            parts.append(
                SpreadParts(
                    group,
                    area,
                    n,
                    float(np.sqrt(w @ (d**2).mean(axis=0))),
                    float(np.sqrt(max(0.0, shared2))),
                    float(np.sqrt(random2)),
                )
            )
    differences = tuple(
        difference_map(a, b, np.array(made[a]), np.array(made[b]))
        for a, b in itertools.combinations(groups, 2)
        if n > 1
    )
    scans = tuple(
        RepeatScan(
            "master",
            operator,
            str(trial),
            make_crown(
                area_set, f"repeats/{operator}{trial}", "repeats", made[groups[0]][0] + 1e-4 * trial
            ),
        )
        for operator in ("A", "B")
        for trial in (1, 2)
    )
    bad = LeftOut(
        f"upright/upright_{n + 1:02d}",
        "upright",
        Path(f"upright/upright_{n + 1:02d}.stl"),
        "It holds no triangles.",
        "Export it again.",
    )
    mesh = area_set.evaluation.design
    return StudyRun(
        plan=plan,
        design=CheckedMesh(mesh, repair_mesh(mesh)),
        area_set=area_set,
        crowns=tuple(crowns),
        left_out=(bad,) if left_out and "upright" in groups else (),
        pairs=tuple(pairs),
        maps={g: group_map(area_set, g, np.array(made[g])) for g in groups},
        differences=differences,
        parts=tuple(parts),
        repeats=scans if repeats else (),
        warnings=("Areas: the fossae were not asked for.",),
        versions={"cuspwise": "0.1.0", "numpy": "1", "scipy": "1"},
        reused=0,
        seconds={"measure": 1.25},
    )


def make_scores(run: StudyRun) -> ExaminerScores:
    """Two examiners; worse where the margin is off more; one score is missing."""
    rng = np.random.default_rng(5)
    rows = []
    for crown in run.crowns:
        first = np.clip((crown.measures_of("margin").mean_abs_um - 8.0) // 8.0, 0, 2)
        for examiner in ("A", "B"):
            other = int(np.clip(first + (examiner == "B" and rng.random() < 0.3), 0, 2))
            gap = None if (crown.name, examiner) == (run.crowns[0].name, "B") else other
            values = {"gap": gap, "contact": int(rng.integers(0, 2))}
            rows.append(CrownScore(crown.path, crown.name, crown.group, examiner, values))
    return ExaminerScores(
        Path("examiners.csv"), ("gap", "contact"), ("A", "B"), tuple(rows), run.plan.scores
    )


def make_analysis(run: StudyRun, *, scores: bool = True) -> StudyAnalysis:
    return analyse_study(replace(run, scores=make_scores(run)) if scores else run)
