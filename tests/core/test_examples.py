"""The examples of docstrings run, and yield what they say."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import cuspwise
import pytest

ROOT = Path(cuspwise.__file__).parent


def modules_with_examples() -> list[str]:
    """Dotted names of the package's and the core's modules whose text has an example."""
    files = [ROOT / "__init__.py", *sorted((ROOT / "standalone_core").rglob("*.py"))]
    parts = [f.relative_to(ROOT.parent).with_suffix("").parts for f in files if _has_example(f)]
    return [".".join(("cuspwise", *some[1:])).removesuffix(".__init__") for some in parts]


def _has_example(file: Path) -> bool:
    return ">>> " in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", modules_with_examples())
def test_the_examples_of_a_module_run(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    failed, tried = doctest.testmod(importlib.import_module(name))
    assert tried
    assert not failed
