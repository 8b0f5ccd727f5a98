"""One word for each thing: those that were given up stand only where older files are read."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

CORE = Path(__file__).resolve().parents[2] / "standalone_core"

GIVEN_UP = {
    "patch": r"exceedance",
    "support mark": r"support contact",
    "sprue or holding bar": r"connector",
    "out of date": r"\bstale\b",
    "missing": r"\black\b",
    "mean absolute": r"\bmean abs(?!ol)\w*\.? |\bMAD\b",
}
ALLOWED = {
    r"exceedance": {"cli/targets.py", "report/check/output.py"},
    r"connector": {"areas/support_marks.py", "areas/files.py"},
}
"""Where the words stand for what older versions wrote."""


@cache
def texts() -> dict[str, str]:
    files = [file for file in CORE.rglob("*") if file.suffix in {".py", ".html", ".css"}]
    return {
        file.relative_to(CORE).as_posix(): file.read_text(encoding="utf-8")
        for file in sorted(files)
    }


@pytest.mark.parametrize(("now", "before"), GIVEN_UP.items())
def test_words_that_were_given_up_are_not_used(now: str, before: str) -> None:
    found = {
        name
        for name, text in texts().items()
        if re.search(before, text, re.IGNORECASE | re.MULTILINE)
    }
    assert found == ALLOWED.get(before, set()), f"say {now}"


def shown(tree: ast.AST) -> Iterator[str]:
    """The texts of a module that are no docstrings or comments."""
    notes = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in notes:
            yield node.value


def test_people_read_of_measuring_points() -> None:
    trees = {name: ast.parse(text) for name, text in texts().items() if name.endswith(".py")}
    assert sum("measuring point" in text for tree in trees.values() for text in shown(tree)) >= 3
    for name, tree in trees.items():
        assert not [text for text in shown(tree) if "evaluation point" in text], name
