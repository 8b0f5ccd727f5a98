"""A tray's crowns checked by processes beside this one, each with the designs to itself."""

from __future__ import annotations

import pickle
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from ..check_settings import CheckSettings
from ..errors import CuspwiseError
from ..progress import Progress, Steps, run
from ..versions import versions_used
from .check_crowns import Keep, by_design, crown_steps
from .check_tray import crown_of, shared_design
from .entries import TrayEntry
from .result import TrayCrown, TrayResult
from .shared_design import SharedDesign

EVERY_S = 1.0
"""A caller hears at least so often that the work goes on, s."""


@dataclass(frozen=True)
class CrownJob:
    """A crown for a process to check.

    Attributes
    ----------
    entry : TrayEntry
    settings : bytes
        Pickled, so that a process knows by them which design it holds.
    keep : function or None
        As of :func:`.check_crowns_steps`, to be pickled.
    """

    entry: TrayEntry
    settings: bytes
    keep: Keep | None


def check_in_processes_steps(
    entries: Sequence[TrayEntry],
    settings: CheckSettings,
    executor: Executor,
    keep: Keep | None = None,
) -> Steps[TrayResult]:
    """Check a tray's crowns as :func:`.check_crowns_steps` does, several at a time.

    Parameters
    ----------
    entries : sequence of TrayEntry
    settings : CheckSettings
    executor : Executor
    keep : function, optional
        Called in the process that checked the crown, to which it is pickled.

    Raises
    ------
    CuspwiseError
        What goes wrong in ``keep``, or a process that died.
    """
    pickled = pickle.dumps(settings)
    order = by_design([str(entry.design) for entry in entries])
    started = time.monotonic()
    found: dict[int, TrayCrown] = {}
    yield _progress(0, len(order), started)
    for ended in _answers(executor, [CrownJob(entries[k], pickled, keep) for k in order]):
        if ended is not None:
            place, crown = ended
            found[order[place]] = crown
        yield _progress(len(found), len(order), started)
    return TrayResult(tuple(found[place] for place in range(len(entries))), versions_used())


def check_crown(job: CrownJob) -> TrayCrown:
    """Check a crown, in whatever process this runs."""
    design = _held_design(str(job.entry.design), job.settings)
    settings = pickle.loads(job.settings)
    return run(crown_steps(crown_of(job.entry, design, settings), job.keep))


@lru_cache(maxsize=1)
def _held_design(path: str, settings: bytes) -> SharedDesign:
    design = shared_design(Path(path), pickle.loads(settings))
    design.hold()
    return design


def _answers(
    executor: Executor, jobs: Sequence[CrownJob]
) -> Iterator[tuple[int, TrayCrown] | None]:
    """Yield each job's place and answer as it ends; None whenever some time passes without."""
    running: dict[Future[TrayCrown], int] = {}
    try:
        running = {executor.submit(check_crown, job): place for place, job in enumerate(jobs)}
        while running:
            ended, _ = wait(running, timeout=EVERY_S, return_when=FIRST_COMPLETED)
            for future in ended:
                yield running.pop(future), future.result()
            if not ended:
                yield None
    except BrokenExecutor as problem:
        raise CuspwiseError(
            "A process ended before its crown was checked.",
            subject="tray",
            remedy="There may be too little memory for so many crowns at once: check them one by "
            "one.",
            arguments=("workers",),
        ) from problem
    finally:
        for future in running:
            future.cancel()


def _progress(done: int, count: int, started: float) -> Progress:
    left = (time.monotonic() - started) / done * (count - done) if done else None
    return Progress(f"Crowns: {done} of {count} checked", done / count, left)
