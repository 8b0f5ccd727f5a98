"""The study's table and report."""

from __future__ import annotations

import csv
import io
import json
import shutil
from itertools import islice
from pathlib import Path
from types import SimpleNamespace

import pytest
from calls import call
from studies import CROWNS, kept, out_of_date


def test_the_table_is_copied(studied: SimpleNamespace) -> None:
    assert call(studied, "copy_study_table") == {"FINISHED"}
    text = studied.part("addon.study.summary").table_text(kept(studied))
    rows = list(csv.DictReader(io.StringIO(text), delimiter="\t"))
    assert len(rows) == len(kept(studied)["rows"])
    first, known = rows[0], kept(studied)["rows"][0]
    assert first["group"] == "Milled"
    assert first["unit"] == "µm"
    assert float(first["trueness mean"]) == pytest.approx(known["mean"], abs=0.006)
    assert int(first["crowns"]) == CROWNS


def test_the_report_is_the_command_lines(studied: SimpleNamespace) -> None:
    assert call(studied, "open_study_report") == {"FINISHED"}
    results = studied.folder / "study_results"
    page = (results / "report.html").read_text(encoding="utf-8")
    assert "Printed – tilted" in page
    for line in kept(studied)["opening"]:
        assert line["sentence"].split("(")[0].strip()[:40] in page.replace("&#39;", "'")
    assert (results / "tables" / "trueness.csv").is_file() or list(results.glob("tables/*.csv"))
    document = json.loads((results / "study.json").read_text(encoding="utf-8"))
    assert len(document["files"]) > 8


def test_the_report_has_its_figures(
    studied: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first few figures, each as three files, and all maps; nothing is measured again."""
    output = studied.part("standalone_core.report.study.output")
    drawing = studied.part("standalone_core.report.drawing.matplotlib_figure")
    every = output.study_figures
    monkeypatch.setattr(output, "can_plot", drawing.can_plot)
    monkeypatch.setattr(output, "study_figures", lambda *a, **b: islice(every(*a, **b), 2))
    assert call(studied, "run_study") == {"FINISHED"}
    results = studied.folder / "study_results"
    figures = {path.name for path in (results / "figures").iterdir()}
    drawn = {name.removesuffix(".svg") for name in figures if name.endswith(".svg")}
    assert len(drawn) == 2
    assert "trueness_whole" in drawn
    assert figures >= {f"{name}.{ending}" for name in drawn for ending in ("svg", "pdf", "png")}
    assert len(list((results / "maps").glob("*.png"))) >= 2 * 3
    assert {Path(name).suffix for name in figures if name.startswith("map_")} == {".pdf", ".png"}
    assert (results / "study.xlsx").stat().st_size > 10_000
    page = (results / "report.html").read_text(encoding="utf-8")
    assert page.count("<svg role") >= len(drawn)
    assert page.count("data:image/") >= 2 * 3
    for refused in ("matplotlib is not installed", "not drawn", "pip install"):
        assert refused not in page


def test_finds_the_report_of_a_folder_that_moved_with_the_file(studied: SimpleNamespace) -> None:
    document = json.loads(studied.design.cuspwise.study)
    studied.design.cuspwise.study = json.dumps({**document, "folder": str(studied.folder / "no")})
    assert call(studied, "open_study_report") == {"FINISHED"}
    shutil.rmtree(studied.folder)
    with pytest.raises(RuntimeError, match="no longer there"):
        call(studied, "open_study_report")


def test_crowns_with_unmatched_surface_are_named(
    empty: SimpleNamespace,
    extension: SimpleNamespace,
    spoilt_surfaces: SimpleNamespace,
    tmp_path: Path,
) -> None:
    """Limits and the scanner's uncertainty go into the file, and a change of them is noticed."""
    settings = empty.scene.cuspwise
    settings.design = extension.add_object("Design", spoilt_surfaces.design)
    settings.spacing_mm = extension.spacing_mm
    item = settings.scans.add()
    item.scan, item.group = extension.add_object("Spoilt", spoilt_surfaces.scan), "Printed"
    settings.study.folder = str(tmp_path / "study")
    settings.scanner_um, settings.max_unmatched_um, settings.max_unmatched_mm2 = 1.5, 90.0, 0.15
    settings.max_missing_mm = 0.7
    assert call(empty, "run_study") == {"FINISHED"}
    read = empty.part("standalone_core.study.file.read").read_plan
    tolerances = read(tmp_path / "study" / "study.toml").check.tolerances
    assert dict(tolerances.scanner_um) == {"default": 1.5}
    assert (tolerances.max_unmatched_um, tolerances.max_unmatched_mm2) == (90.0, 0.15)
    assert tolerances.max_missing_mm == 0.7
    bad = [line["sentence"] for line in kept(empty)["opening"] if line["status"] == "bad"]
    (named,) = [text for text in bad if text.startswith("Spoilt: ")]
    assert "The scan has surface that the design has not" in named
    assert not out_of_date(empty)
    settings.max_unmatched_um = 95.0
    assert "height of unmatched scan surface" in out_of_date(empty)
    settings.max_unmatched_um, settings.max_missing_mm = 90.0, 0.5
    assert "length of missing margin" in out_of_date(empty)
    settings.max_missing_mm, settings.scanner_um = 0.7, 0.0
    assert "scanner's uncertainty" in out_of_date(empty)
