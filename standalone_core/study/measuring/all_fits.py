"""The fit of all crowns of a study, judged where that has not been done yet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

from ...errors import CuspwiseError, FileError, StudyError
from ...fit.settings import FitSettings
from ...measure import ReadyDesign
from ...progress import Steps
from ..fit_plan import FitPlan
from ..plan import GroupPlan, StudyPlan
from .crown_fit import CrownFit, NotFitted
from .crown_fitting import seat_and_keep, seat_and_keep_steps
from .fit_bench import FitBench, FitSurfaces
from .fit_job import FitJob, SharedFiles, fit_job, study_fit_settings
from .handing_out import handed_out
from .kept_fit import load_fit
from .pace import FIT, Pace
from .result_store import ResultStore, still_kept
from .results import Crown
from .scan_job import ScanJob


@dataclass(frozen=True, eq=False)
class Fitted:
    """What came of seating the crowns.

    Attributes
    ----------
    groups : mapping of str to sequence of Crown
        Each group's crowns with their fits.
    not_fitted : tuple of NotFitted
        In the plan's order.
    reused : int
        Crowns whose fit was kept already.
    warnings : tuple of str
        About the surfaces that all crowns share.
    """

    groups: Mapping[str, Sequence[Crown]]
    not_fitted: tuple[NotFitted, ...] = ()
    reused: int = 0
    warnings: tuple[str, ...] = ()


def fit_crowns_steps(
    plan: StudyPlan,
    groups: Mapping[str, Sequence[Crown]],
    scans: Mapping[str, ScanJob],
    store: ResultStore,
    ready: ReadyDesign,
    executor: Executor | None,
    pace: Pace,
    surfaces: FitSurfaces,
) -> Steps[Fitted]:
    """Judge the fit of every crown that is to be seated and was measured.

    Parameters
    ----------
    plan : StudyPlan
    groups : mapping of str to sequence of Crown
    scans : mapping of str to ScanJob
        By the crowns' names.
    store : ResultStore
    ready : ReadyDesign
    executor : Executor or None
    pace : Pace
    surfaces : FitSurfaces
        With those that all crowns share.
    """
    if plan.fit is None:
        return Fitted(groups)
    settings = study_fit_settings(plan.fit, plan.check, ready.area_set)
    jobs, refused = _jobs(plan, plan.fit, groups, scans, settings, surfaces.shared)
    todo = [job for job in jobs.values() if load_fit(store, job) is None]
    bench = FitBench(ready, settings, surfaces)
    refused |= yield from _fit_steps(todo, bench, executor, pace)
    found: dict[str, CrownFit] = {}
    for name, job in jobs.items():
        if name not in refused:
            kept = load_fit(store, job)
            if isinstance(kept, NotFitted):
                refused[name] = kept
            else:
                found[name] = still_kept(kept)
    return Fitted(
        groups={
            group: [replace(crown, fit=found.get(crown.name)) for crown in crowns]
            for group, crowns in groups.items()
        },
        not_fitted=tuple(
            refused[crown.name]
            for crowns in groups.values()
            for crown in crowns
            if crown.name in refused
        ),
        reused=len(jobs) - len(todo),
        warnings=tuple(_notes(surfaces, settings.die_unit)),
    )


def _jobs(
    plan: StudyPlan,
    fit: FitPlan,
    groups: Mapping[str, Sequence[Crown]],
    scans: Mapping[str, ScanJob],
    settings: FitSettings,
    shared: SharedFiles,
) -> tuple[dict[str, FitJob], dict[str, NotFitted]]:
    """Return what is to be done per crown, and the crowns that cannot be seated."""
    names = plan.crown_names()
    own: dict[str, Path] = {}
    seated: dict[str, Path] = {}
    for group in plan.groups:
        own |= _by_crown(group, group.dies, names)
        seated |= _by_crown(group, group.seated, names)
    jobs: dict[str, FitJob] = {}
    refused: dict[str, NotFitted] = {}
    for crown in (c for crowns in groups.values() for c in crowns if fit.seats(c.name)):
        name, scan = crown.name, scans[crown.name]
        try:
            jobs[name] = fit_job(scan, shared, fit, settings, own.get(name), seated.get(name))
        except CuspwiseError as problem:
            refused[name] = _refused(scan, problem)
    return jobs, refused


def _by_crown(
    group: GroupPlan, files: Sequence[Path], names: Mapping[Path, str]
) -> dict[str, Path]:
    """Return single crowns' files, which lie in the order of the scans, by the crowns' names."""
    return {names[scan]: file for scan, file in zip(group.scans, files, strict=False)}


def _fit_steps(
    todo: Sequence[FitJob], bench: FitBench, executor: Executor | None, pace: Pace
) -> Steps[dict[str, NotFitted]]:
    """Judge fits and keep them; return the crowns whose own files cannot be used."""
    refused: dict[str, NotFitted] = {}
    if executor is None:
        for number, job in enumerate(todo, start=1):
            label = f"Fit of crown {number} of {len(todo)}, {job.scan.name}"
            try:
                yield from pace.inside_steps(seat_and_keep_steps(job, bench), label, FIT)
            except CuspwiseError as problem:
                refused[job.scan.name] = _of_own_file(job, problem)
        return refused
    done = 0
    yield pace.waiting(f"Fit: 0 of {len(todo)} crowns seated", FIT)
    for ended in handed_out(executor, seat_and_keep, todo):
        if ended is not None:
            job, found = ended
            if found is not None:
                refused[job.scan.name] = _of_own_file(job, found)
            done += 1
            pace.ended(FIT)
        yield pace.waiting(f"Fit: {done} of {len(todo)} crowns seated", FIT)
    return refused


def _of_own_file(job: FitJob, problem: CuspwiseError) -> NotFitted:
    """Return a crown whose own file cannot be used; raise what is not that file's fault."""
    own = [job.die] if job.own_die else []
    own += [job.seated] if job.seated is not None else []
    of_another = isinstance(problem, FileError) and Path(problem.subject) not in {
        file.path for file in own
    }
    if of_another or isinstance(problem, StudyError):
        raise problem
    return _refused(job.scan, problem)


def _refused(scan: ScanJob, problem: CuspwiseError) -> NotFitted:
    return NotFitted(scan.name, scan.group, problem.reason, problem.remedy)


def _notes(surfaces: FitSurfaces, unit: str) -> Iterator[str]:
    for name, surface in surfaces.shared_ones(unit):
        yield from (f"{name}: {note}" for note in surface.notes)
