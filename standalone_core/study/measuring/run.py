"""Measure a whole study: every crown, every pair, every group; resumable at any moment."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

from ...areas.area_set import AreaSet
from ...areas.chosen import faces_to_fit
from ...checked_mesh import read_design
from ...errors import StudyError
from ...measure import ReadyDesign, ready_design_steps, refuse_unknown_areas
from ...progress import Progress, Steps, run, scaled
from ...stopwatch import Stopwatch
from ...versions import versions_used
from ..document_file import DOCUMENT
from ..file.inputs import StudyInputs
from ..plan import StudyPlan
from .all_causes import explain_study_steps
from .all_fits import fit_crowns_steps
from .all_pairs import compare_pairs_steps, count_pairs
from .all_scans import crowns_of, measure_scans_steps, missing, nothing_usable, scan_jobs
from .crowns import judged
from .fit_bench import shared_surfaces_steps
from .group_maps import difference_map, map_groups_steps, pairs_of, spread_parts
from .pace import CAUSES, FIT, PAIR, SCAN, Pace
from .repeat_distances import from_others_steps
from .result_store import KEPT, ResultStore, file_checksum
from .results import Crown, LeftOut, RepeatScan, StudyRun
from .scan_job import ScanJob, StudyDependencies, areas_checksum
from .worker_design import keep_areas

REPEAT_GROUP = "repeats"
"""What stands for the group of repeated scans."""

_READY, _MEASURED, _MAPPED = 0.05, 0.95, 0.98
"""How much of the whole is done once the design is ready, all pairs compared, groups mapped."""

RepeatRow = tuple[str, str, str, Path]


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
        Who measures, such as a ``ProcessPoolExecutor``, for which a script needs its
        ``if __name__ == "__main__":``; this process alone by default. Its workers must see the
        files under the same paths.

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
    store = _store(inputs, Path(out))
    surfaces = yield from watch.timed("areas", shared_surfaces_steps(plan), 0.0, 0.0)
    ready = yield from watch.timed("areas", _design_steps(plan), 0.0, _READY)
    scans = yield from _scans_steps(plan, repeats, store, ready, executor, watch)
    plan = _with_scanner(plan, scans.repeats)
    crowns, again = _groups(plan, scans.crowns), scans.repeats
    jobs, pace = scans.jobs, scans.pace
    causes_steps = explain_study_steps(plan, crowns, again, jobs, store, ready, executor, pace)
    explained = yield from watch.timed("causes", causes_steps, _READY, _MEASURED)
    fits_steps = fit_crowns_steps(
        plan, explained.groups, jobs, store, ready, executor, pace, surfaces
    )
    fitted = yield from watch.timed("fit", fits_steps, _READY, _MEASURED)
    groups = fitted.groups
    pairs_steps = compare_pairs_steps(groups, jobs, store, ready, executor, pace)
    pairs, old = yield from watch.timed("pairs", pairs_steps, _READY, _MEASURED)
    maps_steps = map_groups_steps(groups, ready, store, plan.check)
    maps = yield from watch.timed("maps", maps_steps, _MEASURED, _MAPPED)
    apart_steps = from_others_steps(again, groups, ready, store, plan.check)
    again = yield from watch.timed("maps", apart_steps, _MAPPED, 1.0)
    several = [name for name in maps if maps[name].n > 1]
    return StudyRun(
        plan=plan,
        design=ready.design,
        area_set=ready.area_set,
        crowns=tuple(crown for crowns in groups.values() for crown in crowns),
        left_out=scans.left_out,
        pairs=pairs,
        maps=maps,
        differences=tuple(difference_map(maps[a], maps[b]) for a, b in pairs_of(several)),
        parts=tuple(row for name in several for row in spread_parts(maps[name], ready.area_set)),
        repeats=again,
        warnings=(*_warnings(ready, groups), *fitted.warnings),
        versions=versions_used(),
        reused=scans.reused + fitted.reused + old,
        seconds=watch.seconds,
        scores=inputs.scores,
        causes=explained.causes,
        not_fitted=fitted.not_fitted,
        earlier=inputs.earlier,
    )


def _store(inputs: StudyInputs, out: Path) -> ResultStore:
    """Return what keeps the results, tidied.

    Raises
    ------
    StudyError
        The earlier study to compare with is the file that this study is to write.
    """
    earlier = inputs.earlier
    if earlier is not None and (out / DOCUMENT).resolve() == earlier.path.resolve():
        raise StudyError(
            "It is the file that this study itself writes, which would replace it.",
            subject=earlier.path,
            remedy="Copy the earlier study's results elsewhere, or write to another folder.",
            arguments=("out",),
        )
    store = ResultStore(out / KEPT)
    store.tidy()
    return store


@dataclass(frozen=True)
class _Scans:
    """What came of all scans.

    Attributes
    ----------
    jobs : mapping of str to ScanJob
        Of every scan that can be read, by name.
    crowns : mapping of str to Crown
        Those of the groups, by name.
    repeats : tuple of RepeatScan
    left_out : tuple of LeftOut
    reused : int
        How many were kept already.
    pace : Pace
        With the work of all pairs still to come.
    """

    jobs: Mapping[str, ScanJob]
    crowns: Mapping[str, Crown]
    repeats: tuple[RepeatScan, ...]
    left_out: tuple[LeftOut, ...]
    reused: int
    pace: Pace


def _scans_steps(
    plan: StudyPlan,
    repeats: Sequence[RepeatRow],
    store: ResultStore,
    ready: ReadyDesign,
    executor: Executor | None,
    watch: Stopwatch,
) -> Steps[_Scans]:
    """Measure every scan that is not kept yet; raise if no crown is left."""
    study = _dependencies(plan, store, ready.area_set)
    own, unreadable = scan_jobs(_listed(plan), study)
    again, more = scan_jobs(_listed_again(plan, repeats), study)
    todo = missing([*own, *again], store)
    pairs = sum(count_pairs(n) for n in Counter(job.group for job in own).values())
    found = CAUSES * len(own) if plan.check.causes.find_causes else 0.0
    fits = 0 if plan.fit is None else sum(plan.fit.seats(job.name) for job in own)
    pace = Pace(SCAN * len(todo) + found + FIT * fits + PAIR * pairs)
    steps = measure_scans_steps(todo, ready, executor, pace)
    unusable = yield from watch.timed("scans", steps, _READY, _MEASURED)
    left = {row.name for row in unusable}
    jobs = {job.name: job for job in (*own, *again) if job.name not in left}
    crowns, others = crowns_of(jobs.values(), store)
    left_out = (*unreadable, *more, *unusable, *others)
    names = {job.name for job in own}
    if not names & crowns.keys():
        raise nothing_usable(left_out)
    return _Scans(
        jobs=jobs,
        crowns={name: crown for name, crown in crowns.items() if name in names},
        repeats=_repeated(plan, repeats, crowns),
        left_out=left_out,
        reused=len(own) + len(again) - len(todo),
        pace=pace,
    )


def _design_steps(plan: StudyPlan) -> Steps[ReadyDesign]:
    yield Progress("Reading the design", 0.0)
    design = read_design(plan.design, plan.check)
    ready = yield from scaled(ready_design_steps(design, plan.check), 0.2, 1.0)
    refuse_unknown_areas(ready.area_set, plan.check.tolerances)
    faces_to_fit(ready.area_set, plan.check.fit_areas)
    return ready


def _dependencies(plan: StudyPlan, store: ResultStore, area_set: AreaSet) -> StudyDependencies:
    """Keep the areas, and return what all results depend on."""
    return StudyDependencies(
        folder=store.folder.resolve(),
        design=plan.design.resolve(),
        design_sha256=file_checksum(plan.design),
        areas=keep_areas(store, area_set),
        fit_areas=areas_checksum(area_set, plan.check.fit_areas),
        settings=plan.check,
    )


def _listed(plan: StudyPlan) -> list[tuple[str, str, Path]]:
    """Return name, group and file of every crown's scan."""
    names = plan.crown_names()
    return [(names[scan], group.name, scan) for group in plan.groups for scan in group.scans]


