"""Worker processes of ``cuspwise study`` end with it, and Ctrl-C says how to go on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from cuspwise.standalone_core.study.measuring.executors import executor_of
from made.small_studies import write_small_study, written

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/task").exists(), reason="Children of others are read from /proc."
)

STUDY = "from cuspwise.standalone_core.cli.main import main; main()"
BUSY = """
import sys, time
from cuspwise.standalone_core.study.measuring.executors import executor_of
if __name__ == "__main__":
    with executor_of({count}) as executor:
        for step in {steps!r}:
            executor.submit(exec, step)
        time.sleep(600)
"""
LONG_STEPS = {
    "python": "while True: pass",
    "numpy": "a = numpy.random.default_rng(0).random(1 << 22)\nwhile True: numpy.sort(a)",
    "scipy": "a = numpy.random.default_rng(0).random((1 << 18, 3))\nwhile True: cKDTree(a)",
}
"""Loops of Python, and of calls that let other threads run or do not."""
SOON_S = 10.0  # a few seconds, on a machine that has other work


def workers_of(process: int) -> list[int]:
    """Children that run Python's spawned workers, not the tracker of resources."""
    children = Path(f"/proc/{process}/task/{process}/children")
    found = [int(number) for number in children.read_text().split()] if children.exists() else []
    return [number for number in found if b"spawn_main" in command_line(number)]


def command_line(process: int) -> bytes:
    try:
        return Path(f"/proc/{process}/cmdline").read_bytes()
    except OSError:
        return b""


def at_work(processes: list[int]) -> list[int]:
    """Those that have not ended; what has ended and waits for its parent has no command line."""
    return [number for number in processes if command_line(number)]


def ended(processes: list[int]) -> bool:
    """Whether they end soon by themselves; they are made to, if they do not."""
    done = until(lambda: not at_work(processes), SOON_S)
    for number in at_work(processes):
        os.kill(number, signal.SIGKILL)
    return done


def until(
    moment: Callable[[], bool], limit_s: float, process: subprocess.Popen[str] | None = None
) -> bool:
    """Wait for a moment, as long as a process runs."""
    end = time.monotonic() + limit_s
    while time.monotonic() < end and (process is None or process.poll() is None):
        if moment():
            return True
        time.sleep(0.05)
    return moment()


def started(code: str, *arguments: str) -> subprocess.Popen[str]:
    """Start Python in a session of its own, as a terminal does."""
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), {"a": 2, "b": 1})


def command(study: Path, out: Path) -> list[str]:
    return ["study", str(study), "--out", str(out), "--workers", "2", "--no-pictures"]


def test_workers_end_when_the_study_is_killed(study: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    process = started(STUDY, *command(study, out))
    assert until(lambda: any((out / "kept").glob("scan-*")), 120, process)
    workers = workers_of(process.pid)
    assert len(workers) == 2
    process.kill()
    process.wait()
    assert ended(workers)


def test_workers_in_the_middle_of_a_long_step_end_too(tmp_path: Path) -> None:
    begun = "import numpy; from scipy.spatial import cKDTree; open({!r}, 'w')\n"
    steps = [begun.format(str(tmp_path / name)) + step for name, step in LONG_STEPS.items()]
    script = tmp_path / "busy.py"
    script.write_text(BUSY.format(count=len(steps), steps=steps))
    process = subprocess.Popen([sys.executable, str(script)])
    try:
        assert until(lambda: LONG_STEPS.keys() <= {*os.listdir(tmp_path)}, 120)
        workers = workers_of(process.pid)
        assert len(workers) == len(LONG_STEPS)
        assert at_work(workers) == workers
        process.kill()
        process.wait()
        assert ended(workers)
    finally:
        process.kill()


def test_work_that_is_not_wanted_any_more_is_not_waited_for(tmp_path: Path) -> None:
    begun = tmp_path / "begun"

    def give_up() -> None:
        with executor_of(2) as executor:
            assert executor is not None
            executor.submit(exec, f"open({str(begun)!r}, 'w')\nwhile True: pass")
            assert until(begun.exists, 120)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        give_up()
    assert time.time() - begun.stat().st_mtime < SOON_S
    assert not at_work(workers_of(os.getpid()))


def test_ctrl_c_says_what_is_kept_and_the_same_command_goes_on(study: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    process = started(STUDY, *command(study, out))
    assert until(lambda: any((out / "kept").glob("scan-*")), 120, process)
    workers = workers_of(process.pid)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers too
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert not at_work(workers)
    words = " ".join(said.split())
    assert "Stopped at: " in words
    assert "of 3 measured" in words or "of 1 compared" in words
    assert f"What was measured before is kept in {out / 'kept'} (" in words
    assert "the same command goes on from there" in words
    assert "cuspwise tidy" in words
    assert "Traceback" not in said
    assert not list(out.rglob(".*"))
    before = {file: file.stat().st_mtime_ns for file in (out / "kept").glob("scan-*")}
    again = started(STUDY, *command(study, out))
    again.communicate()
    assert again.returncode == 0
    assert before.items() <= {f: f.stat().st_mtime_ns for f in (out / "kept").iterdir()}.items()
    assert {"study.json", "tables/trueness.csv"} <= written(out).keys()


def test_ctrl_c_before_anything_is_measured(study: Path, tmp_path: Path) -> None:
    process = started(STUDY, *command(study, tmp_path / "out"))
    assert until((tmp_path / "out" / "kept").is_dir, 120, process)
    os.killpg(process.pid, signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in said
    assert "No scan had been measured yet" in " ".join(said.split())
