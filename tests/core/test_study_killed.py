"""``cuspwise study`` killed at any moment of its run goes on to the same bytes."""

from __future__ import annotations

import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from made.small_studies import STUDY, write_small_study, written

GROUPS = {"a": 3, "b": 2}
ENTRIES = {"scan": 5, "pair": 4}

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="Processor times of others are read from /proc."
)

RUN = "from cuspwise.standalone_core.cli.main import main; main()"


def command(study: Path, out: Path) -> list[str]:
    options = ["--out", str(out), "--workers", "1", "--no-pictures"]
    return [sys.executable, "-c", RUN, "study", str(study), *options]


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), GROUPS, STUDY)


@pytest.fixture(scope="module")
def whole(study: Path) -> tuple[dict[str, bytes], float]:
    """Files of a run that nobody stops, and its processor time, which other load hardly moves."""
    out = study.parent / "whole"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command(study, out), check=True, stdout=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return written(out), after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def kill_when(moment: Callable[[int], bool], study: Path, out: Path) -> bool:
    """Start the study and kill it once a moment has come; return whether it was still at work."""
    process = subprocess.Popen(command(study, out), stdout=subprocess.DEVNULL)
    while process.poll() is None:
        if moment(process.pid):
            process.send_signal(signal.SIGKILL)
        time.sleep(0.005)
    return process.wait() == -signal.SIGKILL


def worked_for(seconds: float) -> Callable[[int], bool]:
    """The moment when a process has used so much processor time: utime and stime of proc(5)."""

    def moment(process: int) -> bool:
        ticks = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[11:13]
        return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK") >= seconds

    return moment


def wrote(files: int, out: Path) -> Callable[[int], bool]:
    """The moment when so many files lie in a folder, half-written ones among them."""

    def moment(process: int) -> bool:
        return sum(len(names) for _, _, names in os.walk(out)) >= files

    return moment


def reached(out: Path) -> str:
    """How far a run had come, by what lies in its folder."""
    names = [file.name for file in (out / "kept").glob("*.npz")] if out.exists() else []
    if not names:
        return "before the first crown"
    if sum(name.startswith("scan") for name in names) < ENTRIES["scan"]:
        return "crowns"
    if sum(name.startswith("pair") for name in names) < ENTRIES["pair"]:
        return "pairs"
    if not list(out.glob(".cuspwise-*")):
        return "maps, statistics or putting in place"
    return "tables, figures"


@pytest.mark.slow
def test_it_says_no_time_of_day_outside_the_page(
    whole: tuple[dict[str, bytes], float],
) -> None:
    files, _ = whole
    assert {"study.json", "methods.txt", "tables/trueness.csv", "maps/a.ply"} <= set(files)
    assert "seconds" not in json.loads(files["study.json"])


MANY = int(os.environ.get("CUSPWISE_KILLS", "2"))


@pytest.mark.slow
@pytest.mark.timeout(1200)
def test_killed_at_random_moments_of_the_whole_run_it_goes_on_to_the_same_bytes(
    study: Path, whole: tuple[dict[str, bytes], float], tmp_path: Path
) -> None:
    """Moments are spread over a run's time and over the files that it writes, with chance within.

    Every other run is killed twice.
    """
    files, seconds = whole
    times = MANY
    rng = np.random.default_rng(int(os.environ.get("CUSPWISE_KILL_SEED", "3")))
    shares = (np.arange(times) + rng.random(times)) / times
    total = len(files) + ENTRIES["scan"] * 2 + ENTRIES["pair"]
    stages: Counter[str] = Counter()
    for number, share in enumerate(shares):
        out = tmp_path / f"out {number}"
        by_time = number % 2 == 0
        moment = worked_for(share * seconds) if by_time else wrote(int(1 + share * total), out)
        if kill_when(moment, study, out):
            stages[reached(out)] += 1
        if number % 4 < 2:
            kill_when(worked_for(float(rng.uniform(0.3, 1.0) * seconds)), study, out)
        subprocess.run(command(study, out), check=True, stdout=subprocess.DEVNULL)
        again = written(out)
        assert [n for n in again if not n.startswith(".cuspwise-")] == list(files)
        assert [n for n in files if again[n] != files[n]] == [], f"killed at {share:.0%}"
    print(f"killed {stages.total()} of {times} runs of {seconds:.1f} s: {dict(stages)}")
    assert stages.total() >= 0.8 * times  # the last ones may have been done
    assert times < 20 or len(stages) >= 4
