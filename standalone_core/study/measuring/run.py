"""Measure a whole study: every crown, every pair, every group; resumable at any moment."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, as_completed
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from ...areas.area_set import AreaSet
from ...areas.files import areas_document
from ...areas.support_marks import SUPPORTS
from ...atomic import atomic_write
from ...check import marks_of, versions_used
from ...check_settings import faces_to_fit, refuse_unknown_areas
from ...errors import CuspwiseError, FileError, StudyError
from ...measure import ReadyDesign, read_design, ready_design_steps
from ...progress import Progress, Steps, run, scaled
from ...stopwatch import Stopwatch
from ..file.inputs import StudyInputs
from ..plan import StudyPlan
from .crowns import Entry, Place, crown_from, judged, missing
from .group_maps import difference_map, distance_from_mean, group_map, pairs_of, spread_parts
from .pair_job import PairJob, compare_and_keep, compare_and_keep_steps, load_pair
from .result_store import Kept, file_checksum
from .results import Crown, Dispersion, GroupMap, LeftOut, Pair, RepeatScan, StudyRun
from .scan_job import areas_of, load_scan, measure_and_keep, measure_and_keep_steps

KEPT = "kept"
"""Folder of kept results inside a study's folder of results."""

REPEATS = "repeats"
"""What stands for the group of repeated scans."""

_TOLD = 3  # scans whose reasons are given if none can be used

J = TypeVar("J")


def run_study(
    study: StudyInputs | StudyPlan, out: str | Path, *, executor: Executor | None = None
) -> StudyRun:
    """Measure every crown of a study against the design, and every pair of a group.

    Every result is kept in ``out/kept`` as soon as it is there, under a checksum of all that it
    depends on: a second run does only what changed, and one that was stopped goes on. Results do
    not depend on the executor. A scan that cannot be used is left out with its reason.

    Parameters
    ----------
    study : StudyInputs or StudyPlan
        As :func:`~cuspwise.read_study` returns it; a plan made in memory has neither scores nor
        repeated scans.
    out : str or pathlib.Path
        Folder of the results; made if it is not there.
    executor : concurrent.futures.Executor, optional
        Who measures, such as a ``ProcessPoolExecutor``; this process alone by default. Its workers
        must see the files under the same paths.

    Returns
    -------
    StudyRun
        Deviations in µm; maps have one value per evaluation point of the design, (p,).

    Raises
    ------
    CuspwiseError
        The design, its areas or none of the scans can be used, the results cannot be kept, or a
        worker died.

    Examples
    --------
    >>> import cuspwise
    >>> study = cuspwise.read_study(cuspwise.demo_study("trial"))
    >>> run = cuspwise.run_study(study, "trial/results")
    >>> {crown.name: round(crown.measures_of("whole").mean_abs_um) for crown in run.crowns}
    {'m1': 12, 'm2': 13, 'p1': 23, 'p2': 23}
    """
    return run(run_study_steps(study, out, executor=executor))


