"""The rules of the project's own frame: size of files, packaging, versions."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import cuspwise

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "standalone_core"
SPEAKING = {"main.py", "console.py", "__main__.py"}  # the only files that may talk to a terminal


def test_only_the_command_line_prints():
    for path in CORE.rglob("*.py"):
        if path.name in SPEAKING:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                assert node.func.id not in {"print", "input"}, f"{path}:{node.lineno}"


def test_csv_is_written_in_one_place_only():
    """There every cell is made harmless."""
    for path in (*CORE.rglob("*.py"), *(ROOT / "addon").rglob("*.py")):
        if path != CORE / "csv_text.py":
            text = path.read_text(encoding="utf-8")
            assert "csv.writer" not in text, path
            assert "DictWriter" not in text, path


def test_nothing_global_changes_at_import():
    """No module-level code calls into numpy's or the process's global settings."""
    forbidden = {"seterr", "seed", "set_num_threads", "chdir", "setrecursionlimit"}
    for path in CORE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                assert node.func.attr not in forbidden, f"{path}:{node.lineno}"


def test_every_package_is_shipped():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    shipped = set(settings["tool"]["setuptools"]["packages"])
    for folder in (CORE, ROOT / "addon"):
        for init in folder.rglob("__init__.py"):
            name = ".".join(("cuspwise", *init.parent.relative_to(ROOT).parts))
            assert name in shipped, f"{name} is missing from pyproject.toml"


def test_one_version_everywhere():
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    manifest = tomllib.loads((ROOT / "blender_manifest.toml").read_text(encoding="utf-8"))
    cited = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\nversion: {cuspwise.__version__}\n" in cited
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert settings["project"]["version"] == manifest["version"] == cuspwise.__version__
    assert f"## {cuspwise.__version__}" in changes


def test_no_file_must_be_searched_and_no_function_scrolled():
    """Files hold at most 400 lines, functions of the product 45 beside their docstring."""
    product = [*CORE.rglob("*.py"), *(ROOT / "addon").rglob("*.py"), *(ROOT / "tools").glob("*.py")]
    for path in (*product, *(ROOT / "tests").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        assert text.count("\n") <= 400, path
        if path in product:
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, ast.FunctionDef):
                    assert _lines(node) <= 45, f"{path}: {node.name}"


def _lines(function: ast.FunctionDef) -> int:
    """Lines of a function after its docstring."""
    told = ast.get_docstring(function) is not None and len(function.body) > 1
    begin = function.body[1].lineno if told else function.lineno
    return (function.end_lineno or begin) - begin + 1
