"""Who does the work of a study: this process, processes beside it, or a cluster."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager

from ...errors import SettingError


@contextmanager
def executor_of(
    workers: int | None = None, scheduler: str | None = None
) -> Iterator[Executor | None]:
    """Lend an executor for a study; None means that this process works alone.

    Parameters
    ----------
    workers : int, optional
        Processes on this machine; as many as it has processors by default.
    scheduler : str, optional
        Address of a Dask scheduler, whose workers see the same files under the same paths.

    Raises
    ------
    SettingError
        No worker at all, Dask missing, or no scheduler at that address.
    """
    if scheduler is not None:
        with _dask(scheduler) as executor:
            yield executor
        return
    count = workers if workers is not None else os.cpu_count() or 1
    if count < 1:
        raise SettingError(
            f"{count} workers cannot do anything.",
            subject="workers",
            remedy="Give a number of processes from 1 on.",
        )
    if count == 1:
        yield None
        return
    # Started afresh, not forked: a forked process would inherit locks that other threads hold.
    pool = ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn"))
    try:
        for _ in range(count):  # so that they have started when the first work comes
            pool.submit(_load)
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def _load() -> None:
    """Load what a worker will need."""
    from . import pair_job  # noqa: F401


@contextmanager
def _dask(address: str) -> Iterator[Executor]:
    try:
        from distributed import Client
    except ImportError as problem:
        raise SettingError(
            "Dask is not installed.",
            subject="scheduler",
            remedy='Install it with pip install "cuspwise[cluster]".',
        ) from problem
    try:
        client = Client(address, timeout="20s", set_as_default=False)
    except (OSError, TimeoutError, ValueError) as problem:
        raise SettingError(
            f"No Dask scheduler answers at {address}: {problem}.",
            subject="scheduler",
            remedy="Start one with 'dask scheduler', or check the address.",
        ) from problem
    try:
        # A job that loses its worker is given to another one; results are files, so no harm.
        yield client.get_executor(retries=3)
    finally:
        client.close()
