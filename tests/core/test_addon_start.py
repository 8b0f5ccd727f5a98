"""What Blender would load of the core at its start, found without Blender."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CORE = "standalone_core"


def loaded_at_the_start() -> set[str]:
    """Modules of the core that the add-on's modules import as they are imported themselves."""
    found = set()
    for path in (ROOT / "addon").rglob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(f"{CORE}."):
                found.add(f"cuspwise.{node.module}")
    return found


def test_what_the_addon_imports_at_its_start_loads_no_scipy():
    """It takes longer to load than all the rest; jobs load it when they begin."""
    modules = sorted(loaded_at_the_start())
    assert f"cuspwise.{CORE}.deviation.verdict" in modules
    code = f"import sys, importlib\nfor name in {modules!r}: importlib.import_module(name)\n"
    code += "print(*(name for name in ('scipy', 'trimesh', 'matplotlib') if name in sys.modules))"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (ran.stdout.strip(), ran.stderr) == ("", "")
