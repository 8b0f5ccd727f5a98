"""Commands run as whole processes: what they wrote, how long, and how much they took."""

from __future__ import annotations

import os
import subprocess
import time
from typing import NamedTuple

from ratios import THREAD_NAMES


class Done(NamedTuple):
    """A process that has ended.

    ``cpu_s`` and ``memory_mb`` (peak, resident) are of the process and of those that it waited
    for; the latter is the largest of them.
    """

    output: str
    wall_s: float
    cpu_s: float
    memory_mb: float


def call(command: list[str]) -> Done:
    """Run a process as its user would.

    How many threads linear algebra has is left to the process: what this one was given for the
    benchmarks inside it is not handed on.
    """
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    surroundings = {name: text for name, text in os.environ.items() if name not in THREAD_NAMES}
    start = time.perf_counter()
    process = subprocess.Popen(command, env=surroundings, text=True, **pipes)
    output = process.stdout.read() if process.stdout else ""
    message = process.stderr.read() if process.stderr else ""
    _, status, usage = os.wait4(process.pid, 0)
    wall_s = time.perf_counter() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(command)} failed: {message[-2000:]}")
    return Done(output, wall_s, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)