def run_study_steps(
    study: StudyInputs | StudyPlan, out: str | Path, *, executor: Executor | None = None
) -> Steps[StudyRun]:
    """Measure a study as :func:`run_study` does, step by step."""
    inputs = study if isinstance(study, StudyInputs) else StudyInputs(study)
    plan = inputs.plan
    repeats = () if inputs.repeats is None else tuple(r.listed for r in inputs.repeats.rows)
    watch = Stopwatch()
    kept = Kept(Path(out) / KEPT)
    kept.tidy()
    ready = yield from watch.timed("areas", _design_steps(plan), 0.0, 0.05)
    refuse_unknown_areas(ready.area_set, plan.check.tolerances)
    faces_to_fit(ready.area_set, plan.check.fit_areas)
    place = _place(plan, kept, ready.area_set)
    names = plan.crown_names()
    listed = [(names[scan], group.name, scan) for group in plan.groups for scan in group.scans]
    again = [
        (_unused(f"repeat {number}", names.values()), REPEATS, row[3])
        for number, row in enumerate(repeats, start=1)
    ]
    entries: dict[str, Entry] = {}
    left_out: dict[str, LeftOut] = {}
    for name, group, scan in [*listed, *again]:
        entry = place.entry(name, group, scan)
        if isinstance(entry, LeftOut):
            left_out[name] = entry
        else:
            entries[name] = entry
    steps = _scan_steps(entries, left_out, ready, kept, executor)
    reused = yield from watch.timed("scans", steps, 0.05, 0.6)
    crowns = _crowns(entries, left_out, kept, ready.area_set)
    repeated = {name for name, _, _ in again}
    measured = [crown for name, crown in crowns.items() if name not in repeated]
    if not measured:
        raise _nothing_usable(list(left_out.values()))
    again_scans = tuple(
        RepeatScan(crown, operator, trial, crowns[name])
        for (name, _, _), (crown, operator, trial, _) in zip(again, repeats, strict=True)
        if name in crowns
    )
    plan = _with_scanner(plan, again_scans)
    own = tuple(
        _with_marks(judged(crown, plan.check.tolerances), ready, kept, plan) for crown in measured
    )
    groups = {
        group.name: [crown for crown in own if crown.group == group.name] for group in plan.groups
    }
    pair_steps = _pair_steps(groups, entries, place, ready, executor)
    pairs, old = yield from watch.timed("pairs", pair_steps, 0.6, 0.9)
    maps_steps = _group_steps(groups, ready, kept, plan)
    maps, dispersions = yield from watch.timed("maps", maps_steps, 0.9, 1.0)
    several = [name for name, found in maps.items() if found.n > 1]
    return StudyRun(
        plan=plan,
        design=ready.design,
        area_set=ready.area_set,
        crowns=own,
        left_out=tuple(left_out.values()),
        pairs=pairs,
        dispersions=dispersions,
        maps=maps,
        differences=tuple(difference_map(maps[a], maps[b]) for a, b in pairs_of(several)),
        parts=tuple(row for name in several for row in spread_parts(maps[name], ready.area_set)),
        repeats=again_scans,
        warnings=_warnings(ready, groups),
        versions=versions_used(),
        reused=reused + old,
        seconds=watch.seconds,
        scores=inputs.scores,
    )


def _design_steps(plan: StudyPlan) -> Steps[ReadyDesign]:
    yield Progress("Reading the design", 0.0)
    design = read_design(plan.design, plan.check)
    return (yield from scaled(ready_design_steps(design, plan.check), 0.2, 1.0))


def _with_scanner(plan: StudyPlan, repeats: Sequence[RepeatScan]) -> StudyPlan:
    """Return the plan with the scanner's uncertainty from repeated scans, if it names none."""
    tolerances = plan.check.tolerances
    if tolerances.scanner_um:
        return plan
    from .scanner_uncertainty import scanner_uncertainty_um  # loads scipy.stats, which is slow

    tolerances = replace(tolerances, scanner_um=scanner_uncertainty_um(repeats))
    return replace(plan, check=replace(plan.check, tolerances=tolerances))


def _unused(name: str, taken: Collection[str]) -> str:
    """Return a name that no crown has; a scan's file may be called anything."""
    while name in taken:
        name += " again"
    return name


def _place(plan: StudyPlan, kept: Kept, area_set: AreaSet) -> Place:
    """Keep the areas, named after their content, and return what all results depend on."""
    text = json.dumps(areas_document(area_set), ensure_ascii=False, allow_nan=False)
    areas = hashlib.sha256(text.encode()).hexdigest()[:32]
    file = kept.folder / f"areas-{areas}.json"
    if not file.is_file():
        atomic_write(file, text + "\n")
    return Place(
        kept=kept,
        design=plan.design,
        areas_file=file,
        design_sha256=file_checksum(plan.design),
        areas=areas,
        fit_areas=areas_of(area_set, plan.check.fit_areas),
        settings=plan.check,
    )


