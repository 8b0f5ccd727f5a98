"""The rules of the project's own frame: layers, packaging, versions."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import cuspwise

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "standalone_core"
SPEAKING = {"main.py", "console.py", "__main__.py"}  # the only files that may talk to a terminal

# Which package may import which: layers point one way.
BELOW = {
    "mesh": {"mesh"},
    "surface": {"mesh", "surface"},
    "superimpose": {"mesh", "surface", "superimpose"},
    "areas": {"mesh", "surface", "areas"},
    "deviation": {"mesh", "surface", "areas", "deviation", "superimpose"},
    "demo": {"mesh", "demo"},
}


def _imports(path: Path) -> list[tuple[int, str]]:
    """Every import in a file as (relative level, dotted name)."""
    found: list[tuple[int, str]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(0, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module] if node.module else [alias.name for alias in node.names]
            found += [(node.level, name) for name in names]
    return found


def test_the_core_never_imports_blender_nor_reaches_above_itself():
    for path in CORE.rglob("*.py"):
        depth = len(path.relative_to(CORE).parts)
        for level, name in _imports(path):
            assert name.split(".")[0] not in {"bpy", "mathutils", "gpu", "blf"}, path
            assert level <= depth, f"{path} imports from above the core: {name}"


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


def test_layers_point_one_way():
    for package, allowed in BELOW.items():
        for path in (CORE / package).rglob("*.py"):
            depth = len(path.relative_to(CORE / package).parts)
            for level, name in _imports(path):
                if level == depth + 1:
                    first = name.split(".")[0]
                    if (CORE / first).is_dir():
                        assert first in allowed, f"{path} imports {first}"


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
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert settings["project"]["version"] == manifest["version"] == cuspwise.__version__
    assert f"## {cuspwise.__version__}" in changes
