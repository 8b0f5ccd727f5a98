"""What ``cuspwise study`` keeps for its next run: how much, said, dropped, damaged, out of date."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.readable import size_words
from made.small_studies import write_small_study, written
from made.tiers import slow


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(part) for part in arguments], catch_exceptions=False)


def study(where: Path, out: Path, *more: str) -> Result:
    return call("study", where, "--out", out, "--workers", 1, "--no-pictures", *more)


def words_of(result: Result) -> str:
    return " ".join(result.output.split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    return write_small_study(folder, {"a": 2, "b": 1}).parent


@pytest.fixture(scope="module")
def first(folder: Path) -> Result:
    """The first run, of the folder instead of its study file, with the results where they go."""
    result = call("study", folder, "--workers", 1, "--no-pictures")
    assert result.exit_code == 0, result.output
    return result


@pytest.fixture
def out(folder: Path, first: Result, tmp_path: Path) -> Path:
    """A copy of its results."""
    return Path(shutil.copytree(folder / "study_results", tmp_path / "my_results"))


def test_a_folder_stands_for_its_study_file(folder: Path, first: Result, tmp_path: Path) -> None:
    by_name = study(folder / "study.toml", tmp_path / "out")
    assert by_name.exit_code == 0
    assert written(tmp_path / "out") == written(folder / "study_results")


def test_a_folder_without_a_study_file_is_refused(tmp_path: Path) -> None:
    result = study(tmp_path, tmp_path / "out")
    assert result.exit_code == 1
    assert "study.toml: The study file cannot be read" in words_of(result)


def test_a_folder_stands_for_its_pilot(folder: Path, first: Result) -> None:
    options = ("--area", "whole", "--difference", "5", "--json")
    with_folder = [
        call("plan", "--from", place, *options)
        for place in (folder, folder / "study_results", folder / "study_results" / "study.json")
    ]
    assert len({result.output for result in with_folder}) == 1
    assert json.loads(with_folder[0].output)["rows"][0]["first"]["n"] == 2


def test_where_and_how_large_it_is_is_said(folder: Path, first: Result) -> None:
    kept = folder / "study_results" / "kept"
    size = sum(file.stat().st_size for file in kept.iterdir())
    assert f"{size_words(size)}. 'cuspwise tidy" in words_of(first)
    assert str(kept) in first.output.replace("\n", "")


def test_nothing_is_kept_that_is_not_asked_for(
    folder: Path, first: Result, out: Path, tmp_path: Path
) -> None:
    result = study(folder, tmp_path / "fresh", "--no-keep")
    assert result.exit_code == 0
    assert not (tmp_path / "fresh" / "kept").exists()
    assert "Kept for the next run" not in result.output
    assert written(tmp_path / "fresh") == written(folder / "study_results")
    again = study(folder, out, "--no-keep")  # what an earlier run kept is used, and dropped
    assert again.exit_code == 0
    assert not (out / "kept").exists()


@pytest.mark.parametrize("named", ["", "my_results", "my_results/kept", "my.toml"])
def test_tidy_drops_what_is_kept_and_nothing_else(out: Path, named: str) -> None:
    (out.parent / "my.toml").write_text("")
    (out / "kept" / "notes.npz").write_text("somebody else's")
    old = out / "kept" / f"areas-{'0' * 32}.json"
    old.write_text("as formats before kept it")
    before = written(out)
    size = sum(f.stat().st_size for f in (out / "kept").iterdir()) - len("somebody else's")
    result = call("tidy", out.parent / named)
    assert result.exit_code == 0
    assert f"Dropped {size_words(size)}: " in words_of(result)
    assert [file.name for file in (out / "kept").iterdir()] == ["notes.npz"]
    assert written(out) == before
    again = call("tidy", out.parent / named)
    assert again.exit_code == 1
    assert "Nothing that a study keeps lies there." in words_of(again)


def as_before(file: Path) -> None:
    """Write an entry as the format before did: another record, other arrays."""
    record = np.frombuffer(json.dumps({"triangles": 7, "notes": []}).encode(), dtype=np.uint8)
    buffer = io.BytesIO()
    np.savez(buffer, record=record, deviation_mm=np.zeros(3), back_points_mm=np.zeros((3, 3)))
    file.write_bytes(buffer.getvalue())


def cut_off(file: Path) -> None:
    file.write_bytes(file.read_bytes()[:-100])


def flipped(file: Path) -> None:
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)


@pytest.mark.parametrize(
    ("kind", "damage"),
    [
        slow("scan", as_before),
        ("scan", flipped),
        ("rows", as_before),
        slow("rows", Path.unlink),
        slow("pair", flipped),
        ("areas", cut_off),
    ],
)
def test_what_is_damaged_or_of_another_format_is_measured_anew(
    folder: Path, out: Path, kind: str, damage: Callable[[Path], None]
) -> None:
    files = sorted((out / "kept").glob(f"{kind}-*"))
    whole = {file.name: file.read_bytes() for file in files}
    damage(files[0])
    before = written(out)
    result = study(folder, out)
    assert result.exit_code == 0, result.output
    assert written(out) == before
    assert {file.name: file.read_bytes() for file in files} == whole