def _scan_steps(
    entries: dict[str, Entry],
    left_out: dict[str, LeftOut],
    ready: ReadyDesign,
    kept: Kept,
    executor: Executor | None,
) -> Steps[int]:
    """Measure what is not kept yet; return how many were."""
    todo = missing(entries, kept)
    reused = len(entries) - len(todo)
    if executor is None:
        for done, (name, entry) in enumerate(todo.items()):
            steps = measure_and_keep_steps(entry.job, ready)
            try:
                span = done / len(todo), (done + 1) / len(todo)
                yield from _named(scaled(steps, *span), name)
            except CuspwiseError as problem:
                left_out[name] = _unusable(entry, problem)
        return reused
    jobs = {_given(executor, measure_and_keep, entry.job): entry for entry in todo.values()}
    for done, future in enumerate(_finished(jobs)):
        entry = jobs[future]
        try:
            _outcome(future)
        except CuspwiseError as problem:
            left_out[entry.name] = _unusable(entry, problem)
        yield Progress(f"Measured {entry.name}", (done + 1) / len(jobs))
    return reused


def _unusable(entry: Entry, problem: CuspwiseError) -> LeftOut:
    """Return a scan that cannot be used, with the reason; raise what is not the scan's fault."""
    of_the_disk = isinstance(problem, FileError) and Path(problem.subject) != entry.job.scan
    if of_the_disk or isinstance(problem, StudyError):
        raise problem
    return LeftOut(entry.name, entry.group, entry.job.scan, problem.reason, problem.remedy)


def _crowns(
    entries: dict[str, Entry], left_out: dict[str, LeftOut], kept: Kept, area_set: AreaSet
) -> dict[str, Crown]:
    crowns: dict[str, Crown] = {}
    for name, entry in entries.items():
        if name in left_out:
            continue
        found = crown_from(entry, kept, area_set)
        if isinstance(found, Crown):
            crowns[name] = found
        elif found is not None:
            left_out[name] = found
    return crowns


def _nothing_usable(left_out: Sequence[LeftOut]) -> StudyError:
    told = [f"{scan.name}: {scan.reason}" for scan in left_out[:_TOLD]]
    more = len(left_out) - len(told)
    told += [f"And {more} more."] if more else []
    return StudyError(
        f"None of the scans can be used. {' '.join(told)}",
        subject="study",
        remedy="Check that the scans are of crowns made from this design, and their unit.",
    )


def _with_marks(crown: Crown, ready: ReadyDesign, kept: Kept, plan: StudyPlan) -> Crown:
    """Return a crown with what is left of each support mark of the design."""
    if SUPPORTS not in ready.area_set.areas:
        return crown
    scan = load_scan(kept, crown.key, ready.evaluation, plan.check)
    assert scan is not None  # kept a moment ago
    args = scan.design_to_scan, ready.area_set, crown.superimposition, plan.check
    return replace(crown, marks=marks_of(*args))


def _pair_steps(
    groups: dict[str, list[Crown]],
    entries: dict[str, Entry],
    place: Place,
    ready: ReadyDesign,
    executor: Executor | None,
) -> Steps[tuple[tuple[Pair, ...], int]]:
    """Compare all pairs of every group that are not kept yet; return all, and how many were."""
    wanted = [
        (group, crowns[i], crowns[j], PairJob(entries[crowns[i].name].job, (), place.areas))
        for group, crowns in groups.items()
        for i in range(len(crowns))
        for j in range(i + 1, len(crowns))
    ]
    todo: dict[str, PairJob] = {}
    for _, first, second, job in wanted:
        if place.kept.load(job.key(second.key)) is None:
            earlier = todo.get(first.name, job)
            todo[first.name] = replace(earlier, seconds=(*earlier.seconds, second.key))
    yield from _compare_steps(list(todo.values()), ready, executor)
    found = [
        load_pair(place.kept, job.key(second.key), group, first.name, second.name)
        for group, first, second, job in wanted
    ]
    pairs = tuple(pair for pair in found if pair is not None)
    return pairs, len(pairs) - sum(len(job.seconds) for job in todo.values())


