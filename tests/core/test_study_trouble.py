"""``cuspwise study`` where something is wrong with disk, scans, groups or scores."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.report.study import output
from made.small_studies import STUDY, write_small_study, written
from made.tiers import slow

HEAD = 'design = "design.stl"\n'
SETTINGS = STUDY[STUDY.index("[analysis]") :]

Make = Callable[..., Path]


def study(file: Path, out: Path) -> Result:
    options = ["--out", str(out), "--workers", "1", "--no-pictures"]
    return CliRunner().invoke(main, ["study", str(file), *options], catch_exceptions=False)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_small_study(tmp_path_factory.mktemp("study"), {"a": 3, "b": 2})


@pytest.fixture(scope="module")
def whole(file: Path) -> Path:
    """Results of a run in which nothing goes wrong."""
    out = file.parent / "whole"
    assert study(file, out).exit_code == 0
    return out


@pytest.fixture
def no_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(output, "can_plot", lambda: False)


@pytest.fixture
def make(file: Path, tmp_path: Path, no_figures: None) -> Make:
    """Write a study of copies of scans; the text of a scan stands for one that is no mesh."""

    def maker(groups: dict[str, list[str]], more: str = "") -> Path:
        shutil.copy(file.parent / "design.stl", tmp_path)
        text = HEAD
        for group, scans in groups.items():
            (tmp_path / group).mkdir()
            for k, scan in enumerate(scans):
                target = tmp_path / group / f"{k}.stl"
                source = file.parent / scan
                target.write_bytes(source.read_bytes() if source.is_file() else scan.encode())
            text += f'[groups.{group}]\nscans = ["{group}/*.stl"]\n'
        (tmp_path / "study.toml").write_text(text + SETTINGS + more, encoding="utf-8")
        return tmp_path / "study.toml"

    return maker


# The disk -------------------------------------------------------------------------------------


class Disk:
    """Counts files that are written, and is full from one of them on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, full_from: float = np.inf) -> None:
        self.writes = 0
        self._full_from = full_from
        self._sync = os.fsync
        monkeypatch.setattr(os, "fsync", self._write)

    def _write(self, stream: int) -> None:
        self.writes += 1
        if self.writes > self._full_from:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        self._sync(stream)


@pytest.mark.slow
def test_a_disk_that_is_full_at_any_moment_loses_nothing(
    file: Path, whole: Path, tmp_path: Path
) -> None:
    """Two moments while scans and pairs are kept, one while the report is written."""
    rng = np.random.default_rng(5)
    files = written(whole)
    with pytest.MonkeyPatch.context() as patch:
        count = Disk(patch)
        assert study(file, tmp_path / "counted").exit_code == 0
    kept = len(list((whole / "kept").iterdir()))
    assert count.writes > kept + 20
    moments = [*rng.integers(0, kept, 2), rng.integers(kept, count.writes)]
    for number, moment in enumerate(moments):
        out = tmp_path / str(number)
        with pytest.MonkeyPatch.context() as patch:
            Disk(patch, full_from=float(moment))
            result = study(file, out)
        assert result.exit_code == 1
        words = " ".join(result.output.split())
        assert str(out) in result.output.replace("\n", "")
        assert os.strerror(errno.ENOSPC) in words
        assert "Make room" in words or "space left" in words
        assert not [f for f in out.rglob("*") if f.name.startswith(".")]
        assert not written(out)  # a report is there whole or not at all
        again = study(file, out)
        assert again.exit_code == 0
        assert written(out) == files