def _listed_again(plan: StudyPlan, repeats: Sequence[RepeatRow]) -> list[tuple[str, str, Path]]:
    """Return the same of every repeated scan."""
    taken = plan.crown_names().values()
    return [
        (_unused(f"repeat {number}", taken), REPEAT_GROUP, row[3])
        for number, row in enumerate(repeats, start=1)
    ]


def _unused(name: str, taken: Collection[str]) -> str:
    """Return a name that no crown has; a scan's file may be called anything."""
    while name in taken:
        name += " again"
    return name


def _repeated(
    plan: StudyPlan, repeats: Sequence[RepeatRow], crowns: Mapping[str, Crown]
) -> tuple[RepeatScan, ...]:
    """Return the repeated scans that can be used."""
    return tuple(
        RepeatScan(crown, operator, trial, replace(crowns[name], marks=()))
        for (name, _, _), (crown, operator, trial, _) in zip(
            _listed_again(plan, repeats), repeats, strict=True
        )
        if name in crowns
    )


def _with_scanner(plan: StudyPlan, repeats: Sequence[RepeatScan]) -> StudyPlan:
    """Return the plan with the scanner's uncertainty from repeated scans, if it names none."""
    tolerances = plan.check.tolerances
    if tolerances.scanner_um:
        return plan
    from .scanner_uncertainty import scanner_uncertainty_um  # loads scipy.stats, which is slow

    found = scanner_uncertainty_um(repeats, plan.check.direction)
    tolerances = replace(tolerances, scanner_um=found)
    return replace(plan, check=replace(plan.check, tolerances=tolerances))


def _groups(plan: StudyPlan, crowns: Mapping[str, Crown]) -> dict[str, list[Crown]]:
    """Return each group's crowns, judged as the plan says."""
    return {
        group.name: [judged(c, plan.check) for c in crowns.values() if c.group == group.name]
        for group in plan.groups
    }


def _warnings(ready: ReadyDesign, groups: Mapping[str, Sequence[Crown]]) -> tuple[str, ...]:
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
