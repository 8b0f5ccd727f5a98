"""What is written of a study's statistics: keys of its own, the same in JSON and in tables."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from cuspwise.standalone_core import statistics
from cuspwise.standalone_core.records import fields_of
from cuspwise.standalone_core.report.study.analysis_tables import analysis_tables
from cuspwise.standalone_core.statistics import reasons
from cuspwise.standalone_core.study.analysis.document import WRITERS, analysis_document
from made.study_examples import make_analysis, make_run

INNER = {"ci_low", "ci_high", "p", "found", "test", "tests", "description", "code", "n_a", "n_b"}
"""Names of the statistics' own fields, which no file has."""


@pytest.fixture(scope="module")
def made() -> tuple[Any, Any]:
    run = make_run(n=8, seed=7)
    return run, make_analysis(run)


def _keys(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield key
            yield from _keys(item)
    elif isinstance(value, list):
        for item in value:
            yield from _keys(item)


def test_no_result_is_written_by_its_inner_names(made) -> None:
    run, analysis = made
    document = analysis_document(analysis)
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert not INNER & set(_keys(document))
    for name, table in analysis_tables(run, analysis).items():
        header = table.columns
        assert not INNER & set(header), name
        assert not any(key.endswith(("_ci_low", "_ci_high", "_code")) for key in header), name


def test_every_writer_is_of_a_row_of_its_own(made) -> None:
    """A row that writes itself by its fields' names needs no writer."""
    _, analysis = made
    row = analysis.findings.comparisons[0]
    written = fields_of(row, WRITERS)
    assert list(written) != [field.name for field in fields(row)]
    assert written["difference"] == row.difference
    assert written["p_adjusted"] == row.adjusted.p
    assert written["n_first"] + written["n_second"] == row.tests.n_a + row.tests.n_b


def _codes() -> set[str]:
    """Codes that the statistics give as a reason."""
    used: set[str] = set()
    for file in Path(statistics.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "because":
                (code, *_) = node.args
                if isinstance(code, ast.Constant):
                    used.add(code.value)
    return used


def test_every_reason_has_words_and_no_words_are_left_over() -> None:
    by_table = {"single_part", "single_operator", "no_repeats", "identical_repeats"}
    assert _codes() | by_table == set(reasons.WORDS) - {""}
    assert not reasons.NO_REASON
    assert str(reasons.NO_REASON) == ""


def test_a_reason_names_groups_as_readers_call_them() -> None:
    reason = reasons.because("too_few", least=2, groups=(("a", 1), ("b", 0)))
    assert str(reason) == "At least 2 measured in each group are needed; a has 1, b has 0."
    assert reason.words({"a": "Milled"}).endswith("; Milled has 1, b has 0.")
    flat = reasons.because("no_spread_in", groups=("a", "b"))
    assert flat.words({"b": "Tilted"}) == "All values are the same in a, Tilted."
