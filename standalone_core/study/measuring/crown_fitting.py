"""The fit of one crown on its die, from what is kept of its scan, and kept."""

from __future__ import annotations

from functools import lru_cache

from ...errors import CuspwiseError
from ...fit.check_fit import check_fit_of_steps
from ...fit.inputs import FitInputs
from ...fit.one_of_many import OneOfMany
from ...fit.seat.rough_pose import LaidOnDesign
from ...fit.settings import FitSettings
from ...measure import ReadyDesign
from ...progress import Progress, Steps, run
from .fit_bench import FitBench
from .fit_job import FitJob
from .kept_fit import save_fit, save_refusal
from .result_store import ResultStore, still_kept
from .scan_job import load_laid


def seat_and_keep(job: FitJob) -> None:
    """Judge one crown's fit in a worker process and keep it.

    Raises
    ------
    CuspwiseError
        A file cannot be used.
    """
    bench = _workers_bench(job.scan.study.workers_design(), job.settings)
    run(seat_and_keep_steps(job, bench))


@lru_cache(maxsize=1)
def _workers_bench(ready: ReadyDesign, settings: FitSettings) -> FitBench:
    """Return what a worker seats crowns with, made ready for its first."""
    return FitBench(ready, settings, threads=1)


def seat_and_keep_steps(job: FitJob, bench: FitBench) -> Steps[None]:
    """Do as :func:`seat_and_keep` does, step by step, with what is ready already.

    That a crown and its die do not match is kept too.
    """
    store = ResultStore(job.scan.study.folder)
    yield Progress("Reading the crown", 0.0)
    surface, laid = still_kept(load_laid(store, job.scan))
    inputs = bench.inputs(job, surface)
    known = OneOfMany(
        design=bench.design if job.in_design_frame else None,
        laid=LaidOnDesign(laid.T_design_scan, laid.rms_mm) if job.in_design_frame else None,
        with_rocking=False,
        seated_only=True,
        threads=bench.threads,
    )
    try:
        result = yield from check_fit_of_steps(inputs, job.settings, known)
    except CuspwiseError as problem:
        save_refusal(store, job, problem)
        return
    save_fit(store, job, result, laid.T_design_scan, _told_elsewhere(inputs, own_die=job.own_die))


def _told_elsewhere(inputs: FitInputs, *, own_die: bool) -> set[str]:
    """What is told with the crown's scan, or once for all crowns of the study."""
    here = {"Seated", "Die"} if own_die else {"Seated"}
    return {
        f"{name}: {note}"
        for name, surface in inputs.surfaces
        if name not in here
        for note in surface.notes
    }