def _compare_steps(
    jobs: list[PairJob], ready: ReadyDesign, executor: Executor | None
) -> Steps[None]:
    if executor is None:
        for done, job in enumerate(jobs):
            span = done / len(jobs), (done + 1) / len(jobs)
            yield from scaled(compare_and_keep_steps(job, ready), *span)
        return
    total = sum(len(job.seconds) for job in jobs)
    futures = {_given(executor, compare_and_keep, job): len(job.seconds) for job in jobs}
    done = 0
    for future in _finished(futures):
        _outcome(future)
        done += futures[future]
        yield Progress("Comparing crowns", done / total)


def _group_steps(
    groups: dict[str, list[Crown]], ready: ReadyDesign, kept: Kept, plan: StudyPlan
) -> Steps[tuple[dict[str, GroupMap], tuple[Dispersion, ...]]]:
    maps: dict[str, GroupMap] = {}
    rows: list[Dispersion] = []
    settings = plan.check
    for number, (name, crowns) in enumerate(groups.items()):
        yield Progress("Mapping groups", number / len(groups))
        if not crowns:
            continue
        scans = (load_scan(kept, crown.key, ready.evaluation, settings) for crown in crowns)
        fields = (scan.design_to_scan.deviation_mm for scan in scans if scan is not None)
        limit = settings.tolerances.limit_um("whole")
        maps[name] = group_map(name, fields, limit, len(ready.evaluation.points))
        for crown in crowns if len(crowns) > 1 else ():
            yield Progress("Mapping groups", (number + 0.5) / len(groups))
            scan = load_scan(kept, crown.key, ready.evaluation, settings)
            assert scan is not None  # kept a moment ago
            measures = distance_from_mean(
                scan.design_to_scan, maps[name], ready.area_set, weighted=settings.weighted
            )
            rows.append(Dispersion(crown.name, name, measures))
    return maps, tuple(rows)


def _finished(futures: Mapping[Future[Any], object]) -> Iterator[Future[Any]]:
    """Yield futures as they finish; call off the rest if the caller stops."""
    try:
        yield from as_completed(futures)
    finally:
        for future in futures:
            future.cancel()


def _given(executor: Executor, work: Callable[[J], object], job: J) -> Future[Any]:
    """Hand a job to an executor; one that has lost a worker takes none."""
    try:
        return executor.submit(work, job)
    except BrokenExecutor as problem:
        raise _worker_died() from problem


def _outcome(future: Future[Any]) -> None:
    """Raise what went wrong with a job; a dead worker in words."""
    try:
        future.result()
    except (BrokenExecutor, CancelledError) as problem:
        raise _worker_died() from problem


def _worker_died() -> StudyError:
    return StudyError(
        "A worker process ended before its work was done.",
        subject="study",
        remedy="Run the study again: it goes on where it stopped. If it happens again, there "
        "may be too little memory for so many workers.",
    )


def _warnings(ready: ReadyDesign, groups: dict[str, list[Crown]]) -> tuple[str, ...]:
    texts = [f"Design: {text}" for text in ready.design.notes]
    texts += [f"Areas: {text}" for text in ready.area_set.warnings]
    for name, crowns in groups.items():
        if not crowns:
            texts.append(f"Group {name}: no scan could be used.")
        elif len(crowns) == 1:
            texts.append(f"Group {name}: one crown has no precision and cannot be compared.")
        elif len({crown.sha256 for crown in crowns}) < len(crowns):
            texts.append(f"Group {name}: some of its scan files have the same content.")
    return tuple(texts)


def _named(steps: Steps[J], name: str) -> Steps[J]:
    """Put a scan's name before the labels of its steps."""
    while True:
        try:
            progress = next(steps)
        except StopIteration as end:
            result: J = end.value
            return result
        yield Progress(f"{name}: {progress.label}", progress.fraction)
