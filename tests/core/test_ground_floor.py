"""Names, cells and shares as every other part writes them."""

from __future__ import annotations

import ast
import csv
import io
import os
import pickle
import re
from pathlib import Path

import numpy as np
import pytest
from cuspwise.standalone_core import errors as errors_module
from cuspwise.standalone_core.csv_text import as_meant, csv_text, harmless
from cuspwise.standalone_core.errors import FileError, SettingError
from cuspwise.standalone_core.readable import readable
from cuspwise.standalone_core.shares import limit_words, share_words, short_share

FORMULAS = ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "＝1", "-crown"]

# --- names -----------------------------------------------------------------------------------


def test_any_bytes_of_a_name_become_text_that_utf_8_holds() -> None:
    rng = np.random.default_rng(0)
    for _ in range(200):
        name = os.fsdecode(rng.bytes(12))
        assert readable(name).encode("utf-8")
        assert readable(readable(name)) == readable(name)
    assert readable("Krone ü 1.stl") == "Krone ü 1.stl"
    assert readable("a\ud800b") == r"a\ud800b"
    error = FileError("It is gone.", subject=os.fsdecode(b"cr\xff.stl"), remedy="Find it.")
    assert str(error) == r"cr\xff.stl: It is gone. Find it."


# --- cells -----------------------------------------------------------------------------------


@pytest.mark.parametrize("cell", FORMULAS)
def test_a_cell_that_a_spreadsheet_would_run_is_quoted_and_comes_back(cell: str) -> None:
    assert harmless(cell) == f"'{cell}"
    assert as_meant(harmless(cell)) == cell
    # A name that begins with quotes of its own comes back too.
    assert as_meant(harmless(f"''{cell}")) == f"''{cell}"
    ((found,),) = csv.reader(io.StringIO(csv_text([[cell]]), newline=""))
    assert as_meant(found) == cell


@pytest.mark.parametrize("cell", ["-3.25", "+12", "-1e-05", "0", "-.5", "", "–", "crown = 1", "'s"])
def test_numbers_and_plain_words_stay_as_they_are(cell: str) -> None:
    assert harmless(cell) == as_meant(cell) == cell


# --- shares ----------------------------------------------------------------------------------


def _number(words: str) -> float:
    return float(words.removesuffix(" %"))


@pytest.mark.parametrize("limit", [0.9, 0.8995, 0.5, 1.0, 0.95])
def test_a_share_reads_on_its_side_of_the_limit(limit: float) -> None:
    rng = np.random.default_rng(1)
    away = np.concatenate([10 ** rng.uniform(-7, -1, 200), [0.0004, 0.0006, 0.00005]])
    for share in (*(limit - away), limit, *(limit + away)):
        for digits in (0, 1):
            shown = _number(share_words(share, limit, digits=digits))
            assert np.sign(round(shown - _number(limit_words(limit)), 9)) == np.sign(share - limit)
            assert shown <= 100 * share + 1e-6


def test_shares_are_never_rounded_up() -> None:
    assert share_words(0.8997) == "89.9 %"
    assert share_words(0.9) == "90.0 %"
    assert share_words(0.89999999, 0.9) == "89.9 %"
    assert share_words(0.89955, 0.8995) == "89.955 %"
    assert share_words(1.0) == "100.0 %"
    assert share_words(0.9999) == "99.9 %"
    assert share_words(0.0) == "0.0 %"
    assert share_words(0.0004) == "< 0.1 %"
    assert share_words(float("nan")) == "–"
    assert [short_share(x) for x in (0.95, 0.9996, 1.0, 0.5, 0.123456, 0.0)] == [
        *("95 %", "99.9 %", "100 %", "50 %", "12.3 %", "0 %")
    ]


# --- errors ----------------------------------------------------------------------------------

CORE = Path(errors_module.__file__).parent
KNOWS_OPTIONS = ("cli/", "report/check/terminal.py")


def _said(file: Path) -> list[str]:
    """All strings in a file but its docstrings."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    strings = [node for node in ast.walk(tree) if isinstance(node, ast.Constant)]
    return [n.value for n in strings if isinstance(n.value, str) and id(n) not in docs]


def test_only_the_command_line_speaks_of_its_options() -> None:
    files = sorted(CORE.rglob("*.py"))
    assert len(files) > 200
    for file in files:
        place = file.relative_to(CORE).as_posix()
        found = [text for text in _said(file) if re.search(r"(?<![\w<!-])--[a-z]", text)]
        assert place.startswith(KNOWS_OPTIONS) or not found, f"{place}: {found}"


def test_an_error_keeps_its_arguments_on_its_way_between_processes() -> None:
    error = SettingError("It is there.", subject="a", remedy="Replace it.", arguments=("force",))
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.arguments) == (str(error), ("force",))