def test_a_full_disk_leaves_the_earlier_report(
    file: Path, whole: Path, tmp_path: Path, no_figures: None
) -> None:
    out = tmp_path / "out"
    shutil.copytree(whole, out)
    before = written(out)
    with pytest.MonkeyPatch.context() as patch:
        Disk(patch, full_from=5)
        assert study(file, out).exit_code == 1
    assert written(out) == before


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Callable[[str], Path]]:
    """Mount a disk of a given size; again for another one."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = False

    def mount(options: str) -> Path:
        nonlocal mounted
        options = f"remount,{options}" if mounted else options
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)]
        done = shutil.which("mount") and subprocess.run(command, check=False, capture_output=True)
        if not done or done.returncode:
            pytest.skip("Mounting a disk is not permitted here.")
        mounted = True
        return place

    yield mount
    if mounted:
        subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("share", [0.3, slow(0.9)])
def test_a_disk_that_really_is_full(
    file: Path, whole: Path, small_disk: Callable[[str], Path], share: float
) -> None:
    size = sum(f.stat().st_size for f in whole.rglob("*") if f.is_file())
    out = small_disk(f"size={int(share * size / 1024)}k") / "out"
    result = study(file, out)
    assert result.exit_code == 1
    assert "No space left on device" in " ".join(result.output.split())
    small_disk("size=64m")
    assert study(file, out).exit_code == 0
    assert written(out) == written(whole)


def test_a_disk_that_is_read_only(
    file: Path, whole: Path, small_disk: Callable[[str], Path], no_figures: None
) -> None:
    out = small_disk("size=64m") / "out"
    shutil.copytree(whole, out)
    small_disk("ro,size=64m")
    fresh = study(file, out.with_name("new"))
    assert fresh.exit_code == 1
    assert "Read-only file system. Choose another folder" in " ".join(fresh.output.split())
    again = study(file, out)
    assert again.exit_code == 1
    assert "Read-only file system" in " ".join(again.output.split())
    assert written(out) == written(whole)


# Scans and groups -----------------------------------------------------------------------------


def test_no_scan_at_all_can_be_used(make: Make, tmp_path: Path) -> None:
    result = study(make({"a": ["no mesh"], "b": ["no mesh", "none either"]}), tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 1
    assert "None of the scans can be used. a/0: It has" in words
    assert "Check that the scans are of crowns made from this design" in words


def test_a_group_without_usable_scans_is_told_and_the_other_described(
    make: Make, tmp_path: Path
) -> None:
    result = study(make({"a": ["a/0.stl", "a/1.stl"], "b": ["no mesh"]}), tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 1
    assert "Without any usable crown: b." in words
    assert "0 was left out: It has" in words or "b/0 was left out: It has" in words
    assert {"report.html", "study.json"} <= {f.name for f in (tmp_path / "out").iterdir()}


def test_a_group_without_files_stops_before_anything_is_measured(
    make: Make, tmp_path: Path
) -> None:
    result = study(make({"a": ["a/0.stl"], "b": []}), tmp_path / "out")
    assert result.exit_code == 1
    assert 'groups.b.scans: No scan matches "b/*.stl"' in " ".join(result.output.split())
    assert not (tmp_path / "out").exists()


def test_one_crown_per_group_is_described_and_not_compared(make: Make, tmp_path: Path) -> None:
    result = study(make({"a": ["a/0.stl"], "b": ["b/0.stl"]}), tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 0
    assert "b has 1, a has 1" in words
    assert "One crown only: a and b. Its spread is unknown; nothing is tested." in words


def test_identical_crowns_have_no_spread_to_judge_by(make: Make, tmp_path: Path) -> None:
    scans = {"a": ["a/0.stl"] * 3, "b": ["b/0.stl"] * 3}
    result = study(make(scans), tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 0
    assert "Neither group has any spread, so there is nothing to judge a difference by." in words
    assert "Group a: some of its scan files have the same content." in words


def test_a_scan_that_cannot_be_read_is_left_out(make: Make, tmp_path: Path) -> None:
    """Permissions do not bind the administrator, so a file that no one can read stands in."""
    if not Path("/proc/self/mem").exists():
        pytest.skip("There is no file here that cannot be read.")
    plan = make({"a": ["a/0.stl", "a/1.stl"], "b": ["b/0.stl", "b/1.stl"]})
    (tmp_path / "a" / "0.stl").unlink()
    (tmp_path / "a" / "0.stl").symlink_to("/proc/self/mem")
    result = study(plan, tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 1
    assert "Left out: a/0: It cannot be read (" in words
    assert "Check that the file is there and may be read." in words
    assert len((tmp_path / "out" / "tables" / "left_out.csv").read_text().splitlines()) == 2


# Scores ---------------------------------------------------------------------------------------


def scores(folder: Path, gaps: dict[str, str]) -> str:
    lines = [f"{crown},{who},{gap}" for crown, gap in gaps.items() for who in ("x", "y")]
    (folder / "scores.csv").write_text("\n".join(["crown,examiner,gap", *lines, ""]))
    return '[examiners]\nfile = "scores.csv"\n'


def test_missing_scores_are_told_and_the_rest_is_used(make: Make, tmp_path: Path) -> None:
    given = {"a/0": "0", "a/1": "nan", "b/0": "", "b/1": "NaN"}
    more = scores(tmp_path, given)
    plan = make({"a": ["a/0.stl", "a/1.stl"], "b": ["b/0.stl", "b/1.stl"]}, more)
    result = study(plan, tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 0
    assert "The score of gap is missing for a/1 by x, a/1 by y, b/0 by x" in words
    table = (tmp_path / "out" / "tables" / "examiner_groups.csv").read_text().splitlines()
    assert table[1].startswith("gap,a,1,1; 0; 0,1,")


def test_scores_that_are_none_are_told_with_their_lines(make: Make, tmp_path: Path) -> None:
    more = scores(tmp_path, {"a/0": "fine", "b/0": "11"})
    result = study(make({"a": ["a/0.stl"], "b": ["b/0.stl"]}, more), tmp_path / "out")
    words = " ".join(result.output.split())
    assert result.exit_code == 1
    assert 'scores.csv:2: gap: "fine" is not a score.' in words
    assert 'scores.csv:4: gap: "11" is not a score.' in words
    assert not (tmp_path / "out").exists()
