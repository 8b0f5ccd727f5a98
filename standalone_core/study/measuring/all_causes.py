"""The causes of all crowns of a study, and what the crowns of each group share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np

from ...arrays import FloatArray
from ...causes.design_fields import CauseFields
from ...causes.find import without_scanner
from ...deviation.facet_sag import facet_sag_mm
from ...measure import ReadyDesign
from ...progress import Steps
from ..plan import StudyPlan
from .cause_predictions import PredictedVerdict, predicted_verdicts
from .common_causes import common_sizes
from .crown_causes import (
    CausesJob,
    causes_job,
    find_and_keep,
    find_and_keep_steps,
    load_causes,
    searched_productions,
)
from .handing_out import handed_out
from .kept_fields import kept_fields_steps
from .pace import CAUSES, Pace
from .result_store import ResultStore, still_kept
from .results import Crown, CrownCauses, RepeatScan
from .scan_job import ScanJob, load_deviations, load_surface
from .shared_causes import (
    LEAST_CROWNS,
    GroupCauses,
    StudyCauses,
    crowns_sizes,
    parts_of_group,
    shared_case,
)


@dataclass(frozen=True, eq=False)
class Explained:
    """What came of looking for causes.

    Attributes
    ----------
    groups : mapping of str to sequence of Crown
        Each group's crowns with their causes.
    causes : StudyCauses or None
        None where they were not asked for.
    reused : int
        Crowns whose causes were kept already.
    """

    groups: Mapping[str, Sequence[Crown]]
    causes: StudyCauses | None = None
    reused: int = 0


def explain_study_steps(
    plan: StudyPlan,
    groups: Mapping[str, Sequence[Crown]],
    repeats: Sequence[RepeatScan],
    jobs: Mapping[str, ScanJob],
    store: ResultStore,
    ready: ReadyDesign,
    executor: Executor | None,
    pace: Pace,
) -> Steps[Explained]:
    """Find the causes of every crown, and what the crowns of each group share."""
    if not plan.check.causes.find_causes:
        return Explained(groups)
    searched = searched_productions(plan, ready)
    yield pace.waiting("Making the design ready for causes", 0.0)
    areas = next(iter(jobs.values())).study.areas
    steps = kept_fields_steps(store, areas, ready, plan.check.causes, searched)
    fields = yield from _within(pace, steps)
    repeatability = _repeatability_um(plan, repeats, store, ready, fields)
    wanted = {
        crown.name: causes_job(plan, jobs[crown.name], crown, searched, repeatability)
        for crowns in groups.values()
        for crown in crowns
    }
    todo = [job for job in wanted.values() if load_causes(store, job) is None]
    yield from _find_steps(todo, ready, fields, executor, pace)
    explained = {
        name: [replace(crown, causes=_kept(store, wanted[crown.name])) for crown in crowns]
        for name, crowns in groups.items()
    }
    least = max(plan.check.causes.least_um, np.nan_to_num(repeatability))
    found: dict[str, GroupCauses] = {}
    for name, crowns in explained.items():
        if crowns:
            yield pace.waiting(f"Causes: what the crowns of {name} share", 0.0)
            found[name] = _shared(plan, name, crowns, jobs, store, ready, fields, float(least))
    cells = {
        name: np.stack([_cells(crown) for crown in explained[name] if crown.name in one.crowns])
        for name, one in found.items()
        if one.case is not None
    }
    common = common_sizes([found[name] for name in cells], cells)
    causes = StudyCauses(found, common, repeatability, float(least))
    return Explained(explained, causes, len(wanted) - len(todo))


def _within(pace: Pace, steps: Steps[CauseFields]) -> Steps[CauseFields]:
    """Pass on steps that no job counts."""
    while True:
        try:
            progress = next(steps)
        except StopIteration as end:
            result: CauseFields = end.value
            return result
        yield pace.waiting(progress.label, 0.0)


def _find_steps(
    todo: Sequence[CausesJob],
    ready: ReadyDesign,
    fields: CauseFields,
    executor: Executor | None,
    pace: Pace,
) -> Steps[None]:
    """Find and keep the causes of single crowns."""
    if executor is None:
        for number, job in enumerate(todo, start=1):
            label = f"Causes of crown {number} of {len(todo)}, {job.scan.name}"
            yield from pace.inside_steps(find_and_keep_steps(job, ready, fields), label, CAUSES)
        return
    done = 0
    for ended in handed_out(executor, find_and_keep, todo):
        if ended is not None:
            if ended[1] is not None:
                raise ended[1]
            done += 1
            pace.ended(CAUSES)
        yield pace.waiting(f"Causes: {done} of {len(todo)} crowns", CAUSES)


def _repeatability_um(
    plan: StudyPlan,
    repeats: Sequence[RepeatScan],
    store: ResultStore,
    ready: ReadyDesign,
    fields: CauseFields,
) -> float:
    """Return the scanner's repeatability over the surface; NaN without enough repeated scans."""
    cells: dict[str, list[FloatArray]] = {}
    for repeat in repeats:
        if repeat.scan.superimposition.verdict == "good":
            field = still_kept(
                load_deviations(store, repeat.scan.key, ready.evaluation, plan.check)
            )
            cells.setdefault(repeat.crown, []).append(fields.measured_means(field.deviation_mm))
    if not cells:
        return float("nan")
    from .scanner_uncertainty import repeatability_um  # its neighbour loads scipy.stats

    return repeatability_um(cells, fields.cell_mm2)


