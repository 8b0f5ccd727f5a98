"""The margin line in a study: the same numbers as in a check, and the worst crown by name."""

from __future__ import annotations

import csv
import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from cuspwise.standalone_core.areas.settings import AreaSettings
from cuspwise.standalone_core.check import CheckSettings, check
from cuspwise.standalone_core.cli.main import main
from cuspwise.standalone_core.demo.production import produce
from cuspwise.standalone_core.demo.production_errors import ProductionErrors
from cuspwise.standalone_core.demo.shape import Chip
from cuspwise.standalone_core.deviation.margin_summary import MARGIN_MEASURES
from cuspwise.standalone_core.mesh.write import write_mesh
from cuspwise.standalone_core.study.file.inputs import read_study
from cuspwise.standalone_core.study.measuring.run import run_study
from made.crowns import demo_crown

EDGE_MM = 0.25
DEPTHS_MM = {"a": (0.0, 0.4), "b": (0.0,)}
STUDY = """\
design = "design.stl"
[groups.a]
scans = ["a/*.stl"]
[groups.b]
scans = ["b/*.stl"]
[areas]
mesial_direction = [1, 0, 0]
buccal_direction = [0, 1, 0]
[analysis]
areas = ["margin"]
measures = ["mean_abs_um"]
resamples = 100
[measuring]
spacing_mm = 0.25
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three crowns, of which one lacks 0.4 mm of its margin at 90° (buccal)."""
    folder = tmp_path_factory.mktemp("margins")
    design = demo_crown(EDGE_MM)
    write_mesh(folder / "design.stl", design.mesh)
    rng = np.random.default_rng(8)
    for group, depths in DEPTHS_MM.items():
        (folder / group).mkdir()
        for k, depth in enumerate(depths):
            chips = (Chip(90.0, 3.0, depth),) if depth else ()
            crown = produce(design, ProductionErrors(chips=chips), edge_mm=EDGE_MM, rng=rng)
            write_mesh(folder / group / f"{group}_{k}.stl", crown.mesh)
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    command = ["study", str(folder / "study.toml"), "--workers", "1", "--no-pictures"]
    result = CliRunner().invoke(main, command)
    assert result.exit_code == 0, result.output
    return folder


def _table(folder: Path) -> dict[tuple[str, str], dict[str, str]]:
    file = folder / "study_results" / "tables" / "margin.csv"
    with file.open(encoding="utf-8-sig", newline="") as stream:
        return {(row["crown"], row["measure"]): row for row in csv.DictReader(stream)}


def test_the_table_holds_what_a_check_of_the_same_crown_says(folder: Path) -> None:
    table = _table(folder)
    assert len(table) == 3 * len(MARGIN_MEASURES)
    mesial, buccal = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
    areas = AreaSettings(mesial_direction=mesial, buccal_direction=buccal)
    settings = CheckSettings(areas=areas, spacing_mm=0.25)
    single = check(folder / "design.stl", folder / "a" / "a_1.stl", settings).margin_profile
    assert single is not None
    for name in MARGIN_MEASURES:
        row = table["a_1", name]
        assert list(row) == ["crown", "group", "measure", "value", "unit"]
        value = float(row["value"] or "nan")  # an empty cell: nothing to tell
        assert value == pytest.approx(getattr(single.summary, name), rel=1e-9, nan_ok=True)
    document = json.loads((folder / "study_results" / "study.json").read_text("utf-8"))
    (crown,) = (crown for crown in document["crowns"] if crown["name"] == "a_1")
    assert crown["margin_profile"].keys() == asdict(single.summary).keys()
    assert crown["margin_profile"]["short_words"] == "buccal"


def test_the_chip_is_found_and_its_crown_named(folder: Path) -> None:
    """0.4 mm less in the middle of it; triangles of 0.25 mm may cut the sound rims off by more
    than the limit of 0.1 mm nowhere, but by tens of µm.
    """
    table = _table(folder)
    assert float(table["a_1", "short_um"]["value"]) == pytest.approx(-400.0, abs=60.0)
    assert float(table["a_1", "longest_mm"]["value"]) > 1.0
    for crown in ("a_0", "b_0"):
        assert float(table[crown, "short_mm"]["value"]) == 0.0
    page = (folder / "study_results" / "report.html").read_text(encoding="utf-8")
    section = page[page.index('<section id="margin_line">') :]
    section = section[: section.index("</section>")]
    assert "a_1: Margin: beyond ±15 µm on" in section
    assert "buccal" in section
    assert "b_0: Margin: " in section
    assert "Deviation along the margin line" in section
    assert section.count('role="img"') == 1


def test_the_groups_profile_is_that_of_its_checked_crowns(folder: Path) -> None:
    """Place by place the mean and standard deviation over single checks of the same files."""
    areas = AreaSettings(mesial_direction=(1.0, 0.0, 0.0), buccal_direction=(0.0, 1.0, 0.0))
    settings = CheckSettings(areas=areas, spacing_mm=0.25)
    file = folder / "study_results" / "tables" / "margin_profile.csv"
    with file.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    for group, depths in DEPTHS_MM.items():
        found = []
        for k in range(len(depths)):
            scan = folder / group / f"{group}_{k}.stl"
            profile = check(folder / "design.stl", scan, settings).margin_profile
            assert profile is not None
            found.append(profile.counted_um)
        stack = np.array(found)
        own = [row for row in rows if row["group"] == group]
        assert [float(row["angle_deg"]) for row in own] == pytest.approx(
            profile.angle_deg.tolist(), rel=1e-5
        )
        known = np.isfinite(stack)
        assert [int(row["n_counted"]) for row in own] == known.sum(axis=0).tolist()
        assert known.all(axis=0).mean() > 0.8
        for row, column in zip(own, stack.T, strict=True):
            values = column[np.isfinite(column)]
            if len(values):
                assert float(row["profile_mean_um"]) == pytest.approx(values.mean(), abs=2e-3)
            if len(values) > 1:
                assert float(row["profile_sd_um"]) == pytest.approx(values.std(ddof=1), abs=2e-3)
            else:
                assert row["profile_sd_um"] == row["profile_low_um"] == row["profile_high_um"] == ""
    (chip,) = (row for row in rows if row["group"] == "a" and row["angle_deg"] == _at_buccal(rows))
    assert float(chip["profile_min_um"]) < -50.0 < float(chip["profile_max_um"])


def _at_buccal(rows: list[dict[str, str]]) -> str:
    return min((row["angle_deg"] for row in rows), key=lambda angle: abs(float(angle) - 90.0))


def test_kept_profiles_are_taken_up_and_older_rows_measured_anew(folder: Path) -> None:
    """Only what is kept of the areas goes with its version; scans stay kept."""
    study, out = read_study(folder / "study.toml"), folder / "study_results"
    first = run_study(study, out)
    assert first.reused >= len(first.crowns)
    assert all(crown.margin_um is not None for crown in first.crowns)
    kept = out / "kept"
    scans = {file: file.stat().st_mtime_ns for file in kept.glob("scan-*.npz")}
    for file in kept.glob("rows-*.npz"):
        assert file.stat().st_size < 100_000
        file.unlink()
    again = run_study(study, out)
    assert again.reused < first.reused
    assert {file: file.stat().st_mtime_ns for file in kept.glob("scan-*.npz")} == scans
    for one, two in zip(first.crowns, again.crowns, strict=True):
        np.testing.assert_array_equal(one.margin_um, two.margin_um)
