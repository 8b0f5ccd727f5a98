"""All scans of a study: which there are, measured where that has not been done yet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from pathlib import Path

from ...errors import CuspwiseError, FileError, StudyError
from ...measure import ReadyDesign
from ...progress import Steps
from .crowns import crown_from
from .handing_out import handed_out
from .pace import SCAN, Pace
from .result_store import ResultStore
from .results import Crown, LeftOut
from .scan_job import (
    ScanJob,
    StudyDependencies,
    measure_and_keep,
    measure_and_keep_steps,
    scan_job,
)

_NAMED = 3  # scans whose reasons are given if none can be used


def scan_jobs(
    listed: Iterable[tuple[str, str, Path]], study: StudyDependencies
) -> tuple[list[ScanJob], list[LeftOut]]:
    """Return what is to be done for scans of (name, group, file), and which cannot be read."""
    jobs: list[ScanJob] = []
    left_out: list[LeftOut] = []
    for name, group, scan in listed:
        try:
            jobs.append(scan_job(name, group, scan, study))
        except FileError as problem:
            left_out.append(LeftOut(name, group, scan, problem.reason, problem.remedy))
    return jobs, left_out


def missing(jobs: Iterable[ScanJob], store: ResultStore) -> list[ScanJob]:
    """Return the scans that have still to be measured."""
    return [job for job in jobs if not (store.holds(job.rows_key) and store.holds(job.key))]


def measure_scans_steps(
    todo: Sequence[ScanJob], ready: ReadyDesign, executor: Executor | None, pace: Pace
) -> Steps[list[LeftOut]]:
    """Measure scans and keep what comes of them; return those that cannot be used."""
    problems: dict[str, LeftOut] = {}
    if executor is None:
        for number, job in enumerate(todo, start=1):
            label = f"Scan {number} of {len(todo)}, {job.name}"
            try:
                yield from pace.inside_steps(measure_and_keep_steps(job, ready), label, SCAN)
            except CuspwiseError as problem:
                problems[job.name] = _unusable(job, problem)
        return list(problems.values())
    done = 0
    yield pace.waiting(f"Scans: 0 of {len(todo)} measured", SCAN)
    for ended in handed_out(executor, measure_and_keep, todo):
        if ended is not None:
            job, found = ended
            if found is not None:
                problems[job.name] = _unusable(job, found)
            done += 1
            pace.ended(SCAN)
        yield pace.waiting(f"Scans: {done} of {len(todo)} measured", SCAN)
    return [problems[job.name] for job in todo if job.name in problems]


def crowns_of(
    jobs: Iterable[ScanJob], store: ResultStore
) -> tuple[dict[str, Crown], list[LeftOut]]:
    """Return the crowns that scans show, by name, and the scans that show another part."""
    crowns: dict[str, Crown] = {}
    left_out: list[LeftOut] = []
    for job in jobs:
        found = crown_from(job, store)
        if isinstance(found, Crown):
            crowns[job.name] = found
        else:
            left_out.append(found)
    return crowns, left_out


def nothing_usable(left_out: Sequence[LeftOut]) -> StudyError:
    """Return the error of a study none of whose scans can be used."""
    reasons = [f"{scan.name}: {scan.reason}" for scan in left_out[:_NAMED]]
    more = len(left_out) - len(reasons)
    reasons += [f"And {more} more."] if more else []
    return StudyError(
        f"None of the scans can be used. {' '.join(reasons)}",
        subject="study",
        remedy="Check that the scans are of crowns made from this design, and their unit.",
    )


def _unusable(job: ScanJob, problem: CuspwiseError) -> LeftOut:
    """Return a scan that cannot be used, with the reason; raise what is not the scan's fault."""
    of_the_disk = isinstance(problem, FileError) and Path(problem.subject) != job.scan
    if of_the_disk or isinstance(problem, StudyError):
        raise problem
    return LeftOut(job.name, job.group, job.scan, problem.reason, problem.remedy)
