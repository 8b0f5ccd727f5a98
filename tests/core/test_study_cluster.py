"""A study on a local Dask cluster, with a worker killed half-way."""

from __future__ import annotations

import os
import signal
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core.causes.settings import CausesSettings
from cuspwise.standalone_core.check import CheckSettings
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise
from cuspwise.standalone_core.errors import SettingError
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.records import plain
from cuspwise.standalone_core.study.measuring import executors
from cuspwise.standalone_core.study.measuring.executors import executor_of
from cuspwise.standalone_core.study.measuring.run import run_study
from cuspwise.standalone_core.study.plan import GroupPlan, StudyPlan
from distributed import LocalCluster
from made.crowns import demo_crown

EDGE_MM = 0.4
CROWNS = 6


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> StudyPlan:
    folder = tmp_path_factory.mktemp("study")
    design = demo_crown(EDGE_MM)
    file = write_mesh(folder / "design.stl", design.mesh)
    errors = ProductionErrors(noise=ScannerNoise(2.0))
    rng = np.random.default_rng(4)
    scans = tuple(
        write_mesh(folder / f"{k}.stl", produce(design, errors, edge_mm=EDGE_MM, rng=rng).mesh)
        for k in range(CROWNS)
    )
    group = GroupPlan("a", "a", scans)
    settings = CheckSettings(spacing_mm=0.4, causes=CausesSettings(find_causes=False))
    return StudyPlan(None, "Test", "?", file, (group,), settings)


def _kill_after_the_first_scan(kept: Path, pid: int) -> None:
    while not list(kept.glob("scan-*.npz")):
        time.sleep(0.02)
    os.kill(pid, signal.SIGKILL)


@pytest.mark.slow  # of this computer's own workers, one is killed in test_study_run.py
def test_a_killed_worker_costs_nothing_but_time(plan: StudyPlan, tmp_path: Path) -> None:
    alone = run_study(plan, tmp_path / "alone")
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        pid = next(iter(cluster.workers.values())).pid
        killer = threading.Thread(
            target=_kill_after_the_first_scan, args=(tmp_path / "cluster" / "kept", pid)
        )
        killer.start()
        with executor_of(scheduler=cluster.scheduler_address) as executor:
            found = run_study(plan, tmp_path / "cluster", executor=executor)
        killer.join()
        assert pid not in {worker.pid for worker in cluster.workers.values()}
    assert not found.left_out
    assert plain([crown.measures for crown in found.crowns]) == plain(
        [crown.measures for crown in alone.crowns]
    )
    assert plain(found.pairs) == plain(alone.pairs)


def test_no_scheduler_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(executors, "ANSWER_S", 2)  # it waits longer for one that may be busy
    with (
        pytest.raises(SettingError, match="No Dask scheduler answers"),
        executor_of(scheduler="tcp://127.0.0.1:9"),
    ):
        pass


def test_no_worker_is_refused() -> None:
    with pytest.raises(SettingError, match="0 workers"), executor_of(0):
        pass
