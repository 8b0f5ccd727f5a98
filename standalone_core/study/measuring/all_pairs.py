"""All pairs of a study's crowns, group by group, compared where that has not been done yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from itertools import combinations

from ...measure import ReadyDesign
from ...progress import Steps
from .handing_out import handed_out
from .pace import PAIR, Pace
from .pair_job import (
    PairJob,
    compare_and_keep,
    compare_and_keep_steps,
    load_pair,
    pair_key,
)
from .result_store import ResultStore, still_kept
from .results import Crown, Pair
from .scan_job import ScanJob


def count_pairs(crowns: int) -> int:
    """Return in how many pairs so many crowns come."""
    return crowns * (crowns - 1) // 2


def compare_pairs_steps(
    groups: Mapping[str, Sequence[Crown]],
    jobs: Mapping[str, ScanJob],
    store: ResultStore,
    ready: ReadyDesign,
    executor: Executor | None,
    pace: Pace,
) -> Steps[tuple[tuple[Pair, ...], int]]:
    """Compare all pairs of every group; return them, and how many were kept already."""
    wanted = [pair for crowns in groups.values() for pair in combinations(crowns, 2)]
    todo: dict[str, PairJob] = {}
    for first, second in wanted:
        job = jobs[first.name]
        if store.load(pair_key(job, second.key)) is None:
            earlier = todo.get(first.name, PairJob(job, ()))
            todo[first.name] = PairJob(job, (*earlier.seconds, second.key))
    compared = sum(len(job.seconds) for job in todo.values())
    pace.only(PAIR * compared)
    yield from _compare_steps(list(todo.values()), ready, executor, pace)
    return tuple(
        still_kept(load_pair(store, pair_key(jobs[first.name], second.key), first, second))
        for first, second in wanted
    ), len(wanted) - compared


def _compare_steps(
    todo: Sequence[PairJob], ready: ReadyDesign, executor: Executor | None, pace: Pace
) -> Steps[None]:
    total, done = sum(len(job.seconds) for job in todo), 0
    if executor is None:
        for job in todo:
            count = len(job.seconds)
            which = f"Pairs {done + 1} to {done + count}" if count > 1 else f"Pair {done + 1}"
            yield from pace.inside_steps(
                compare_and_keep_steps(job, ready), f"{which} of {total}", PAIR * count
            )
            done += count
        return
    for ended in handed_out(executor, compare_and_keep, todo):
        if ended is not None:
            job, problem = ended
            if problem is not None:
                raise problem
            done += len(job.seconds)
            pace.ended(PAIR * len(job.seconds))
        yield pace.waiting(f"Pairs: {done} of {total} compared", PAIR)
