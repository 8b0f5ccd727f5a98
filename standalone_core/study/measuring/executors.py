"""Who does the work of a study: this process, processes beside it, or a cluster."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection

from ...atomic import end_process
from ...errors import SettingError

_THREAD_COUNTS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""What linear algebra asks for its count of threads when it is loaded."""

ANSWER_S = 20
"""How long a scheduler may take to answer."""


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
    with _processes(count) as executor:
        yield executor


@contextmanager
def _processes(count: int) -> Iterator[Executor]:
    """Lend processes that end with this one, and at once if it gives up its work.

    They hold one end of a pipe whose other end nobody but this process has: however it ends, they
    notice.
    """
    # Started afresh, not forked: a forked process would inherit locks that other threads hold.
    context = multiprocessing.get_context("spawn")
    listening, held = context.Pipe(duplex=False)
    pool = ProcessPoolExecutor(
        count, mp_context=context, initializer=_start_worker, initargs=(listening,)
    )
    try:
        with _one_thread_each():
            for _ in range(count):  # so that they have started when the first work comes
                pool.submit(_load)
        yield pool
    except BaseException:
        held.close()  # what they work at is not wanted any more
        raise
    finally:
        pool.shutdown(cancel_futures=True)
        held.close()
        listening.close()


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Let processes that start now do linear algebra in one thread, if nobody said otherwise.

    There are as many of them as processors; several threads each would wait for one another.
    """
    ours = {name: "1" for name in _THREAD_COUNTS if name not in os.environ}
    os.environ.update(ours)
    try:
        yield
    finally:
        for name in ours:
            del os.environ[name]


def _start_worker(listening: Connection) -> None:
    """Leave Ctrl-C to the main process, and watch it from a thread, whatever the work is."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(listening,), daemon=True).start()


def _end_with(listening: Connection) -> None:
    """End this process as soon as the other end of the pipe is closed."""
    with suppress(EOFError, OSError):
        listening.recv()
    end_process(1)


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
        client = Client(address, timeout=ANSWER_S, set_as_default=False)
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
