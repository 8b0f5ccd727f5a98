"""The example for R: what it reads is there, and what it finds is what the study found."""

from __future__ import annotations

import importlib.util
import re
import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from cuspwise.standalone_core.report.study.analysis_tables import analysis_tables
from cuspwise.standalone_core.report.study.tables import study_tables
from cuspwise.standalone_core.report.tables.column import TRUTH
from cuspwise.standalone_core.report.tables.dictionary import COLUMNS, write_tables
from cuspwise.standalone_core.study.analysis.analyse import analyse_study
from cuspwise.standalone_core.study.analysis.document import analysis_document
from cuspwise.standalone_core.study.plan import AnalysisPlan
from made.all_tables import rows_of
from made.study_runs import study
from scipy import stats

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "examples" / "primary_test.R"
PRIMARY = ("margin", "mean_abs_um")
GROUPS = ("milled", "upright", "tilted")


@pytest.fixture(scope="module", params=["welch", "ranks"])
def results(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, list[dict[str, Any]]]:
    """A study's tables in a folder, and its primary comparisons as the document holds them."""
    rng = np.random.default_rng(21)
    groups = {
        name: {"whole": rng.normal(15, 2, 7), "margin": rng.normal(8 + 2 * k, 1 + k, 7)}
        for k, name in enumerate(GROUPS)
    }
    plan = AnalysisPlan(primary_area="margin", lead=request.param, resamples=200)
    run = study(groups, analysis=plan)
    analysis = analyse_study(run)
    folder = tmp_path_factory.mktemp("results")
    (folder / "tables").mkdir()
    tables = study_tables(run) | analysis_tables(run, analysis)
    write_tables("study", folder / "tables", {name: one.text for name, one in tables.items()})
    rows = analysis_document(analysis)["findings"]["comparisons"]
    return folder, [row for row in rows if (row["area"], row["measure"]) == PRIMARY]


def test_every_file_and_column_that_it_names_is_there(results) -> None:
    folder, _ = results
    text = SCRIPT.read_text(encoding="utf-8")
    read = dict(re.findall(r'(\w+) <- read_table\("(tables/\w+\.csv)"\)', text))
    assert set(read) == {"comparisons", "trueness"}
    for name in re.findall(r"tables/(\w+)\.csv", text):
        assert (folder / "tables" / f"{name}.csv").is_file() or name.startswith("fit"), name
    owners = read | dict.fromkeys(("asked", "row"), read["comparisons"])
    used = {(o, c) for o, c in re.findall(r"\b(\w+)\$(\w+)", text) if o in owners}
    assert len(used) > 8
    for owner, column in used:
        assert column in rows_of(folder / owners[owner])[0], f"{owner}${column}"


def test_the_same_steps_in_scipy_give_what_the_study_found(results) -> None:
    folder, found = results
    assert len(found) == 3
    trueness = rows_of(folder / "tables" / "trueness.csv")

    def values(group: str) -> list[float]:
        about = (group, *PRIMARY, "design_to_scan")
        return [
            float(row["value"])
            for row in trueness
            if (row["group"], row["area"], row["measure"], row["direction"]) == about
        ]

    for row in found:
        first, second = values(row["first"]), values(row["second"])
        welch = stats.ttest_ind(second, first, equal_var=False)
        assert row["welch"]["p_value"] == pytest.approx(welch.pvalue, rel=1e-9)
        assert row["welch"]["difference"] == pytest.approx(np.mean(second) - np.mean(first))
        ranks = stats.mannwhitneyu(second, first, method="exact")
        assert row["ranks"]["p_value"] == pytest.approx(ranks.pvalue, rel=1e-9)
        shift = np.median(np.subtract.outer(second, first))
        assert row["ranks"]["shift"] == pytest.approx(shift, rel=1e-12)


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="Rscript is not installed")
def test_r_finds_what_the_study_found(results) -> None:
    folder, found = results
    told = subprocess.run(
        ["Rscript", "--vanilla", SCRIPT, folder], capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stderr
    assert told.stderr == ""
    blocks = _blocks(told.stdout.splitlines())
    for row, (head, welch, ranks, lead) in zip(found, blocks, strict=True):
        assert head.startswith(f"margin, mean_abs_um: {row['second']} less {row['first']}, 7 and 7")
        ours = [row["welch"][key] for key in ("difference", "low", "high", "t", "df", "p_value")]
        assert _numbers(welch) == pytest.approx(ours, rel=2e-7)
        ours = [row["ranks"][key] for key in ("shift", "low", "high", "u", "p_value")]
        assert _numbers(ranks) == pytest.approx(ours, rel=2e-7)
        assert lead.startswith(f"  The plan's lead is {row['lead']}: ")
        assert _numbers(lead) == pytest.approx([row["p_value"]] * 2, rel=2e-7)
        assert f"says {row['outcome']} after" in lead


READ_ALL = """
for (file in list.files(commandArgs(TRUE), full.names = TRUE)) {
  found <- read.csv(file, fileEncoding = "UTF-8-BOM")
  yes_no <- names(found)[sapply(found, is.logical) & colSums(!is.na(found)) > 0]
  cat(basename(file), nrow(found), names(found)[1], ncol(found), yes_no, sep = " ", fill = 100000)
}
"""


@pytest.mark.skipif(shutil.which("Rscript") is None, reason="Rscript is not installed")
def test_r_reads_every_table_with_its_rows_columns_and_truths(results) -> None:
    folder = results[0] / "tables"
    told = subprocess.run(
        ["Rscript", "--vanilla", "-e", READ_ALL, folder], capture_output=True, text=True, check=True
    )
    found = {line.split()[0]: line.split()[1:] for line in told.stdout.splitlines()}
    assert set(found) == {file.name for file in folder.glob("*.csv")}
    for name, (count, first, columns, *truths) in found.items():
        rows = rows_of(folder / name)
        if rows:
            assert (int(count), first, int(columns)) == (
                len(rows),
                next(iter(rows[0])),
                len(rows[0]),
            )
            filled = {column for column in rows[0] if any(row[column] for row in rows)}
            assert set(truths) == {c for c in filled if COLUMNS[c].unit == TRUTH}, name


def _blocks(lines: list[str]) -> list[list[str]]:
    """The four lines of each comparison."""
    return [lines[k : k + 4] for k in range(0, len(lines), 4)]


def _numbers(line: str) -> list[float]:
    return [float(x) for x in re.findall(r"(?<![\w.])-?\d+\.?\d*(?:e[-+]\d+)?", line)]


def test_examples_stay_out_of_wheel_and_extension() -> None:
    """The wheel holds the packages that are listed, the zip the sources that are."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    packages = settings["tool"]["setuptools"]["packages"]
    assert not [name for name in packages if "examples" in name]
    assert not list((ROOT / "examples").rglob("*.py"))
    spec = importlib.util.spec_from_file_location("build", ROOT / "tools" / "build_extension.py")
    assert spec is not None
    assert spec.loader is not None
    build = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(build)
    assert "examples" not in build.SOURCES
