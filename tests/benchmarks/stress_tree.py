"""Thousands of superimpositions and checks at once: does any process end in a crash?

``python tests/benchmarks/stress_tree.py [--count 2000] [--processes 4] [--threads 3] [--each 50]``
starts processes, ``--processes`` of them at a time; each does ``--each`` jobs on coarse crowns in
``--threads`` threads that share the design's trees, and ends. Printed are the counts of their exit
codes: 0 is well, a negative one is the signal that killed the process, 1 a job that failed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from functools import partial

COUNT, PROCESSES, THREADS, EACH = 2_000, 4, 3, 50
EDGE_MM = 0.5
CHECK_EVERY = 4


def run(
    count: int = COUNT, processes: int = PROCESSES, threads: int = THREADS, each: int = EACH
) -> Counter[int]:
    """Do ``count`` jobs and return how many processes ended with which exit code."""
    sizes = [min(each, count - start) for start in range(0, count, each)]
    ended: Counter[int] = Counter()
    with ThreadPoolExecutor(processes) as pool:
        start = partial(_process, threads)
        for number, (code, said) in enumerate(pool.map(start, sizes, range(len(sizes))), 1):
            ended[code] += 1
            if code:
                print(f"process {number} ended with {code}: {said[-2000:]}", flush=True)
    codes = ", ".join(f"{code}: {ended[code]}" for code in sorted(ended))
    print(
        f"{count} jobs, {processes} processes at a time with {threads} threads each; "
        f"processes by exit code: {codes}",
        flush=True,
    )
    return ended


def _process(threads: int, size: int, seed: int) -> tuple[int, str]:
    call = [sys.executable, "-X", "faulthandler", __file__, "--work", str(size)]
    call += ["--threads", str(threads), "--seed", str(seed)]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    return done.returncode, done.stderr


def work(size: int, threads: int, seed: int) -> None:
    """Do ``size`` jobs in threads: most lay a crown on one shared design, some check it all."""
    import numpy as np
    from cuspwise.standalone_core.check import check_meshes
    from cuspwise.standalone_core.demo.crown import demo_crown
    from cuspwise.standalone_core.demo.production import random_pose
    from cuspwise.standalone_core.superimpose.prepared import PreparedDesign
    from cuspwise.standalone_core.superimpose.superimposition import superimpose
    from cuspwise.standalone_core.surface.closest import SurfaceIndex

    rng = np.random.default_rng(seed)
    mesh = demo_crown(EDGE_MM).mesh
    shared = PreparedDesign(SurfaceIndex(mesh, threads=threads))
    scans = [mesh.moved(random_pose(rng)) for _ in range(size)]

    def job(number: int) -> None:
        if number % CHECK_EVERY:
            verdict = superimpose(scans[number], shared).verdict
        else:
            verdict = check_meshes(mesh, scans[number]).superimposition.verdict
        if verdict != "good":
            raise RuntimeError(f"Job {number} of seed {seed}: {verdict}.")

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(job, range(size)))


def main() -> int:
    """Start the processes, or be one of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=COUNT)
    parser.add_argument("--processes", type=int, default=PROCESSES)
    parser.add_argument("--threads", type=int, default=THREADS)
    parser.add_argument("--each", type=int, default=EACH)
    parser.add_argument("--work", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--seed", type=int, default=0, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.work is not None:
        work(given.work, given.threads, given.seed)
        return 0
    return int(set(run(given.count, given.processes, given.threads, given.each)) != {0})


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(main())
