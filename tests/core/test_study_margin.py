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
