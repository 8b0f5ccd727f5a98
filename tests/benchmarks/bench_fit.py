"""Eight demo crowns on their dies, two at a time: seat with play and rocking, and the whole fit.

Edges of 0.1 mm, 2 µm of noise, so contacts are averaged over patches. There is no peer
that seats a crown: rows give our seconds alone. Not part of the short form.
"""

from __future__ import annotations

import multiprocessing
import os
import resource
import time
from collections.abc import Iterator

import numpy as np
from ratios import NO_PEER, Row

CROWNS, PROCESSES = 8, 2
EDGE_MM, NOISE_MM = 0.1, 2e-3
GOAL_CPU_S, GOAL_WALL_S = 5.0, 30.0


def run(short: bool) -> list[Row]:
    """One row for the seats alone, one for all parts of the fit."""
    del short  # there is one form
    asked = f"asked: {GOAL_CPU_S:g} s of CPU each, {GOAL_WALL_S:g} s in all on two quiet processors"
    return [_row("seats with play and rocking", False, asked), _row("whole fits", True, "")]


def _row(what: str, whole: bool, asked: str) -> Row:
    cases = [(seed, whole) for seed in range(CROWNS)]
    # Fresh processes: threads' count is read when numpy loads.
    os.environ["OMP_NUM_THREADS"] = "1"
    with multiprocessing.get_context("spawn").Pool(PROCESSES) as pool:
        pool.map(_ready, range(PROCESSES))
        start = time.perf_counter()
        found = pool.starmap(_one, cases)
        wall_s = time.perf_counter() - start
    cpu_s, made_s, peak_mb = (np.array(column) for column in zip(*found, strict=True))
    wall_s -= made_s.sum() / PROCESSES
    note = f"CPU {np.median(cpu_s):.1f} s each (most {cpu_s.max():.1f}); "
    note += f"{asked}; " if asked else ""
    note += f"load {os.getloadavg()[0]:.1f}"
    does = "Ours alone: " + ("seat, cement space, margin, walls, contacts" if whole else "the seat")
    return Row(
        what=f"{CROWNS} {what}, {PROCESSES} processes",
        peer=NO_PEER,
        ours_s=wall_s,
        peer_s=np.nan,
        ratio=np.nan,
        note=note,
        does=does,
        memory_mb=peak_mb.max(),
    )


def _ready(_: int) -> None:
    """Load what is needed before the clock starts."""
    import cuspwise  # noqa: F401


def _one(seed: int, whole: bool) -> tuple[float, float, float]:
    """CPU of one fit or seat, wall time of making its case, s, and the process's memory, MB."""
    start = time.perf_counter()
    steps = _steps(seed, whole)
    made_s = time.perf_counter() - start
    before = time.process_time()
    for _ in steps:
        pass
    cpu_s = time.process_time() - before
    return cpu_s, made_s, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _steps(seed: int, whole: bool) -> Iterator[object]:
    import cuspwise
    from cuspwise.standalone_core.fit.check_fit import check_fit_of_steps
    from cuspwise.standalone_core.fit.crown import ready_crown_steps
    from cuspwise.standalone_core.fit.die import FitDie
    from cuspwise.standalone_core.fit.inputs import inputs_of
    from cuspwise.standalone_core.fit.seat.seat_crown import seat_crown_steps
    from cuspwise.standalone_core.progress import run
    from cuspwise.standalone_core.surface.closest import SurfaceIndex

    design = cuspwise.demo_crown(edge_mm=EDGE_MM)
    die = cuspwise.demo_die(design, edge_mm=EDGE_MM)
    rng = np.random.default_rng(seed)
    mesh = design.mesh
    off = NOISE_MM * rng.normal(size=(len(mesh.vertices), 1)) * mesh.vertex_normals
    scan = cuspwise.TriangleMesh(mesh.vertices + off, mesh.faces, "scan")
    if whole:
        return check_fit_of_steps(inputs_of(scan, die.mesh, design=mesh))
    crown = run(ready_crown_steps(scan, spacing_mm=EDGE_MM, threads=1))
    index = SurfaceIndex(die.mesh, threads=1)
    return seat_crown_steps(
        crown, FitDie(die.mesh, index, die.insertion), np.eye(4), is_scan=True, intended=np.eye(4)
    )


ROWS = {"fit": run}
SHORT = ()
