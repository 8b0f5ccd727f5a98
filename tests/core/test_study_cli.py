"""``cuspwise study``: from a folder of scans to tables, with a bad scan among them."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from cuspwise.standalone_core.check import CheckSettings, check
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors, ScannerNoise
from cuspwise.standalone_core.mesh.write import write_mesh
from made.crowns import demo_crown

EDGE_MM = 0.4
AS_NEW = CheckSettings().spacing_mm
"""What a study file that ``cuspwise new`` wrote says; these studies take coarser points."""


def call(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A design, crowns made in two ways, and the study file written for them."""
    folder = tmp_path_factory.mktemp("crowns")
    design = demo_crown(EDGE_MM)
    write_mesh(folder / "design.stl", design.mesh)
    rng = np.random.default_rng(8)
    for group, scale in (("milled", 1.0), ("printed", 0.997)):
        (folder / group).mkdir()
        for k in range(2):
            errors = ProductionErrors(scale=(scale,) * 3, noise=ScannerNoise(2.0))
            crown = produce(design, errors, edge_mm=EDGE_MM, rng=rng)
            write_mesh(folder / group / f"{k}.stl", crown.mesh)
    assert call("new", folder).exit_code == 0
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    assert text.count(f"\n#spacing_mm = {AS_NEW}\n") == 1
    changed = text.replace(f"#spacing_mm = {AS_NEW}", f"spacing_mm = {EDGE_MM}")
    file.write_text(changed, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def studied(folder: Path) -> Result:
    """The study run into the folder beside its file."""
    return call("study", folder / "study.toml", "--workers", 1)


def rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8-sig", newline="") as stream:
        return list(csv.DictReader(stream))


def test_a_study_writes_tidy_tables(folder: Path, studied: Result) -> None:
    assert studied.exit_code == 0, studied.output
    assert "Not a medical device" in studied.output
    out = folder / "study_results"
    document = json.loads((out / "study.json").read_text(encoding="utf-8"))
    assert document["analysis"]["verdict"][0]["sentence"] in " ".join(studied.output.split())
    assert [crown["group"] for crown in document["crowns"]] == ["milled"] * 2 + ["printed"] * 2
    true = rows(out / "tables" / "trueness.csv")
    keys = [(r["crown"], r["direction"], r["area"], r["measure"]) for r in true]
    assert len(set(keys)) == len(keys)
    scan = folder / "printed" / "1.stl"
    single = check(folder / "design.stl", scan, CheckSettings(spacing_mm=EDGE_MM))
    for area in ("whole", "margin"):
        for measure in ("mean_abs_um", "rms_um", "half_p90_p10_um"):
            (value,) = (
                r["value"]
                for r in true
                if (r["crown"], r["direction"], r["area"], r["measure"])
                == ("printed/1", "design_to_scan", area, measure)
            )
            expected = getattr(single.measures_of(area), measure)
            assert float(value) == pytest.approx(expected, rel=1e-9)
    pairs = rows(out / "tables" / "pairs.csv")
    assert {(r["first_crown"], r["second_crown"]) for r in pairs} == {
        ("milled/0", "milled/1"),
        ("printed/0", "printed/1"),
    }
    told = rows(out / "tables" / "README.csv")
    assert {r["table"] for r in told} == {file.stem for file in (out / "tables").glob("*.csv")}
    assert all(r["meaning"] for r in told)


@pytest.mark.slow
def test_a_second_run_writes_the_same_bytes(folder: Path, studied: Result, tmp_path: Path) -> None:
    """Measured anew in another folder, and once more from what is kept there."""
    assert studied.exit_code == 0
    first, second = folder / "study_results", tmp_path / "two"
    for _ in range(2):
        result = call("study", folder / "study.toml", "--workers", 1, "--out", second)
        assert result.exit_code == 0
    listed = json.loads((first / "study.json").read_text(encoding="utf-8"))["files"]
    names = [name for name in listed if name != "report.html"]  # which tells its date
    assert {"study.json", "tables/trueness.csv", "tables/comparisons.csv"} <= set(names)
    for name in names:
        assert (first / name).read_bytes() == (second / name).read_bytes()


@pytest.mark.slow
def test_a_bad_scan_is_left_out_and_told(folder: Path, studied: Result) -> None:
    assert studied.exit_code == 0
    bad = folder / "milled" / "bad.stl"
    bad.write_bytes(b"solid nothing")
    try:
        result = call("study", folder / "study.toml", "--workers", 1)
    finally:
        bad.unlink()
    assert result.exit_code == 1
    assert "Left out" in result.output
    (row,) = rows(folder / "study_results" / "tables" / "left_out.csv")
    assert row["crown"] == "bad"
    assert row["reason"]
    assert row["remedy"]


def test_a_faulty_study_file_lists_its_mistakes(folder: Path, tmp_path: Path) -> None:
    text = (folder / "study.toml").read_text(encoding="utf-8")
    faulty = folder / "faulty.toml"
    faulty.write_text(text + "\n[tolerancs]\nmargin = 15\n", encoding="utf-8")
    result = call("study", faulty)
    assert result.exit_code == 1
    assert "tolerances" in result.output
    assert "Traceback" not in result.output


def test_results_that_cannot_be_written_are_told(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    result = call("study", folder / "study.toml", "--workers", 1, "--out", tmp_path / "file")
    assert result.exit_code == 1
    assert "folder" in result.output