def _shared(
    plan: StudyPlan,
    group: str,
    crowns: Sequence[Crown],
    jobs: Mapping[str, ScanJob],
    store: ResultStore,
    ready: ReadyDesign,
    fields: CauseFields,
    least_um: float,
) -> GroupCauses:
    """Find what a group's crowns share, and predict what would remain without it."""
    left_out = {c.name: c.causes.why_not for c in crowns if c.causes and c.causes.why_not}
    used = [crown for crown in crowns if crown.name not in left_out]
    names = tuple(crown.name for crown in used)
    if len(used) < LEAST_CROWNS:
        reason = f"what crowns share needs at least {LEAST_CROWNS} of them, there are {len(used)}"
        return GroupCauses(group, names, left_out, reason=reason)
    cells = np.stack([_cells(crown) for crown in used])
    mean_mm, edge_mm = _mean_deviation(plan, used, jobs, store, ready, fields)
    facts = plan.group(group).production
    case = shared_case(fields, cells, mean_mm, facts, least_um, edge_mm)
    if case is None:
        return GroupCauses(group, names, left_out, reason="too little of the surface was measured")
    predicted: list[PredictedVerdict] = []
    for crown in used:
        field = still_kept(load_deviations(store, crown.key, ready.evaluation, plan.check))
        predicted += predicted_verdicts(case, crown, field.deviation_mm, plan.check)
    return GroupCauses(
        group=group,
        crowns=names,
        left_out=left_out,
        case=case,
        sizes=crowns_sizes(case.found, cells),
        parts=parts_of_group(case, cells),
        predicted=tuple(predicted),
    )


def _mean_deviation(
    plan: StudyPlan,
    crowns: Sequence[Crown],
    jobs: Mapping[str, ScanJob],
    store: ResultStore,
    ready: ReadyDesign,
    fields: CauseFields,
) -> tuple[FloatArray, float]:
    """Return the mean deviation at the design's points, mm, and the scans' mean edge, mm."""
    evaluation = ready.evaluation
    total, count, edges = np.zeros(len(evaluation.points)), np.zeros(len(evaluation.points)), []
    for crown in crowns:
        field = still_kept(load_deviations(store, crown.key, evaluation, plan.check))
        scan = load_surface(store, jobs[crown.name])
        deviation = without_scanner(fields, field.deviation_mm)
        if scan is not None:
            deviation = deviation + facet_sag_mm(evaluation.curvature, evaluation.points, scan)
            edges.append(scan.mean_edge_mm)
        there = np.isfinite(deviation)
        total += np.where(there, deviation, 0.0)
        count += there
    mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return mean, float(np.mean(edges)) if edges else float("nan")


def _cells(crown: Crown) -> FloatArray:
    assert crown.causes is not None
    return crown.causes.cells


def _kept(store: ResultStore, job: CausesJob) -> CrownCauses:
    """Return causes that were kept a moment ago."""
    found = load_causes(store, job)
    if found is None:
        still_kept(None)
    assert found is not None
    return found
